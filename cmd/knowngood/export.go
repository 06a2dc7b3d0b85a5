package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"knowngood.example/cases/export"
	"knowngood.example/client"
)

func newExport(a *app) *cobra.Command {
	var ref, from, to string
	var noNames bool
	cmd := &cobra.Command{
		Use: "export", Short: "A case as a file that needs no server and proves itself",
		Long: `  knowngood export > case.jsonl
  knowngood export --no-names --to case.jsonl
  knowngood export --from case.jsonl               the same lines again

The first line has the log's id, its signed checkpoint, the devices' keys and, unless
--no-names, names. Then a line an entry: its bytes, the event's bytes, signature,
inclusion proof, and a view to be read. Every command that asks takes such a file with
--from; 'knowngood verify' checks it without a server.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runExport(cmd.Context(), a, ref, from, to, !noNames)
		},
	}
	f := cmd.Flags()
	f.StringVar(&ref, "case", "", "the case: its id or the end of it (default: the one in use)")
	f.StringVar(&from, "from", "", "read this export instead of asking the server")
	f.StringVar(&to, "to", "", "write to this file, whole or not at all (default: standard output)")
	f.BoolVar(&noNames, "no-names", false, "leave out the names of people and shops")
	return cmd
}

func runExport(ctx context.Context, a *app, ref, from, to string, names bool) error {
	x, err := a.exported(ctx, ref, from, names)
	if err != nil {
		return err
	}
	if to == "" {
		return export.Write(a.out, x)
	}
	var b bytes.Buffer
	if err := export.Write(&b, x); err != nil {
		return err
	}
	if old, err := os.ReadFile(to); err == nil && len(old) > 0 && !bytes.HasPrefix(old, []byte(`{"knowngood_export"`)) {
		return usagef("%s is there already and is no export: choose another name", to)
	}
	return writeWhole(to, b.Bytes())
}

func (a *app) exported(ctx context.Context, ref, from string, names bool) (*export.Export, error) {
	if from != "" {
		x, err := a.readExport(from)
		if err == nil && !names {
			x.Head.Shops, x.Head.People = nil, nil
		}
		return x, err
	}
	who, conn, err := a.home.Connect()
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	stream, err := a.findCase(ctx, conn, ref)
	if err != nil {
		return nil, err
	}
	return a.home.FetchExport(ctx, who, conn, stream, names)
}

// writeWhole writes a file whole or not at all.
func writeWhole(path string, b []byte) error {
	temporary := path + ".new"
	err := os.WriteFile(temporary, b, 0o600)
	if err == nil {
		err = os.Rename(temporary, path)
	}
	if err != nil {
		return errors.Join(fmt.Errorf("cannot write %s: %w", path, err), ignoreMissing(os.Remove(temporary)))
	}
	return nil
}

func ignoreMissing(err error) error {
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

func newVerify(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use: "verify FILE", Short: "Check an export: hashes, signatures, proofs, the log's signature",
		Long: `  knowngood verify case.jsonl
  knowngood verify - < case.jsonl

Needs no server. What nobody signs is that no further entry had come when the file
was written. Exit code 1 when anything does not hold.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runVerify(a, args[0]) },
	}
	return cmd
}

// verifyRow is the stable shape of what verify found.
type verifyRow struct {
	// Line of the file, from 1; 0 for the file as a whole.
	Line int `json:"line"`
	// State: 'does not hold', 'remark', or 'holds' for the file as a whole.
	State string `json:"state"`
	Text  string `json:"text"`
}

func runVerify(a *app, path string) error {
	x, err := a.openExport(path)
	if err != nil {
		return err
	}
	pinned := ""
	if who, err := a.home.Identity(); err == nil {
		pinned = who.LogKey
	}
	v := export.Verify(x, pinned)
	rows := []verifyRow{}
	for _, p := range v.Problems {
		rows = append(rows, verifyRow{p.Line, "does not hold", p.What})
	}
	for _, p := range v.Remarks {
		rows = append(rows, verifyRow{p.Line, "remark", p.What})
	}
	if len(v.Problems) == 0 {
		known := "the log's key is the one this home knows"
		if !v.KeyKnown {
			known = "the log's key is the one in the file; compare it with one learned another way: " + x.Head.LogKey
		}
		rows = append(rows, verifyRow{0, "holds", fmt.Sprintf("%s: hashes, signatures, proofs and checkpoint; %s", plural(v.Entries, "entry", "entries"), known)})
	}
	err = a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"Line", "", ""}}
		for _, r := range rows {
			line := ""
			if r.Line > 0 {
				line = fmt.Sprint(r.Line)
			}
			t.Rows = append(t.Rows, []string{line, r.State, r.Text})
		}
		return t
	})
	if err == nil && len(v.Problems) > 0 {
		return fmt.Errorf("%s: %s", path, plural(len(v.Problems), "thing does not hold", "things do not hold"))
	}
	return err
}
