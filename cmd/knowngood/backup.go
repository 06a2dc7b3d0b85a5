package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	"knowngood.example/client"
	"knowngood.example/server"
)

func newBackup(a *app) *cobra.Command {
	var data, to string
	cmd := &cobra.Command{
		Use: "backup", Short: "All that a server keeps, as one file, while it goes on serving",
		Long: `  knowngood backup --data server-data --to board-monday.backup
  knowngood verify board-monday.backup

Run it on the server's machine, as the user who runs the server. The file holds cases,
registers, names, attachments and the server's key: keep it where only you get at it,
and not on the same disk. It is read back and checked before the command ends; a file
that is there already is not touched.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runBackup(cmd.Context(), a, data, to) },
	}
	f := cmd.Flags()
	f.StringVar(&data, "data", "", "folder of the server's data (default: 'server' in your data folder)")
	f.StringVar(&to, "to", "", "the file to write")
	return cmd
}

// backupRow is the stable shape of what a backup holds, or of what was restored.
type backupRow struct {
	File    string `json:"file"`
	Log     string `json:"log"`
	Made    string `json:"made"`
	Entries uint64 `json:"entries"`
	Epoch   uint64 `json:"epoch"`
	Files   int    `json:"files"`
	Bytes   int64  `json:"bytes"`
	// Aside is the folder that was there before a restore; else empty.
	Aside string `json:"aside"`
}

func (a *app) dataFolder(said string) string {
	if said == "" {
		return filepath.Join(a.home.Dir(), "server")
	}
	return said
}

func runBackup(ctx context.Context, a *app, data, to string) (err error) {
	if to == "" {
		return usagef("--to: name the file to write")
	}
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return usagef("%s is there already: choose another name", to)
	}
	// Written under another name, so that half a backup never passes for one.
	temporary := to + ".new"
	f, err := os.OpenFile(temporary, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return fmt.Errorf("cannot write the backup: %w", err)
	}
	defer func() {
		err = errors.Join(err, ignoreClosed(f.Close()), ignoreMissing(os.Remove(temporary)))
	}()
	if err := server.BackupOf(ctx, a.dataFolder(data), roomy{f}, server.Options{}); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("cannot write the backup: %w", err)
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		return fmt.Errorf("the backup cannot be read back: %w", err)
	}
	row := backupRow{File: to, Bytes: size}
	if err := backup.Read(f, counting{&row}); err != nil {
		return fmt.Errorf("what was written does not read back: %w", err)
	}
	if err := os.Rename(temporary, to); err != nil {
		return fmt.Errorf("cannot write the backup: %w", err)
	}
	return a.tellBackup(row, "backed up")
}

// roomy keeps what a disk needs that a server may have its log on.
type roomy struct{ *os.File }

func (r roomy) Write(b []byte) (int, error) {
	if err := server.Room(filepath.Dir(r.Name())); err != nil {
		return 0, err
	}
	return r.File.Write(b)
}

func ignoreClosed(err error) error {
	if errors.Is(err, fs.ErrClosed) {
		return nil
	}
	return err
}

// counting fills a row from what a backup holds.
type counting struct{ row *backupRow }

func (c counting) Head(h backup.Head, at log.Checkpoint) error {
	c.row.Log, c.row.Made, c.row.Entries, c.row.Epoch = h.Log, h.Made.Format(time.RFC3339), at.Size, at.Epoch
	return nil
}

func (c counting) File(_ string, at uint64, _ []byte) error {
	if at == 0 {
		c.row.Files++
	}
	return nil
}

func (counting) Record(log.Record) error { return nil }
func (counting) Index(log.Write) error   { return nil }

func (a *app) tellBackup(r backupRow, done string) error {
	return a.show.Write([]backupRow{r}, func() client.Table {
		return client.Table{Head: []string{"", "File", "Entries", "Epoch", "Files", "Made"}, Rows: [][]string{{
			done, r.File, fmt.Sprint(r.Entries), fmt.Sprint(r.Epoch), fmt.Sprint(r.Files), r.Made,
		}}}
	})
}

func newRestore(a *app) *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use: "restore FILE", Short: "Put a backup in the place of a server's data",
		Long: `  knowngood restore board-monday.backup --data server-data

End the server first. The whole backup is checked before anything is written; what lay in
the data folder is kept under another name beside it. What was recorded after the backup
was made is not in it: homes notice that the log is shorter than what they saw, and once
somebody there has said 'knowngood sync --accept-restored' they send it again. What was
erased after the backup was made is there again, and so are tokens and access that were
withdrawn since: look through them.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runRestore(cmd.Context(), a, args[0], data) },
	}
	cmd.Flags().StringVar(&data, "data", "", "folder of the server's data (default: 'server' in your data folder)")
	return cmd
}

func runRestore(ctx context.Context, a *app, file, data string) error {
	f, err := os.Open(file)
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w: there is no file %s", client.ErrNotFound, file)
	}
	if err != nil {
		return fmt.Errorf("cannot read the backup: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("cannot read the backup: %w", err)
	}
	r, err := server.Restore(ctx, f, a.dataFolder(data), server.Options{})
	if err != nil {
		return fmt.Errorf("%s: %w; nothing was changed", file, err)
	}
	if r.Aside != "" {
		a.warn("what was there before is kept in " + r.Aside)
	}
	return a.tellBackup(backupRow{
		File: file, Log: r.Log, Made: r.Made.Format(time.RFC3339), Entries: r.Entries, Epoch: r.Epoch, Files: r.Files, Bytes: info.Size(), Aside: r.Aside,
	}, "restored")
}
