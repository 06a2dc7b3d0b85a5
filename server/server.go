package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/log/memory"
	"knowngood.example/cases/log/socket"
	"knowngood.example/cases/suspect"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Options of a server; the zero value is a good one.
type Options struct {
	// Reach are addresses, host:port, at which it can be reached beside the machine's
	// own: a name in the network, the outer side of a router.
	Reach []string
	// Logger takes what happens; never personal data, never a token. nil: nobody.
	Logger *slog.Logger
	// Now and NewID are the clock and the source of UUIDv7; nil: the real ones.
	Now   func() time.Time
	NewID func() string
	// SlowAfter is how long a send to a reader may take before the reader is cut
	// off; 0: 30 s.
	SlowAfter time.Duration
	// StopWithin is how long calls under way may take when the server is stopped
	// by the context of Serve; 0: 10 s.
	StopWithin time.Duration
	// CloseWithin is how long closing the log may take then (5 s). An engine whose
	// files are gone tries for ever to write what it holds in memory.
	CloseWithin time.Duration
	// Connections at once; 0: 4096.
	Connections int
	// Limits of one device or one address.
	Limits Limits
	// Folds is how many cases are kept folded; 0: 256.
	Folds int
	// Table that the judgements of reports rest on; nil: the default.
	Table *suspect.Table
	// Reserve is the free space in bytes below which nothing more is taken; 0: what
	// the log's engine thinks right.
	Reserve uint64
}

func (o Options) filled() Options {
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.NewID == nil {
		o.NewID = func() string { return uuid.Must(uuid.NewV7()).String() }
	}
	def := func(d *time.Duration, v time.Duration) {
		if *d == 0 {
			*d = v
		}
	}
	def(&o.SlowAfter, 30*time.Second)
	def(&o.StopWithin, 10*time.Second)
	def(&o.CloseWithin, 5*time.Second)
	if o.Connections == 0 {
		o.Connections = 4096
	}
	o.Limits = o.Limits.filled()
	if o.Folds == 0 {
		o.Folds = 256
	}
	return o
}

// Server keeps the board. Its methods are the whole of it: they decide who may
// do what, so that a page in the same process goes through the same gate; the
// gRPC services only carry them.
type Server struct {
	options   Options
	identity  *identity
	logKey    string
	log       log.Log
	tree      *log.Tree
	register  *register
	wakes     *wakes
	committer *committer
	limits    *limits
	secure    *certificates
	// listening is where, once it serves.
	listening atomic.Pointer[net.Addr]
	folds     *folds
	pages     *pages
	files     *files
	tablets   sync.Mutex // held while an event of a tablet gets its number
	logger    *slog.Logger
	now       func() time.Time
	dir       string // the data folder
	scratch   string // of a server that keeps nothing: the same
	place     *socket.Place
	keep      *grpc.Server // nil: not hosted

	grpc     *grpc.Server
	health   *health.Server
	stopOnce sync.Once
	stopping atomic.Bool
	stopErr  error
}

// Open opens the data in a folder, made when it is not there, and is ready to be
// called and served. With no folder everything is kept in memory and is gone
// afterwards. Nobody else may have it open.
func Open(dir string, o Options) (*Server, error) {
	o = o.filled()
	if dir == "" {
		scratch, err := os.MkdirTemp("", "knowngood-")
		if err != nil {
			return nil, fmt.Errorf("no folder for the checkpoint: %w", err)
		}
		s, err := open(scratch, memory.New(), o)
		if err != nil {
			return nil, errors.Join(err, os.RemoveAll(scratch))
		}
		s.scratch = scratch
		return s, nil
	}
	if err := cutShort(dir); err != nil {
		return nil, err
	}
	s, err := openFolder(dir, o)
	if err != nil {
		return nil, err
	}
	if err := s.hostKeep(); err != nil {
		return nil, errors.Join(err, s.Stop(context.Background()))
	}
	return s, nil
}

// openFolder is Open of a folder, without its socket.
func openFolder(dir string, o Options) (*Server, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the data folder cannot be made: %w", err)
	}
	if err := keyBelongs(dir); err != nil {
		return nil, err
	}
	l, err := badger.Open(filepath.Join(dir, "log"), badger.Options{MemTableSize: memTable, Reserve: o.Reserve, Logger: o.Logger})
	if err != nil {
		return nil, fmt.Errorf("the log cannot be opened: %w", err)
	}
	return open(dir, l, o)
}

// memTable is large enough for a batch of a thousand events.
const memTable = 64 << 20

// keyBelongs refuses a folder that has a log and no key: a new key would be
// another server's.
func keyBelongs(dir string) error {
	_, err := os.Stat(keyPath(dir))
	if !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if _, err := os.Stat(checkpointPath(dir)); err == nil {
		return fmt.Errorf("%s holds a log and not the server's key, %s: restore the key from a backup", dir, keyPath(dir))
	}
	return nil
}

func keyPath(dir string) string        { return filepath.Join(dir, "key.json") }
func checkpointPath(dir string) string { return filepath.Join(dir, "checkpoint") }

// open starts a server on a log, which it closes in the end, also on failure.
func open(dir string, l log.Log, o Options) (_ *Server, err error) {
	s := &Server{
		options: o, dir: dir, log: l, register: newRegister(), wakes: &wakes{}, logger: o.Logger, now: o.Now,
		limits: newLimits(o.Limits),
		folds:  newFolds(l, o.Folds, o.Table),
	}
	defer func() {
		if err != nil {
			if s.tree != nil {
				err = errors.Join(err, s.tree.Close())
			}
			err = errors.Join(err, l.Close())
		}
	}()
	ctx := context.Background()
	if s.identity, err = openIdentity(keyPath(dir), o.NewID); err != nil {
		return nil, err
	}
	if s.logKey, err = s.identity.verifierKey(); err != nil {
		return nil, fmt.Errorf("the log's key: %w", err)
	}
	s.secure = &certificates{from: s.identity.authority, now: o.Now, hosts: s.hosts}
	s.tree, err = log.OpenTree(ctx, l, log.TreeConfig{Log: s.identity.log, Key: s.identity.key, File: checkpointPath(dir)})
	if err != nil {
		return nil, fmt.Errorf("the log cannot be trusted: %w", err)
	}
	if err = s.remember(ctx); err != nil {
		return nil, err
	}
	s.health = health.NewServer()
	s.committer = &committer{
		log: l, tree: s.tree, register: s.register, wakes: s.wakes, identity: s.identity, now: o.Now, newID: o.NewID,
		logger: o.Logger, onStop: s.unwell,
	}
	s.pages = newPages(l, s.committer.shown.Load)
	if err = s.committer.start(ctx); err != nil {
		return nil, err
	}
	if s.files, err = openFiles(ctx, s); err != nil {
		return nil, err
	}
	s.grpc = s.services()
	return s, nil
}

// remember folds who may do what from the log.
func (s *Server) remember(ctx context.Context) error {
	for item, err := range s.log.Read(ctx, log.Range{Feed: feedAccess}) {
		if err != nil {
			return fmt.Errorf("the registers cannot be read: %w", err)
		}
		if len(item.Event) == 0 {
			continue // a hand-off that was erased; the grant behind it cannot be
		}
		o, err := envelope.Open(item.Event)
		if err != nil {
			return fmt.Errorf("entry %d of %s: %w", item.Seq, item.Stream, err)
		}
		s.register.apply(o.Event)
	}
	return nil
}

// admit lets the caller in to a method, about a stream where one is meant, or
// refuses. It looks the caller up again: whatever was withdrawn since counts.
func (s *Server) admit(c Caller, method, stream string) (Caller, error) {
	now, ok := s.register.caller(c.Device)
	if !ok {
		return c, refuse(boardv1.Reason_REASON_WHO_ARE_YOU, "this device may not be used any more")
	}
	in := self
	if stream != "" {
		in = s.register.standing(now, stream, s.now())
	}
	switch {
	case mayCall(method, now.Role, in):
		return now, nil
	case in == nowhere:
		return now, notFound(stream)
	}
	return now, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "your role does not allow that")
}

// sees reports whether the method shows the caller the stream now.
func (s *Server) sees(c Caller, method, stream string) bool {
	return mayCall(method, c.Role, s.register.standing(c, stream, s.now()))
}

func (s *Server) closeLog() error {
	closed := make(chan error, 1)
	go func() {
		s.committer.close()
		closed <- errors.Join(s.tree.Close(), s.log.Close())
	}()
	select {
	case err := <-closed:
		return err
	case <-time.After(s.options.CloseWithin):
		return fmt.Errorf("the log did not close within %v; what was confirmed is synced and stands: look at the disk before starting again", s.options.CloseWithin)
	}
}

// Stop ends watchers, lets calls under way finish until ctx ends, and closes the
// log. A second Stop returns what the first did.
func (s *Server) Stop(ctx context.Context) error {
	s.stopOnce.Do(func() {
		s.health.Shutdown()
		s.stopping.Store(true)
		s.wakes.wakeAll()
		s.endKeep()
		finished := make(chan struct{})
		go func() {
			s.grpc.GracefulStop()
			close(finished)
		}()
		select {
		case <-finished:
		case <-ctx.Done():
			s.grpc.Stop()
			<-finished
		}
		s.stopErr = s.closeLog()
		if s.scratch != "" {
			s.stopErr = errors.Join(s.stopErr, os.RemoveAll(s.scratch))
		}
	})
	return s.stopErr
}
