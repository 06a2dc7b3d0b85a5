package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"time"

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
--from; 'knowngood verify' checks it without a server. With no server in reach it is
written from what this home keeps, as far as that was proven when it last synced.`,
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
	who, err := a.home.Writer(false)
	if err != nil {
		return nil, err
	}
	conn, off, err := a.catchUp(ctx, who)
	if errors.Is(err, client.ErrHistory) {
		a.warn(err.Error()) // what this home was told before is worth a file then above all
		off, err = client.ErrOffline, nil
	}
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	stream, err := a.home.FindCase(ref)
	if err != nil {
		return nil, err
	}
	if off == nil {
		if _, err = a.home.HearNames(ctx, conn); err != nil && !errors.Is(err, client.ErrOffline) {
			return nil, err
		}
	}
	p, err := a.home.Proven(ctx, who, stream, names)
	if err != nil {
		return nil, err
	}
	if off != nil {
		a.warn(fmt.Sprintf("nothing was asked of the server: this is the case as it was proven here on %s, to entry %d", p.At.In(a.show.Zone).Format(time.RFC3339), len(p.Lines)))
	}
	if n := p.Rest; n > 0 {
		a.warn(plural(n, "entry that came since is", "entries that came since are") + " not in it: 'knowngood sync' gets what proves them")
	}
	for _, problem := range export.Verify(p.Export, who.LogKey).Problems {
		return nil, fmt.Errorf("what this home keeps of the case does not hold, so nothing was written: entry %d: %s; 'knowngood verify' says more", problem.Line-1, problem.What)
	}
	return p.Export, nil
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
