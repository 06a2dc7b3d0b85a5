package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"google.golang.org/grpc"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/log/socket"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Backup writes a backup of all that the server keeps, of one moment, and goes on
// serving meanwhile. It holds the server's key.
func (s *Server) Backup(ctx context.Context, to io.Writer) error {
	m := backup.Moment{Files: beside(s.dir)}
	var index func() (log.Write, error, bool)
	stop := func() {}
	defer func() { stop() }()
	var first log.Write
	var firstErr error
	var more bool
	// The committer's turn lies between two batches: what is looked at in it is of one
	// moment.
	// It answers in any case, so that nothing is begun in it that nobody ends.
	err := s.committer.do(context.WithoutCancel(ctx), 0, func(b *batch) error {
		stop() // of a batch that had to be split
		c, signed := s.tree.Checkpoint()
		m.Head = backup.Head{Log: s.identity.log, LogKey: s.logKey, Checkpoint: string(signed), Made: s.now().UTC()}
		m.Size, m.Feeds = c.Size, b.register.feeds()
		index, stop = iter.Pull2(s.log.Scan(ctx, ""))
		first, firstErr, more = index() // from here on it is of this moment
		return nil
	})
	if err != nil {
		return err
	}
	m.Index = func(yield func(log.Write, error) bool) {
		for w, err, more := first, firstErr, more; more; w, err, more = index() {
			if !yield(w, err) {
				return
			}
		}
	}
	return backup.Write(ctx, to, s.log, m)
}

// feeds names all that there are.
func (r *register) feeds() []string {
	r.mu.RLock()
	defer r.mu.RUnlock()
	names := []string{feedAccess}
	for shop := range r.shops {
		names = append(names, feedOf(shop))
	}
	return names
}

// apart is what lies in a data folder and does not go into a backup as it lies there:
// the log and its checkpoint are put together anew, the rest is of the moment.
func apart(name string) bool {
	switch first, _, _ := strings.Cut(name, "/"); first {
	case "log", "log.found", "checkpoint", "host", "socket":
		return true
	}
	return strings.HasPrefix(filepath.Base(name), ".") || strings.HasSuffix(name, ".new") || strings.HasSuffix(name, ".part")
}

// beside yields the files that lie beside the log.
func beside(dir string) iter.Seq2[backup.File, error] {
	return func(yield func(backup.File, error) bool) {
		ended := errors.New("nobody reads on")
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if errors.Is(err, fs.ErrNotExist) {
				return nil // gone since: an attachment that was erased
			}
			if err != nil || path == dir {
				return err
			}
			name, err := filepath.Rel(dir, path)
			switch {
			case err != nil:
				return err
			case apart(filepath.ToSlash(name)) && d.IsDir():
				return filepath.SkipDir
			case apart(filepath.ToSlash(name)) || !d.Type().IsRegular():
				return nil
			}
			f, err := os.Open(path)
			if errors.Is(err, fs.ErrNotExist) {
				return nil
			}
			if err != nil {
				return err
			}
			defer f.Close()
			if !yield(backup.File{Name: filepath.ToSlash(name), Reader: f}, nil) {
				return ended
			}
			return nil
		})
		if err != nil && !errors.Is(err, ended) {
			yield(backup.File{}, fmt.Errorf("the data folder: %w", err))
		}
	}
}

// keepService answers whoever runs the server, over the socket of its data folder.
type keepService struct {
	boardv1.UnimplementedKeepServiceServer
	s *Server
}

func (k keepService) Backup(_ *boardv1.BackupRequest, ss grpc.ServerStreamingServer[boardv1.BackupResponse]) error {
	return k.s.Backup(ss.Context(), parts(func(b []byte) error { return ss.Send(&boardv1.BackupResponse{Part: slices.Clone(b)}) }))
}

type parts func([]byte) error

func (p parts) Write(b []byte) (int, error) { return len(b), p(b) }

// hostKeep opens the socket of the data folder.
func (s *Server) hostKeep() error {
	place, err := socket.Listen(s.dir)
	if err != nil {
		return err
	}
	s.place, s.keep = place, grpc.NewServer()
	boardv1.RegisterKeepServiceServer(s.keep, keepService{s: s})
	go func() { _ = s.keep.Serve(place) }() // ends with endKeep
	return nil
}

func (s *Server) endKeep() {
	if s.keep != nil {
		s.keep.Stop()
		s.place.Drop()
	}
}

// BackupOf writes a backup of the server whose data lies in the folder: by the
// process that serves it, or, when there is none, from the files.
func BackupOf(ctx context.Context, dir string, to io.Writer, o Options) error {
	if _, err := os.Stat(keyPath(dir)); err != nil {
		return fmt.Errorf("%s is no server's data folder: %w", dir, err)
	}
	s, err := Open(dir, o)
	if err == nil {
		return errors.Join(s.Backup(ctx, to), s.Stop(context.WithoutCancel(ctx)))
	}
	if !errors.Is(err, log.ErrHeld) {
		return err
	}
	conn, err := socket.Connect(dir)
	if err != nil {
		return err
	}
	defer conn.Close()
	in, err := boardv1.NewKeepServiceClient(conn).Backup(ctx, &boardv1.BackupRequest{})
	for err == nil {
		var m *boardv1.BackupResponse
		if m, err = in.Recv(); err == nil {
			_, err = to.Write(m.GetPart())
		}
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return fmt.Errorf("the server that has %s open could not make a backup: %w", dir, err)
}

// Room refuses, with log.ErrFull, to write to a folder of a disk that has no more
// room than a server keeps in reserve.
func Room(dir string) error { return badger.Room(dir, badger.DefaultReserve(memTable)) }
