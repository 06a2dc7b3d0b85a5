package badger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"

	badgerdb "github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/options"

	"knowngood.example/cases/log"
)

// Options says how a log is kept. The zero value suits a client's replica.
type Options struct {
	// MemTableSize is Badger's memtable in bytes, which also bounds a batch to
	// about a seventh of it; 0: 8 MiB. A server that commits a thousand events at
	// once wants 64 MiB.
	MemTableSize int64
	// Reserve is the free space in bytes below which appends get log.ErrFull;
	// 0: 64 MiB and sixteen memtables. Badger maps its files, and a full disk under
	// a map ends the process; it must still have room to merge all the youngest
	// tables it lets gather, fifteen, into new ones.
	Reserve uint64
	// Logger takes what Badger has to say; nil: nobody does.
	Logger *slog.Logger
}

const (
	defaultMemTable = 8 << 20
	valueLogFile    = 16 << 20
	// Everything is kept in the tree, nothing in the value log, whose keys may
	// outlive their values when the power fails: the longest value is a record.
	valueThreshold = 2*log.MaxValue + log.MaxTree + 1<<10
)

// Log is a log.Log in a directory, kept by Badger. Open makes one.
type Log struct {
	dir     string
	db      *badgerdb.DB
	reserve uint64
	// What tests make fail.
	free   func(dir string) (uint64, error)
	commit func(*badgerdb.Txn) error

	// life is held for reading by whatever touches db, for writing by Close.
	life   sync.RWMutex
	closed bool

	// appending is held by the one append under way; what follows belongs to it.
	appending sync.Mutex
	broken    error
	wal       wal
	sum       sum
	accepted  bool

	// state guards what readers are shown: only what was synced.
	state   sync.RWMutex
	heads   heads
	view    *view
	changed chan struct{}
}

// heads are the next positions.
type heads struct {
	size    uint64
	streams map[string]uint64
	feeds   map[string]uint64
}

func (h heads) next(r log.Range) uint64 {
	switch {
	case r.Stream != "":
		return max(h.streams[r.Stream], 1)
	case r.Feed != "":
		return max(h.feeds[r.Feed], 1)
	}
	return h.size
}

// Open opens the log in dir, made when it is not there, and reads every key in
// it before it says that the log is whole. Errors: log.ErrHeld when somebody has
// it open, log.ErrDamaged when it is not what was written.
func Open(dir string, o Options) (l *Log, err error) {
	if o.MemTableSize == 0 {
		o.MemTableSize = defaultMemTable
	}
	if o.Reserve == 0 {
		o.Reserve = DefaultReserve(o.MemTableSize)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("the log's directory cannot be made: %w", err)
	}
	free, err := freeSpace(dir)
	if err != nil {
		return nil, fmt.Errorf("free space of %s: %w", dir, err)
	}
	if free < 4*uint64(o.MemTableSize) {
		return nil, fmt.Errorf("%w: %s has %d MiB free, opening needs %d", log.ErrFull, dir, free>>20, 4*o.MemTableSize>>20)
	}
	bo := badgerdb.DefaultOptions(dir).
		WithSyncWrites(badgerSyncs).
		WithMemTableSize(o.MemTableSize).
		WithValueLogFileSize(valueLogFile).
		WithValueThreshold(valueThreshold).
		WithCompression(options.None).
		WithBlockCacheSize(0).
		WithChecksumVerificationMode(options.OnBlockRead). // inspect did the tables
		WithDetectConflicts(false).                        // there is one committer
		WithMetricsEnabled(false).
		WithNumCompactors(2). // the fewest, so that the reserve is enough
		WithLogger(logger(o.Logger))
	db, err := openBadger(dir, bo)
	if err != nil {
		return nil, err
	}
	l = &Log{dir: dir, db: db, wal: wal{dir: dir}, reserve: o.Reserve, free: freeSpace, commit: (*badgerdb.Txn).Commit, changed: make(chan struct{})}
	if err := l.load(); err != nil {
		return nil, errors.Join(refused(dir, err), db.Close())
	}
	if err := l.scrub(bo); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", dir, err), l.db.Close())
	}
	l.view = l.newView()
	return l, nil
}

func refused(dir string, err error) error {
	return fmt.Errorf("%w: %s: %w; restore from a backup (its files as they were found are in %s)", log.ErrDamaged, dir, err, dir+foundSuffix)
}

func openBadger(dir string, o badgerdb.Options) (db *badgerdb.DB, err error) {
	defer damaged(&err)
	release, held, err := lock(dir)
	if held {
		return nil, heldBy(dir)
	} else if err != nil {
		return nil, fmt.Errorf("locking %s: %w", dir, err)
	}
	err = inspect(dir, o)
	if err == nil {
		if err = keepFound(dir); err != nil {
			err = fmt.Errorf("keeping the files of %s as they are found: %w", dir, err)
		} else {
			err = dropUnbegun(dir)
		}
	}
	if err := errors.Join(err, release()); err != nil {
		return nil, err
	}
	db, err = badgerdb.Open(o)
	switch {
	case err == nil:
		return db, nil
	case strings.Contains(err.Error(), "Cannot acquire directory lock"):
		return nil, heldBy(dir)
	}
	return nil, refused(dir, err)
}

func heldBy(dir string) error {
	pid, _ := os.ReadFile(filepath.Join(dir, "LOCK"))
	return fmt.Errorf("%w: process %s has %s open; ask it, or wait until it ends", log.ErrHeld, bytes.TrimSpace(pid), dir)
}

// damaged turns a panic of Badger over bytes it did not expect into an error.
func damaged(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: %v", log.ErrDamaged, p)
	}
}

// Append implements log.Log.
func (l *Log) Append(ctx context.Context, b log.Batch) error {
	l.life.RLock()
	defer l.life.RUnlock()
	l.appending.Lock()
	defer l.appending.Unlock()
	if l.closed {
		return log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if l.broken != nil {
		return fmt.Errorf("the log takes nothing more until it is opened again: %w", l.broken)
	}
	// Only the holder of appending changes the heads.
	if err := b.Check(l.heads.next); err != nil {
		return err
	}
	if err := room(l.free, l.dir, l.reserve); err != nil {
		return err
	}
	t := &transaction{txn: l.db.NewTransaction(true), sum: l.sum}
	defer t.txn.Discard()
	if err := t.write(b, l.heads); errors.Is(err, badgerdb.ErrTxnTooBig) {
		return fmt.Errorf("%w: %d records, %d index writes", log.ErrTooBig, len(b.Records), len(b.Index))
	} else if err != nil {
		return err
	}
	err := l.commit(t.txn)
	if err == nil {
		err = l.wal.sync()
	}
	if errors.Is(err, badgerdb.ErrTxnTooBig) {
		return fmt.Errorf("%w: %d records, %d index writes", log.ErrTooBig, len(b.Records), len(b.Index))
	} else if err != nil {
		l.broken = fmt.Errorf("nobody knows whether a batch of %d records from index %d was kept: %w", len(b.Records), l.heads.size, err)
		return l.broken
	}
	l.sum = t.sum
	l.advance(b)
	if !l.accepted {
		l.accepted = true
		_ = l.Accept() // only costs room
	}
	return nil
}

// Accept says that the log is the one it should be, and drops the copy that Open
// made of its files before Badger touched them. log.OpenTree calls it once all
// is compared with the checkpoint; the first append does it otherwise.
func (l *Log) Accept() error {
	if err := os.RemoveAll(l.dir + foundSuffix); err != nil {
		return fmt.Errorf("dropping the files as they were found: %w", err)
	}
	return nil
}

// advance shows the committed batch to readers.
func (l *Log) advance(b log.Batch) {
	view := l.newView()
	l.state.Lock()
	defer l.state.Unlock()
	l.view.done()
	l.view = view
	l.heads.size += uint64(len(b.Records))
	for _, r := range b.Records {
		l.heads.streams[r.Stream] = r.Seq + 1
		for _, f := range r.Feeds {
			l.heads.feeds[f] = max(l.heads.feeds[f], 1) + 1
		}
	}
	close(l.changed)
	l.changed = make(chan struct{})
}

// view is the log as of the last batch that was synced: Badger shows a commit
// before it is. Readers share it.
type view struct {
	*badgerdb.Txn
	users atomic.Int64
}

// newView looks at the log as it is now, on behalf of l.view.
func (l *Log) newView() *view {
	v := &view{Txn: l.db.NewTransaction(false)}
	v.users.Store(1)
	return v
}

// look returns the view of this moment, to be let go with done.
func (l *Log) look() *view {
	l.state.RLock()
	defer l.state.RUnlock()
	l.view.users.Add(1)
	return l.view
}

func (v *view) done() {
	if v.users.Add(-1) == 0 {
		v.Discard()
	}
}

// Changed implements log.Log.
func (l *Log) Changed() <-chan struct{} {
	l.state.RLock()
	defer l.state.RUnlock()
	return l.changed
}

// Close implements log.Log.
func (l *Log) Close() (err error) {
	l.life.Lock()
	defer l.life.Unlock()
	if l.closed {
		return nil
	}
	l.closed = true
	close(l.changed)
	defer damaged(&err)
	l.view.done()
	if err := errors.Join(l.db.Close(), l.wal.close()); err != nil {
		return fmt.Errorf("closing the log in %s: %w", l.dir, err)
	}
	return nil
}

// DefaultReserve is the Reserve of Options of that memtable in bytes.
func DefaultReserve(memTable int64) uint64 { return 64<<20 + 16*uint64(memTable) }

// Room refuses, with log.ErrFull, to write to a folder of whose disk no more than
// reserve bytes are free. What is written beside an engine keeps its reserve too: a
// full disk ends the process that has one open.
func Room(dir string, reserve uint64) error { return room(freeSpace, dir, reserve) }

func room(freeSpace func(string) (uint64, error), dir string, reserve uint64) error {
	free, err := freeSpace(dir)
	if err != nil {
		return fmt.Errorf("%w: free space of %s cannot be told: %w", log.ErrFull, dir, err)
	}
	if free < reserve {
		return fmt.Errorf("%w: %s has %d MiB free and keeps %d in reserve; make room, and try again",
			log.ErrFull, dir, free>>20, reserve>>20)
	}
	return nil
}

// Hold keeps others from opening the engine in dir until release is called; the
// error wraps log.ErrHeld when somebody has it open. A folder that is not there is
// nobody's.
func Hold(dir string) (release func() error, err error) {
	release, held, err := lock(dir)
	switch {
	case held:
		return nil, heldBy(dir)
	case errors.Is(err, os.ErrNotExist):
		return func() error { return nil }, nil
	}
	return release, err
}
