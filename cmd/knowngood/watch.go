package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

type watchFlags struct {
	ref, cursor  string
	all, fromNow bool
	count        int
}

func newWatch(a *app) *cobra.Command {
	o := new(watchFlags)
	cmd := &cobra.Command{
		Use: "watch", Short: "Show entries as they come, from every shop on the case",
		Long: `  knowngood watch                                  the case in use, from its first entry
  knowngood watch --from-now
  knowngood watch --all --cursor CURSOR            resume where the last line left off

One JSON object a line unless -o table; each carries the cursor to resume behind it. A
lost connection is taken up again at the cursor: no entry is missed, none comes twice.
'knowngood help output' has the shape.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !cmd.Flags().Changed("output") {
				a.show.Format = "ndjson"
			}
			return runWatch(cmd.Context(), a, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.ref, "case", "", "the case: its id or the end of it (default: the one in use)")
	f.BoolVar(&o.all, "all", false, "every case your shop may see")
	f.StringVar(&o.cursor, "cursor", "", "resume behind this cursor")
	f.BoolVar(&o.fromNow, "from-now", false, "leave out what is there already")
	f.IntVar(&o.count, "count", 0, "end after so many entries (default: go on)")
	return cmd
}

// watchRow is the stable shape of a watched entry.
type watchRow struct {
	Case string `json:"case"`
	entryRow
	Cursor string `json:"cursor"`
}

// watcher follows one feed over any number of connections.
type watcher struct {
	*app
	who    *client.Identity
	conn   *client.Conn
	cases  map[string]*asked
	cursor string
	// shown is the position in the feed of the last entry shown: after a break in
	// the middle of a message, what was shown is not shown again.
	shown uint64
	left  int
}

func runWatch(ctx context.Context, a *app, o *watchFlags) error {
	if a.show.Format == "json" || a.show.Format == "csv" {
		return usagef("watch has no end, so it writes ndjson or table, not %s", a.show.Format)
	}
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	w := &watcher{app: a, who: who, conn: conn, cases: make(map[string]*asked), cursor: o.cursor, left: o.count}
	req := &boardv1.WatchRequest{FromNow: o.fromNow && o.cursor == ""}
	if !o.all {
		if req.Stream, err = a.findCase(ctx, conn, o.ref); err != nil {
			return err
		}
	}
	pause := 100 * time.Millisecond
	for {
		req.Cursor = w.cursor
		before := w.cursor
		err := w.follow(ctx, req)
		if ctx.Err() != nil || errors.Is(err, errEnough) {
			return nil
		}
		if !passing(err) {
			return err
		}
		if w.cursor != before {
			pause = 100 * time.Millisecond
			req.FromNow = false
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pause):
		}
		pause = min(2*pause, 10*time.Second)
	}
}

// passing reports whether to take the watch up again: the connection was lost, the
// server is stopping, or it cut off a reader that was too slow.
func passing(err error) bool {
	var no *client.Refusal
	if errors.As(err, &no) {
		return no.Reason == boardv1.Reason_REASON_TOO_SLOW || no.Reason == boardv1.Reason_REASON_STOPPED
	}
	var other *client.Impostor
	return errors.Is(err, client.ErrOffline) && !errors.As(err, &other) || errors.Is(err, io.EOF)
}

var errEnough = errors.New("as many entries as were asked for")

// follow reads one connection to its end.
func (w *watcher) follow(ctx context.Context, req *boardv1.WatchRequest) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	in, err := w.conn.Watch(ctx, req)
	if err != nil {
		return client.Explain(err)
	}
	for {
		m, err := in.Recv()
		if err != nil {
			return client.Explain(err)
		}
		for i, held := range m.GetEntries() {
			cursor := ""
			if i == len(m.GetEntries())-1 {
				cursor = m.GetCursor()
			}
			if err := w.entry(ctx, held, cursor); err != nil {
				return err
			}
		}
		if m.GetCursor() != "" {
			w.cursor = m.GetCursor()
			req.FromNow = false
		}
		if w.left < 0 {
			return errEnough
		}
	}
}

func (w *watcher) entry(ctx context.Context, held *boardv1.Held, cursor string) error {
	if w.left < 0 {
		return errEnough
	}
	if held.GetPosition() <= w.shown {
		return nil
	}
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(held.GetEntry(), e); err != nil {
		return fmt.Errorf("the server sent something that is no entry: %w", err)
	}
	q := w.cases[e.GetStream()]
	if q == nil || q.Step(e.GetSeq()) == nil || e.GetSeq() > q.sent {
		c, err := w.home.Fetch(ctx, w.who, w.conn, e.GetStream())
		if err != nil {
			return err
		}
		names, err := w.home.HearNames(ctx, w.conn)
		if err != nil {
			return err
		}
		q = &asked{Case: c.Case, names: names.Of(), sent: c.Sent}
		w.cases[e.GetStream()] = q
	}
	step := q.Step(e.GetSeq())
	if step == nil {
		return fmt.Errorf("entry %d was sent and is not in the case", e.GetSeq())
	}
	w.shown = held.GetPosition()
	row := watchRow{e.GetStream(), w.row(q, q.Row(step, q.names)), cursor}
	if w.left > 0 {
		if w.left--; w.left == 0 {
			w.left = -1
		}
	}
	if w.show.Format == "ndjson" {
		return w.show.Line(row)
	}
	_, err := fmt.Fprintf(w.out, "#%d  %s  %s  %s: %s\n", row.Seq, client.Clean(row.By), client.Clean(row.Shop), client.Clean(row.Kind), client.Clean(row.Text))
	return err
}
