package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log/backup"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
)

func newVerify(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use: "verify [FILE | CASE]", Short: "Check what is kept here, a case of it, an export or a backup: was anything changed, by whom not, since when",
		Long: `  knowngood verify                                 every case that this home keeps
  knowngood verify 4f9a2c                          one of them, by the end of its id
  knowngood verify case.jsonl
  knowngood verify board-monday.backup
  knowngood verify - < case.jsonl

Needs no server. Each entry is held against the signature of the device that wrote it and
against the log that the server signed; where something does not hold, it is said who stands by
what is there, and so by whom it cannot have been changed. A file is also held against what this
home was told. What nobody signs is that no further entry had come when a file was written; and
an old checkpoint of another home shows what yours cannot. Exit code 1 when anything does not hold.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runVerify(cmd.Context(), a, args) },
	}
	return cmd
}

// verifyRow is the stable shape of what verify found.
type verifyRow struct {
	// Case, or empty: the file as a whole.
	Case string `json:"case"`
	// Line of a file, from 1; 0 where it is not about one.
	Line int `json:"line"`
	// Entry of the case, or of a backup its place in the log, from 1; 0: all of it.
	Entry uint64 `json:"entry"`
	// State: 'does not hold', 'remark', or 'holds' for the whole.
	State string `json:"state"`
	Text  string `json:"text"`
	// Says who stands by what is there, by whom it cannot have been changed, since when.
	Says string `json:"says"`
}

const (
	notHeld = "does not hold"
	remark  = "remark"
	holds   = "holds"
)

func runVerify(ctx context.Context, a *app, args []string) error {
	rows, what, err := a.verify(ctx, args)
	if err != nil {
		return err
	}
	wrong := 0
	for _, r := range rows {
		if r.State == notHeld {
			wrong++
		}
	}
	err = a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"Case", "Where", "", ""}}
		for _, r := range rows {
			where := ""
			switch {
			case r.Line > 0:
				where = fmt.Sprint(r.Line)
			case r.Entry > 0:
				where = fmt.Sprintf("#%d", r.Entry)
			}
			text := r.Text
			if r.Says != "" {
				text += ": " + r.Says
			}
			t.Rows = append(t.Rows, []string{notation.ShortID(r.Case), where, r.State, text})
		}
		return t
	})
	if err == nil && wrong > 0 {
		return fmt.Errorf("%s: %s", what, plural(wrong, "thing does not hold", "things do not hold"))
	}
	return err
}

// verify finds out what is meant and checks it.
func (a *app) verify(ctx context.Context, args []string) (rows []verifyRow, what string, err error) {
	if len(args) == 0 {
		rows, err = a.verifyHome(ctx)
		return rows, "what this home keeps", err
	}
	what = args[0]
	from := a.in
	if what != "-" {
		f, openErr := os.Open(what)
		if errors.Is(openErr, os.ErrNotExist) {
			stream, err := a.home.FindCase(what)
			if err != nil {
				return nil, "", fmt.Errorf("there is no file %s, and no such case: %w", what, err)
			}
			rows, err = a.verifyCase(ctx, stream)
			return rows, "case " + notation.ShortID(stream), err
		}
		if openErr != nil {
			return nil, "", fmt.Errorf("cannot read %s: %w", what, openErr)
		}
		defer f.Close()
		from = f
	}
	in := bufio.NewReaderSize(from, 1<<16)
	begin, err := in.Peek(16)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, "", fmt.Errorf("cannot read %s: %w", what, err)
	}
	if backup.Is(begin) {
		rows, err = a.verifyBackup(in)
		return rows, what, err
	}
	x, err := export.Read(in)
	if err != nil {
		return nil, "", fmt.Errorf("%s, %w", what, err)
	}
	rows, err = a.verifyExport(ctx, x)
	return rows, what, err
}

// keyWords says how far the log's key is known.
func keyWords(known bool, key string) string {
	if known {
		return "the log's key is the one this home knows"
	}
	return "the log's key is the one in the file; compare it with one learned another way: " + key
}

// verifyExport checks a file, also against what this home was told.
func (a *app) verifyExport(ctx context.Context, x *export.Export) ([]verifyRow, error) {
	pinned := ""
	who, err := a.home.Identity()
	if err == nil {
		pinned = who.LogKey
	}
	v := export.Verify(x, pinned)
	if v.KeyKnown {
		more, err := a.home.Against(ctx, who, x)
		if err != nil {
			return nil, err
		}
		v.Problems = append(v.Problems, more...)
	}
	rows := []verifyRow{}
	for _, p := range v.Problems {
		rows = append(rows, verifyRow{Case: x.Head.Case, Line: p.Line, Entry: uint64(max(p.Line-1, 0)), State: notHeld, Text: p.What, Says: p.Says})
	}
	for _, p := range v.Remarks {
		rows = append(rows, verifyRow{Case: x.Head.Case, Line: p.Line, Entry: uint64(max(p.Line-1, 0)), State: remark, Text: p.What})
	}
	if len(v.Problems) == 0 {
		rows = append(rows, verifyRow{Case: x.Head.Case, State: holds, Text: fmt.Sprintf("%s: hashes, signatures, proofs and checkpoint; %s",
			plural(v.Entries, "entry", "entries"), keyWords(v.KeyKnown, x.Head.LogKey))})
	}
	return rows, nil
}

// verifyHome checks every case that this home was told of.
func (a *app) verifyHome(ctx context.Context) ([]verifyRow, error) {
	list, err := a.home.KeptCases()
	if err != nil {
		return nil, err
	}
	rows := []verifyRow{}
	for _, stream := range list {
		of, err := a.verifyCase(ctx, stream)
		if errors.Is(err, client.ErrNotFound) {
			of, err = []verifyRow{{Case: stream, State: remark, Text: "nothing of it was proven by a server yet: it waits to be sent, or 'knowngood sync' gets what proves it"}}, nil
		}
		if err != nil {
			return nil, err
		}
		rows = append(rows, of...)
	}
	if len(rows) == 0 {
		return nil, fmt.Errorf("%w: this home keeps no case; name a file to check one", client.ErrNotFound)
	}
	return rows, nil
}

// verifyCase checks what this home keeps of a case.
func (a *app) verifyCase(ctx context.Context, stream string) ([]verifyRow, error) {
	who, err := a.home.Identity()
	if err != nil {
		return nil, err
	}
	p, err := a.home.Proven(ctx, who, stream, true)
	if err != nil {
		return nil, err
	}
	rows := []verifyRow{}
	v := export.Verify(p.Export, who.LogKey)
	at := p.At.In(a.show.Zone).Format(time.RFC3339)
	unproven := false
	for _, x := range v.Problems {
		if says := x.Says; x.Line > 1 {
			unproven = unproven || len(p.Lines[x.Line-2].Proof) == 0
			rows = append(rows, verifyRow{Case: stream, Entry: uint64(x.Line - 1), State: notHeld, Text: x.What, Says: says})
			continue
		}
		rows = append(rows, verifyRow{Case: stream, State: notHeld, Text: x.What})
	}
	for _, x := range v.Remarks {
		rows = append(rows, verifyRow{Case: stream, Entry: uint64(max(x.Line-1, 0)), State: remark, Text: x.What})
	}
	if unproven {
		a.warn("what proves an entry is damaged or missing here; the next 'knowngood sync' gets it anew")
		if err := a.home.ProveAnew(); err != nil {
			return nil, err
		}
	}
	if p.Rest > 0 {
		rows = append(rows, verifyRow{Case: stream, State: remark, Text: plural(p.Rest, "entry", "entries") + " came since and are not proven yet: 'knowngood sync' gets what proves them"})
	}
	if len(v.Problems) == 0 {
		rows = append(rows, verifyRow{Case: stream, State: holds, Text: fmt.Sprintf("%s: hashes, signatures and proofs; nothing was changed since the log had them: as proven here on %s, by the key this home knows",
			plural(v.Entries, "entry", "entries"), at)})
	} else {
		rows = append(rows, verifyRow{Case: stream, State: remark, Text: "all of it was proven to be in the log, as it was signed, when it came; last on " + at + ": what does not hold was changed after that, in this home's files, unless it was put in the log in somebody's name"})
	}
	return rows, nil
}

// verifyBackup checks a backup: its bytes, its tree, and each entry of it.
func (a *app) verifyBackup(in io.Reader) ([]verifyRow, error) {
	c := &client.BackupCheck{}
	who, err := a.home.Identity()
	if err == nil {
		c.LogKey, c.Seen = who.LogKey, a.home.Checkpoint()
	}
	rows := []verifyRow{}
	if err := backup.Read(in, c); errors.Is(err, backup.ErrDamaged) {
		rows = append(rows, verifyRow{State: notHeld, Text: err.Error(), Says: "it is not what a server wrote, or the disk changed it; nothing of it is restored"})
		return rows, nil
	} else if err != nil {
		return nil, err
	}
	for _, p := range c.Problems() {
		rows = append(rows, verifyRow{Entry: uint64(p.Line), State: notHeld, Text: p.What, Says: p.Says})
	}
	if len(rows) == 0 {
		rows = append(rows, verifyRow{State: holds, Text: fmt.Sprintf("%s of log %s, made %s: every byte, hash, signature and the root; %s; %s",
			plural(int(c.Checkpoint.Size), "entry", "entries"), c.Of.Log, c.Of.Made.Format(time.RFC3339), keyWords(c.Known(), c.Of.LogKey), c.Said())})
	}
	return rows, nil
}
