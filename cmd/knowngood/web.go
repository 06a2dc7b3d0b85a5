package main

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"knowngood.example/client"
	"knowngood.example/client/web"
)

type webFlags struct{ listen, ready string }

func newWeb(a *app) *cobra.Command {
	o := new(webFlags)
	cmd := &cobra.Command{
		Use: "web", Short: "The page, on this machine: read and write in a browser, with or without a server in reach",
		Long: `  knowngood web                                    prints the link to open
  knowngood web --listen 127.0.0.1:7412

Serves this home's cases as a page for the browser of this machine, and of no other. It
shows what the home keeps and writes to it, so it needs no server; where one answers,
what you write goes at once and what others write appears as it comes. The link holds a
key that works until the command ends. On a tablet in the bay, open the page of the
shop's server instead: 'knowngood serve --page'.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runWeb(cmd.Context(), a, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.listen, "listen", "127.0.0.1:0", "address of this machine to listen on; port 0 takes a free one")
	f.StringVar(&o.ready, "ready-file", "", "once it answers, write its link to this file, as JSON")
	return cmd
}

// webRow is the stable shape of a page that answers.
type webRow struct {
	Link string `json:"link"`
}

func runWeb(ctx context.Context, a *app, o *webFlags) error {
	p, err := a.startWeb(ctx, o.listen)
	if err != nil {
		return err
	}
	row := webRow{p.link}
	err = a.show.Write([]webRow{row}, func() client.Table {
		return client.Table{Head: []string{"Open this in a browser of this machine"}, Rows: [][]string{{row.Link}}}
	})
	if err == nil && o.ready != "" {
		var b []byte
		if b, err = json.Marshal(row); err == nil {
			err = writeWhole(o.ready, append(b, '\n'))
		}
	}
	if err == nil {
		<-ctx.Done()
	}
	return errors.Join(err, p.stop())
}

// homePage is the page of a home while it is served.
type homePage struct {
	link string
	stop func() error
}

// startWeb serves the page of this home until it is stopped.
func (a *app) startWeb(ctx context.Context, listen string) (*homePage, error) {
	l, err := listenHere(listen)
	if err != nil {
		return nil, err
	}
	table, err := a.table()
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	b := make([]byte, 24)
	rand.Read(b) //nolint:errcheck // documented to never fail
	key := base64.RawURLEncoding.EncodeToString(b)
	live := a.home.Live()
	page, err := web.New(web.NewHome(a.home, live, table, key), web.Options{
		Hosts: func() []string { return []string{"127.0.0.1", "::1", "localhost"} },
		Zone:  a.show.Zone, Now: a.now, NewID: a.home.NewID, Logger: slog.New(slog.NewTextHandler(a.err, nil)),
	})
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	running.Go(func() { live.Run(ctx) })
	stop := servePage(page, l, nil)
	return &homePage{
		link: "http://" + l.Addr().String() + "/enter?key=" + key,
		stop: func() error {
			cancel()
			err := stop()
			running.Wait()
			return err
		},
	}, nil
}

// listenHere listens on an address of this machine that no other machine reaches.
func listenHere(listen string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return nil, usagef("--listen %q: give an address of this machine, such as 127.0.0.1:7412", listen)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, usagef("--listen %q: other machines would reach it, without any encryption; for them there is 'knowngood serve --page'", listen)
	}
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return nil, fmt.Errorf("cannot listen on %s: %w; is a page served there already?", listen, err)
	}
	return l, nil
}

// servePage serves a page, over TLS where there is a configuration for it; what it
// returns ends it, open connections included.
func servePage(page http.Handler, l net.Listener, secure *tls.Config) (stop func() error) {
	ctx, cancel := context.WithCancel(context.Background())
	s := &http.Server{
		Handler: page, TLSConfig: secure, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second, WriteTimeout: 2 * time.Minute, IdleTimeout: 2 * time.Minute,
		MaxHeaderBytes: 16 << 10, BaseContext: func(net.Listener) context.Context { return ctx },
		ErrorLog: slog.NewLogLogger(slog.DiscardHandler, slog.LevelError),
	}
	ended := make(chan error, 1)
	go func() {
		if secure != nil {
			ended <- s.ServeTLS(l, "", "")
			return
		}
		ended <- s.Serve(l)
	}()
	return func() error {
		cancel() // those who listen to what happens would never end by themselves
		within, done := context.WithTimeout(context.Background(), client.Haste)
		defer done()
		err := s.Shutdown(within)
		if errors.Is(err, context.DeadlineExceeded) {
			err = s.Close()
		}
		if served := <-ended; !errors.Is(served, http.ErrServerClosed) {
			err = errors.Join(err, served)
		}
		return err
	}
}
