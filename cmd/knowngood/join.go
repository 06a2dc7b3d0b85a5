package main

import (
	"context"
	"fmt"
	"os/user"

	"github.com/spf13/cobra"

	"knowngood.example/cases/notation"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func newJoin(a *app) *cobra.Command {
	var server, name string
	cmd := &cobra.Command{
		Use: "join CODE", Short: "Join a shop with a code that somebody there gave you",
		Long: `  knowngood join K3QX-09ZM-7HTA --server 127.0.0.1:7411 --name Mara

The code works once, for a quarter of an hour. This home then writes for that shop,
signed with a key that is made here and never leaves it. Cases that were opened here
before become that shop's.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runJoin(cmd.Context(), a, args[0], server, name) },
	}
	cmd.Flags().StringVar(&server, "server", "127.0.0.1:7411", "host:port of the server")
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

func runJoin(ctx context.Context, a *app, code, server, name string) error {
	if name == "" {
		u, err := user.Current()
		if err != nil || u.Username == "" {
			return usagef("--name is missing: how should others see you?")
		}
		name = u.Username
	}
	id, err := a.home.Join(ctx, server, code, name)
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

func newInvite(a *app) *cobra.Command {
	var role string
	cmd := &cobra.Command{
		Use: "invite", Short: "Make a join code for your shop",
		Long: `  knowngood invite
  knowngood invite --role guest-specialist`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runInvite(cmd.Context(), a, role) },
	}
	cmd.Flags().StringVar(&role, "role", "technician", "owner, technician or guest-specialist")
	return cmd
}

// inviteRow is the stable shape of a join code.
type inviteRow struct {
	Code    string `json:"code"`
	Role    string `json:"role"`
	Expires string `json:"expires"`
	Server  string `json:"server"`
}

func runInvite(ctx context.Context, a *app, said string) error {
	role, err := choose[eventv1.Role]("role", said)
	if err != nil {
		return err
	}
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	r, err := conn.Invite(ctx, &boardv1.InviteRequest{Role: role})
	if err != nil {
		return client.Explain(err)
	}
	row := inviteRow{r.GetCode(), notation.Word(role), a.stamp(r.GetExpires()), who.Server}
	return a.show.Write([]inviteRow{row}, func() client.Table {
		return client.Table{Head: []string{"Code", "Role", "Works until", "They run"}, Rows: [][]string{{
			row.Code, row.Role, row.Expires, fmt.Sprintf("knowngood join %s --server %s --name NAME", row.Code, row.Server),
		}}}
	})
}
