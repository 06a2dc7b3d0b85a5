package main

import (
	"context"
	"errors"
	"fmt"
	"os/user"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/join"
	"knowngood.example/client"
)

func newJoin(a *app) *cobra.Command {
	var server, name string
	cmd := &cobra.Command{
		Use: "join LINK", Short: "Join a shop with the link or code that somebody there gave you",
		Long: `  knowngood join K3QX-09ZM-7HTA --server 192.168.1.20:7411 --name Mara

The link, which is what the QR code says, holds all that is needed. A code that was
read aloud needs the server's address too. Either way this home finds out that it is
the server it was meant to be before it tells anything, and knows it again later.

A code works once, for a quarter of an hour. This home then writes for that shop,
signed with a key that is made here and never leaves it. Cases that were opened here
before become that shop's.

In a home that has joined already, 'join' with a link of the same server says where it
is now; you stay who you are, and the code is not used up.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if join.IsLink(args[0]) && !cmd.Flags().Changed("server") {
				server = "" // a setting is for codes; a link knows better
			}
			return runJoin(cmd.Context(), a, args[0], server, name)
		},
	}
	cmd.Flags().StringVar(&server, "server", "", "host:port of the server (default: as the link has it, or 127.0.0.1:7411)")
	cmd.Flags().StringVar(&name, "name", "", "your name, as others see it (default: of this machine's account)")
	return cmd
}

// joinedRow is the stable shape of a join.
type joinedRow struct {
	Name   string `json:"name"`
	Person string `json:"person"`
	Shop   string `json:"shop"`
	ShopID string `json:"shop_id"`
	Role   string `json:"role"`
	Device string `json:"device"`
}

// linkOf is what was typed: a link, or a code with the address of the server.
func linkOf(said, server string) (join.Link, error) {
	var l join.Link
	var err error
	if join.IsLink(said) {
		l, err = join.ParseLink(said)
	} else {
		l.Code, err = join.ParseCode(said)
		l.Addresses = []string{"127.0.0.1:7411"}
	}
	if err != nil {
		return l, usage{err}
	}
	if server != "" {
		if err := join.CheckAddress(server); err != nil {
			return l, usagef("--server: %w", err)
		}
		l.Addresses = []string{server}
	}
	return l, nil
}

func runJoin(ctx context.Context, a *app, said, server, name string) error {
	l, err := linkOf(said, server)
	if err != nil {
		return err
	}
	if name == "" {
		u, err := user.Current()
		if err != nil || u.Username == "" {
			return usagef("--name is missing: how should others see you?")
		}
		name = u.Username
	}
	id, err := a.home.Join(ctx, l, name)
	if errors.Is(err, client.ErrOffline) && err.Error() == client.ErrOffline.Error() {
		return fmt.Errorf("%w at %s: is it running, and does this device reach it?", err, strings.Join(l.Addresses, ", "))
	}
	if err != nil {
		return err
	}
	// What was recorded before is the shop's now.
	if sent, err := a.push(ctx); err != nil {
		a.warn(fmt.Sprintf("joined; what was recorded here before waits: %v", err))
	} else if n := len(sent.Taken) + len(sent.Refused); n > 0 {
		a.warn(fmt.Sprintf("%s recorded here before sent", plural(n, "entry", "entries")))
		if len(sent.Refused) > 0 {
			a.warn(fmt.Sprintf("%d of them refused: 'knowngood sync' lists them", len(sent.Refused)))
		}
	}
	row := joinedRow{id.Name, id.Person, id.ShopName, id.Shop, id.Role, id.Device}
	return a.show.Write([]joinedRow{row}, func() client.Table {
		return client.Table{Head: []string{"You", "Shop", "Role", "Home"}, Rows: [][]string{{row.Name, row.Shop, row.Role, a.home.Dir()}}}
	})
}
