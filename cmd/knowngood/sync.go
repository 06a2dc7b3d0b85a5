package main

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
)

func newSync(a *app) *cobra.Command {
	var again []string
	var restored, yes, files bool
	cmd := &cobra.Command{
		Use: "sync", Short: "Send what waits, fetch what is new; list what waits and what was refused",
		Long: `  knowngood sync
  knowngood sync --files                           and get the files attached to your cases
  knowngood sync --again 4f9a2c                    record a refused entry again, as a new one

Other commands send and fetch by themselves when the server answers. Before you go where
there is no signal, 'sync' makes sure that all your cases are here: everything can then be
asked and recorded without a server.

What was refused stays listed, with the reason, until it is recorded again; its bytes
are kept either way.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if restored {
				return runAcceptRestored(cmd.Context(), a, yes)
			}
			return runSync(cmd.Context(), a, again, files)
		},
	}
	f := cmd.Flags()
	f.StringSliceVar(&again, "again", nil, "record refused entries again: ends of their ids")
	f.BoolVar(&files, "files", false, "also get the files that are attached to your cases")
	f.BoolVar(&restored, "accept-restored", false, "the log was restored from a backup, and whoever runs it said so: go on from there")
	f.BoolVarP(&yes, "yes", "y", false, "with --accept-restored: do not ask")
	return cmd
}

// syncRow is the stable shape of an entry that waits or was refused.
type syncRow struct {
	State  string `json:"state"`
	Case   string `json:"case"`
	ID     string `json:"id"`
	Kind   string `json:"kind"`
	Reason string `json:"reason"`
	Text   string `json:"text"`
	// Refused is when, RFC 3339.
	Refused string `json:"refused"`
	// Hash, SHA-256, of a file, in hex; empty for entries.
	Hash string `json:"hash"`
}

// A long backlog goes through in batches; collecting them soon keeps what the process
// holds at any moment small, and costs processor time, of which sync has enough.
const collectOften = 20

func runSync(ctx context.Context, a *app, again []string, files bool) error {
	defer debug.SetGCPercent(debug.SetGCPercent(collectOften))
	who, err := a.home.Writer(false)
	if err != nil {
		return err
	}
	for _, said := range again {
		if err := a.recordAgain(ctx, who, said); err != nil {
			return err
		}
	}
	sent, came, syncErr := a.sync(ctx, files)
	rows := []syncRow{}
	for s, err := range a.home.Waiting(ctx) {
		if err != nil {
			return err
		}
		if o, err := envelope.Open(s.GetEvent()); err == nil {
			rows = append(rows, syncRow{State: "waiting to send", Case: o.Event.GetStream(), ID: o.Event.GetId(), Kind: envelope.KindName(o.Kind)})
		}
	}
	waiting := len(rows)
	unsent, err := a.home.FilesWaiting(ctx)
	if err != nil {
		return err
	}
	for _, w := range unsent {
		rows = append(rows, syncRow{State: "waiting to send", Case: w.Case, Kind: "file", Text: fmt.Sprintf("SHA-256 %s, %d bytes", notation.ShortHash(w.SHA256), w.Size), Hash: hex.EncodeToString(w.SHA256)})
	}
	tray, err := a.home.Tray()
	if err != nil {
		return err
	}
	for _, r := range tray {
		rows = append(rows, syncRow{"refused", r.Case, r.ID, r.Kind, r.Reason, r.Text, time.Unix(r.Refused, 0).In(a.show.Zone).Format(time.RFC3339), ""})
	}
	err = a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"State", "Case", "Entry", "Kind", "Why"}, None: "Nothing waits, nothing was refused."}
		for i, r := range rows {
			if more := waiting - shown; i >= shown && i < waiting && more > 1 {
				if i == shown {
					t.Rows = append(t.Rows, []string{r.State, "", "", "", fmt.Sprintf("and %d more; -o csv lists all", more)})
				}
				continue
			}
			t.Rows = append(t.Rows, []string{r.State, notation.ShortID(r.Case), notation.ShortID(r.ID), r.Kind, r.Text})
		}
		return t
	})
	if err != nil {
		return err
	}
	if n := len(sent.Taken); n > 0 {
		a.warn(fmt.Sprintf("%s sent", plural(n, "entry", "entries")))
	}
	if came > 0 {
		a.warn(fmt.Sprintf("%s came", plural(came, "entry", "entries")))
	}
	if syncErr != nil && waiting > 0 {
		return notSent{waiting, syncErr}
	}
	if syncErr != nil && len(unsent) > 0 && stays(syncErr) {
		return a.fileWaits(ctx, syncErr)
	}
	return syncErr
}

// sync sends what waits and fetches what is new. What came counts also when an
// error ended it.
func (a *app) sync(ctx context.Context, files bool) (sent *client.Sent, came int, err error) {
	who, conn, err := a.home.Connect()
	if err != nil {
		return &client.Sent{}, 0, err
	}
	defer conn.Close()
	if sent, err = a.home.Push(ctx, who, conn); err != nil {
		return sent, 0, err
	}
	if came, err = a.home.Pull(ctx, who, conn); err != nil {
		return sent, came, err
	}
	more, err := a.home.Complete(ctx, who, conn)
	if err == nil {
		// What a restored log is without waits since the pull.
		var again *client.Sent
		again, err = a.home.Push(ctx, who, conn)
		maps.Copy(sent.Taken, again.Taken)
		maps.Copy(sent.Refused, again.Refused)
	}
	if err == nil {
		_, err = a.home.HearNames(ctx, conn)
	}
	if err == nil {
		_, err = a.home.SendFiles(ctx, conn)
	}
	if err == nil && files {
		err = a.fetchFiles(ctx, who, conn)
	}
	if err == nil {
		err = a.home.Prove(ctx, who, conn)
	}
	return sent, came + more, err
}

// catchUp is what a command does by itself before it answers: it sends what waits
// and fetches what is new, if the server answers soon. off says why it does not;
// the connection stands either way.
func (a *app) catchUp(ctx context.Context, writer *client.Identity) (conn *client.Conn, off, err error) {
	if !writer.Joined() {
		return nil, client.ErrOffline, nil
	}
	who, conn, err := a.home.ConnectWithin(client.Haste)
	if err != nil {
		return nil, nil, err
	}
	sent, err := a.home.Push(ctx, who, conn)
	if n := len(sent.Refused); n > 0 {
		a.warn(fmt.Sprintf("%s that waited %s refused: 'knowngood sync' lists them", plural(n, "entry", "entries"), map[bool]string{true: "was", false: "were"}[n == 1]))
	}
	if err == nil || stays(err) && !errors.Is(err, client.ErrOffline) {
		_, err = a.home.Pull(ctx, who, conn)
	}
	if err == nil || errors.Is(err, client.ErrOffline) {
		return conn, err, nil
	}
	return nil, nil, errors.Join(err, conn.Close())
}

// shown is how many entries that wait a table lists.
const shown = 20

// recordAgain records a refused event anew: same words, a new id and number.
func (a *app) recordAgain(ctx context.Context, who *client.Identity, said string) error {
	tray, err := a.home.Tray()
	if err != nil {
		return err
	}
	var found []client.Refused
	for _, r := range tray {
		if strings.HasSuffix(r.ID, strings.ToLower(said)) {
			found = append(found, r)
		}
	}
	if len(found) != 1 {
		return fmt.Errorf("%w: %d refused entries end in %q; 'knowngood sync' lists them", client.ErrNotFound, len(found), said)
	}
	e, err := found[0].Anew()
	if err != nil {
		return err
	}
	d, err := a.attend(ctx, e.GetStream())
	if err != nil {
		return err
	}
	if _, err := d.save(&entryFlags{yes: true}, e); err != nil {
		return err
	}
	return a.home.Settled(found[0].ID, e.GetId())
}

// runAcceptRestored lists what the server's log is without, and goes on from what it
// has once somebody said so.
func runAcceptRestored(ctx context.Context, a *app, yes bool) error {
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	lost, err := a.home.Lost(ctx, who, conn)
	if err != nil {
		return err
	}
	rows := []syncRow{}
	for _, e := range lost.Entries {
		row := syncRow{State: "missing there", Case: e.GetStream(), ID: e.GetId(), Kind: envelope.KindName(e.GetKind())}
		if row.Text = fmt.Sprintf("#%d, will be sent again", e.GetSeq()); e.GetPerson() == "" || len(e.Event) == 0 {
			row.Text = fmt.Sprintf("#%d, the server's own, or erased: not sent again", e.GetSeq())
		}
		rows = append(rows, row)
	}
	err = a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"State", "Case", "Entry", "Kind", "Which"}, None: "The server has all that this home was told."}
		for _, r := range rows {
			t.Rows = append(t.Rows, []string{r.State, notation.ShortID(r.Case), notation.ShortID(r.ID), r.Kind, r.Text})
		}
		return t
	})
	if err != nil {
		return err
	}
	question := fmt.Sprintf("The server's log is without %s that this home was told of. Go on from what it has now?", plural(len(rows), "entry", "entries"))
	if !yes && !a.sure(question) {
		return usage{errors.New("not done: say --yes once whoever runs the server has said that it was restored from a backup")}
	}
	if err := a.home.AcceptRestored(lost.Checkpoint); err != nil {
		return err
	}
	a.warn("the cases are fetched anew with the next 'knowngood sync'; what was told before stays in the replica, and what the log is without is sent again")
	return nil
}
