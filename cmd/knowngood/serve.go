package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"knowngood.example/cases/join"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	"knowngood.example/client/web"
	"knowngood.example/server"
)

type serveFlags struct {
	data, listen, ready string
	page                string
	shops, owners       []string
	reach               []string
	verbose             bool
}

func newServe(a *app) *cobra.Command {
	o := new(serveFlags)
	cmd := &cobra.Command{
		Use: "serve", Short: "Run the server that shops share cases through",
		Long: `  knowngood serve --shop 'Tin Kettle Garage' --shop 'Lantern Lane Diagnostics:GBP'
  knowngood serve --shop 'Tin Kettle Garage' --listen :7411 --reach garage.example:7411
  knowngood serve --shop 'Tin Kettle Garage' --listen :7411 --page :7412

--shop opens a shop, or finds it by its name, and prints a join code for its owner until
one has joined. --listen :7411 serves every machine that reaches this one; by itself it
serves this machine only. Everything goes over TLS, by a certificate authority that is
made at the first start and that devices know again: nobody needs to set anything up.
Another address that leads here, such as the outer one of a router, is said by --reach.
--page :7412 also serves the page, for the browsers of tablets and phones in the bay: they
join with a code, and the server holds the keys that sign what they write.
A file judgement.json in the data folder changes the table that its reports rest on.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runServe(cmd.Context(), a, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.data, "data", "", "folder for the log and the server's keys (default: 'server' in your data folder)")
	f.StringVar(&o.listen, "listen", "127.0.0.1:7411", "address to listen on, :7411 for every machine that reaches this one; port 0 takes a free one")
	f.StringVar(&o.page, "page", "", "address to serve the page on for tablets and phones, such as :7412; over TLS (default: none)")
	f.StringArrayVar(&o.reach, "reach", nil, "HOST:PORT at which others reach it, for links; may be given more than once")
	f.StringArrayVar(&o.shops, "shop", nil, "NAME or NAME:CURRENCY of a shop to open; may be given more than once")
	f.StringArrayVar(&o.owners, "new-owner", nil, "NAME of a shop: print a join code for another owner of it, such as when the owner's device was lost")
	f.StringVar(&o.ready, "ready-file", "", "once all is printed, write address and join codes to this file, as JSON")
	f.BoolVarP(&o.verbose, "verbose", "v", false, "log every call")
	return cmd
}

// ready is what a server says of itself once it answers.
type ready struct {
	Address string `json:"address"`
	// Page is where browsers find it; empty: nowhere.
	Page  string      `json:"page"`
	Shops []readyShop `json:"shops"`
}

// readyShop has an empty code once an owner has joined.
type readyShop struct {
	Name    string `json:"name"`
	Shop    string `json:"shop"`
	Code    string `json:"code"`
	Expires string `json:"expires"`
	Link    string `json:"link"`
}

func runServe(ctx context.Context, a *app, o *serveFlags) error {
	level := slog.LevelInfo
	if o.verbose {
		level = slog.LevelDebug
	}
	data := o.data
	if data == "" {
		data = filepath.Join(a.home.Dir(), "server")
	}
	table, err := tableIn(filepath.Join(data, "judgement.json"))
	if err != nil {
		return err
	}
	for _, said := range o.reach {
		if err := join.CheckAddress(said); err != nil {
			return usagef("--reach: %w", err)
		}
	}
	s, err := server.Open(data, server.Options{Table: table, Reach: o.reach, Logger: slog.New(slog.NewTextHandler(a.err, &slog.HandlerOptions{Level: level}))})
	if err != nil {
		return err
	}
	r, l, err := prepareServer(ctx, a, s, o.listen, o.shops, false)
	for _, name := range o.owners {
		var opened *server.Opening
		if err != nil {
			break
		}
		if opened, err = s.InviteOwner(ctx, name); err != nil {
			err = errors.Join(fmt.Errorf("--new-owner %q: %w", name, err), l.Close())
			break
		}
		r.Shops = append(r.Shops, a.readyShop(s, l, name, opened))
	}
	stopPage := func() error { return nil }
	if err == nil && o.page != "" {
		r.Page, stopPage, err = a.pageOf(s, table, o.page)
	}
	if err == nil {
		err = a.tellReady(r)
	}
	if err == nil && o.ready != "" {
		var b []byte
		if b, err = json.MarshalIndent(r, "", "  "); err == nil {
			err = writeWhole(o.ready, append(b, '\n'))
		}
	}
	if err != nil {
		return stopped(s, errors.Join(err, stopPage()))
	}
	context.AfterFunc(ctx, func() { stopPage() }) //nolint:errcheck // returned below
	return errors.Join(s.Serve(ctx, l), stopPage())
}

// pageOf serves the page of a server over TLS, until it is stopped.
func (a *app) pageOf(s *server.Server, table *suspect.Table, listen string) (link string, stop func() error, err error) {
	nothing := func() error { return nil }
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return "", nothing, fmt.Errorf("--page: cannot listen on %s: %w", listen, err)
	}
	page, err := web.New(serverDoor{s, table}, web.Options{
		Secure: true, Hosts: s.Hosts, Authority: s.Authority(), Zone: a.show.Zone, Now: a.now, NewID: a.home.NewID,
		Logger: slog.New(slog.NewTextHandler(a.err, nil)),
	})
	if err != nil {
		return "", nothing, errors.Join(err, l.Close())
	}
	at := s.Link("", l.Addr()).Addresses[0]
	return "https://" + at + "/", sync.OnceValue(servePage(page, l, s.TLS())), nil
}

// prepareServer opens the shops and the listener.
func prepareServer(ctx context.Context, a *app, s *server.Server, listen string, shops []string, invented bool) (*ready, net.Listener, error) {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return nil, nil, fmt.Errorf("cannot listen on %s: %w; is a server running there already?", listen, err)
	}
	r := &ready{Shops: []readyShop{}}
	for _, said := range shops {
		name, currency := said, "EUR"
		if i := strings.LastIndexByte(said, ':'); i >= 0 {
			name, currency = said[:i], said[i+1:]
		}
		opened, err := s.OpenShop(ctx, name, currency, invented)
		if err != nil {
			return nil, nil, errors.Join(fmt.Errorf("--shop %q: %w", said, err), l.Close())
		}
		r.Shops = append(r.Shops, a.readyShop(s, l, name, opened))
	}
	r.Address = l.Addr().String()
	return r, l, nil
}

func (a *app) readyShop(s *server.Server, l net.Listener, name string, opened *server.Opening) readyShop {
	shop := readyShop{Name: name, Shop: opened.Shop, Code: opened.Code}
	if opened.Code != "" {
		shop.Expires = opened.Expires.In(a.show.Zone).Format("2006-01-02T15:04:05Z07:00")
		shop.Link = s.Link(opened.Code, l.Addr()).String()
	}
	return shop
}

func (a *app) tellReady(r *ready) error {
	if a.show.Format == "json" {
		return a.show.One(r)
	}
	if a.show.Format == "ndjson" {
		return a.show.Line(r)
	}
	fmt.Fprintf(a.out, "serving on %s\n", r.Address)
	if r.Page != "" {
		fmt.Fprintf(a.out, "the page, for browsers: %s (a tablet joins there with a code of 'knowngood invite')\n", r.Page)
	}
	if len(r.Shops) == 0 {
		return nil
	}
	t := client.Table{Head: []string{"Shop", "Join code of its owner", "Works until"}}
	for _, s := range r.Shops {
		code := s.Code
		if code == "" {
			code = "has an owner"
		}
		t.Rows = append(t.Rows, []string{s.Name, code, s.Expires})
	}
	if err := t.Write(a.out, a.show.Style); err != nil {
		return err
	}
	for _, s := range r.Shops {
		if s.Code == "" {
			continue
		}
		l, err := join.ParseLink(s.Link)
		if err != nil {
			return err
		}
		a.tellJoin("The owner of "+s.Name, l)
	}
	return nil
}

func stopped(s *server.Server, err error) error {
	ctx, cancel := context.WithTimeout(context.Background(), client.Patience)
	defer cancel()
	if stopErr := s.Stop(ctx); stopErr != nil {
		return fmt.Errorf("%w (and stopping: %w)", err, stopErr)
	}
	return err
}
