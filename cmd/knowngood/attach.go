package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// attachFlags say what is to be done with which file.
type attachFlags struct {
	name, mediaType, entry string
	get, to, erase, why    string
}

func newAttach(a *app) *cobra.Command {
	o, f := new(entryFlags), new(attachFlags)
	cmd := recording(&cobra.Command{
		Use: "attach [FILE]", Short: "Put a photograph, a capture or any file to the case; get one back; erase one for good",
		Long: `  knowngood attach splice-s4.jpg --entry last
  knowngood attach --get 12                        write the file of entry 12 here, under its name
  knowngood attach --get 12 --to splice.jpg
  knowngood attach --erase 12 --why 'a face is in it'

The file is copied into your home and sent once a server answers, from where an earlier
try was cut off; the original is not needed any more. At most 256 MiB. What is got stays
in the home, so that it can be got again with no server; 'knowngood sync --files' gets
those of all your cases. Only an owner of the shop whose case it is erases a file: the
entry stays and says so, and whoever saved a copy elsewhere still has it.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return runAttach(cmd.Context(), a, o, f, args) },
	}, o)
	g := cmd.Flags()
	g.StringVar(&f.name, "name", "", "what it is called in the case (default: the file's name)")
	g.StringVar(&f.mediaType, "type", "", "its media type, such as image/jpeg (default: told from its name and bytes)")
	g.StringVar(&f.entry, "entry", "", "the entry it belongs to: a number, 'last', or the end of an id (default: the case)")
	g.StringVar(&f.get, "get", "", "get the file of this entry: a number, 'last', or the end of an id")
	g.StringVar(&f.to, "to", "", "with --get: the file to write; one that is there is not touched")
	g.StringVar(&f.erase, "erase", "", "erase the file of this entry for good")
	g.StringVar(&f.why, "why", "", "with --erase: why, and not what it was")
	return cmd
}

func runAttach(ctx context.Context, a *app, o *entryFlags, f *attachFlags, args []string) error {
	switch given := len(args); {
	case f.get != "" && f.erase != "", given > 0 && (f.get != "" || f.erase != ""):
		return usagef("a FILE, --get and --erase: choose one")
	case f.get != "":
		return a.getFile(ctx, o.ref, f)
	case f.erase != "":
		return a.eraseFile(ctx, o.ref, f)
	case given == 0:
		return usagef("name the file to attach; --get fetches one")
	}
	d, err := a.sitDown(o.ref)
	if err != nil {
		return err
	}
	in, err := os.Open(args[0])
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%w: there is no file %s", client.ErrNotFound, args[0])
	}
	if err != nil {
		return fmt.Errorf("cannot read the file: %w", err)
	}
	defer in.Close()
	if info, err := in.Stat(); err != nil || !info.Mode().IsRegular() {
		return usagef("%s is no file", args[0])
	}
	begin := make([]byte, 512)
	n, err := io.ReadFull(in, begin)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return fmt.Errorf("cannot read the file: %w", err)
	}
	if _, err := in.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("cannot read the file: %w", err)
	}
	kept, err := d.home.KeepFile(d.stream, in)
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	if kept.Name = f.name; kept.Name == "" {
		kept.Name = filepath.Base(args[0])
	}
	if kept.MediaType = f.mediaType; kept.MediaType == "" {
		kept.MediaType = mediaTypeOf(kept.Name, begin[:n])
	}
	if f.entry != "" {
		if kept.Entry, err = d.entry(f.entry); err != nil {
			return fmt.Errorf("--entry: %w", err)
		}
	}
	if err := d.keep(ctx, o, &eventv1.Event{Kind: &eventv1.Event_Attachment{Attachment: kept}}); err != nil {
		var no usage
		if errors.As(err, &no) && !d.copy.NamesFile(kept.GetSha256()) {
			return errors.Join(err, d.home.DropFile(d.stream, kept.GetSha256())) // nothing was recorded
		}
		return err // what waits goes with the next sync, the file with it
	}
	_, conn, err := d.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := d.home.SendFiles(ctx, conn); err != nil {
		return a.fileWaits(ctx, err)
	}
	return nil
}

// fileWaits says that the entry went and its file did not, yet.
func (a *app) fileWaits(ctx context.Context, why error) error {
	list, err := a.home.FilesWaiting(ctx)
	if err != nil {
		return err
	}
	return filesNotSent{fmt.Errorf("saved here, not sent yet: %w. %s and will go with 'knowngood sync', from where this try ended", why, plural(len(list), "file waits", "files wait"))}
}

// filesNotSent: entries are at the server, and files wait here.
type filesNotSent struct{ error }

func (f filesNotSent) Unwrap() error { return f.error }

// mediaTypeOf goes by the name's ending, else by how the file begins.
func mediaTypeOf(name string, begin []byte) string {
	said := mime.TypeByExtension(strings.ToLower(filepath.Ext(name)))
	if said == "" {
		said = http.DetectContentType(begin)
	}
	plain, _, _ := strings.Cut(said, ";")
	return plain
}

// attached finds the attachment that somebody means.
func (a *app) attached(ctx context.Context, ref, said string) (d *desk, step *cases.Step, err error) {
	if d, err = a.attend(ctx, ref); err != nil {
		return nil, nil, err
	}
	id, err := d.entry(said)
	if err != nil {
		return nil, nil, err
	}
	step = d.copy.Case.ByID(id)
	if step == nil || step.Says.GetAttachment() == nil {
		return nil, nil, fmt.Errorf("%w: entry %s names no file; 'knowngood timeline kind:attachment' lists those that do", client.ErrNotFound, said)
	}
	return d, step, nil
}

func (a *app) getFile(ctx context.Context, ref string, f *attachFlags) error {
	d, step, err := a.attached(ctx, ref, f.get)
	if err != nil {
		return err
	}
	named := step.Says.GetAttachment()
	if by := d.copy.Case.FilesErased[string(named.GetSha256())]; by != nil {
		return fmt.Errorf("#%d: %w: see #%d", step.Seq, client.ErrErased, by.Seq)
	}
	to := f.to
	if to == "" {
		to = client.PlainName(named)
	}
	var conn *client.Conn
	if d.who.Joined() {
		if _, conn, err = a.home.Connect(); err != nil {
			return err
		}
		defer conn.Close()
	}
	path, err := a.home.File(ctx, conn, d.stream, named)
	if err != nil {
		return fmt.Errorf("#%d, %s: %w", step.Seq, named.GetName(), err)
	}
	if err := copyNew(path, to); err != nil {
		return err
	}
	a.warn(fmt.Sprintf("#%d is in %s, %s", step.Seq, to, plural(int(named.GetSize()), "byte", "bytes")))
	return nil
}

// copyNew writes a file that is not there yet, whole or not at all.
func copyNew(from, to string) error {
	if _, err := os.Lstat(to); !errors.Is(err, os.ErrNotExist) {
		return usagef("%s is there already: choose another name with --to", to)
	}
	in, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("cannot read the file that is kept: %w", err)
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("cannot write %s: %w", to, err)
	}
	_, err = io.Copy(out, in)
	if err = errors.Join(err, out.Close()); err != nil {
		return errors.Join(fmt.Errorf("cannot write %s: %w", to, err), os.Remove(to))
	}
	return nil
}

func (a *app) eraseFile(ctx context.Context, ref string, f *attachFlags) error {
	if f.why == "" {
		return usagef("--why: say why it is erased, and not what it was")
	}
	d, step, err := a.attached(ctx, ref, f.erase)
	if err != nil {
		return err
	}
	_, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	if err := a.home.EraseFile(ctx, conn, d.stream, step.ID, f.why, step.Says.GetAttachment()); err != nil {
		return err
	}
	a.warn(fmt.Sprintf("the file of #%d is erased at the server and here; the entry stays. Homes that have it remove it when they next fetch; what somebody saved elsewhere, and backups, still have it", step.Seq))
	return nil
}

// fetchFiles gets the files of all cases that are kept here.
func (a *app) fetchFiles(ctx context.Context, who *client.Identity, conn *client.Conn) error {
	list, err := a.home.KeptCases()
	if err != nil {
		return err
	}
	got, not := 0, 0
	for _, stream := range list {
		c, err := a.home.Kept(who, stream)
		if err != nil {
			return err
		}
		for _, step := range c.Case.Attachments {
			named := step.Says.GetAttachment()
			if named == nil || c.Case.FilesErased[string(named.GetSha256())] != nil {
				continue
			}
			switch _, err := a.home.File(ctx, conn, stream, named); {
			case err == nil:
				got++
			case errors.Is(err, client.ErrOffline):
				return err
			default:
				not++
				a.warn(fmt.Sprintf("%s: %v", named.GetName(), err))
			}
		}
	}
	a.warn(fmt.Sprintf("%s here, %d could not be got", plural(got, "file is", "files are"), not))
	return nil
}
