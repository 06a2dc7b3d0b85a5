package replica

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/rogpeppe/go-internal/lockedfile"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/log/socket"
)

// Options says what belongs to a replica beside its folder. The zero value does.
type Options struct {
	// Salvage takes over what can be read in the files of a damaged log, which lie in
	// dir, before the new one, l, is used. It may be called again for the same folder.
	Salvage func(ctx context.Context, l log.Log, dir string) error
	// Opened is called by an owner before anybody uses the log, each time it opens.
	Opened func(ctx context.Context, l log.Log) error
	// Warn takes what a person should know.
	Warn func(text string)
	// Reserve is the free space in bytes below which nothing is taken; 0: the engine's.
	Reserve uint64
}

// Replica is the log of one home, wherever it is open. It opens when it is first
// used, and is safe for use by several goroutines.
type Replica struct {
	dir     string
	options Options
	now     func() time.Time

	mu     sync.Mutex
	closed bool
	log    log.Log // nil: not reached
	// Of an owner.
	own   *counted
	host  *socket.Host
	place *socket.Place
}

// New returns the replica in the folder, which need not be there yet.
func New(dir string, o Options) *Replica {
	if o.Warn == nil {
		o.Warn = func(string) {}
	}
	return &Replica{dir: dir, options: o, now: time.Now}
}

// waitFor is how long the log may stay held with nobody hosting it.
const waitFor = 30 * time.Second

// reach returns the log: opened here, or hosted by who has it open.
func (r *Replica) reach(ctx context.Context) (log.Log, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return nil, log.ErrClosed
	}
	if r.log != nil {
		return r.log, nil
	}
	pause := time.Millisecond
	for end := time.Now().Add(waitFor); ; {
		err := r.open(ctx)
		if errors.Is(err, log.ErrHeld) {
			var l *socket.Log
			if l, err = socket.Dial(ctx, r.dir); err == nil {
				r.log = l
				return l, nil
			}
			if errors.Is(err, socket.ErrGone) && time.Now().Before(end) {
				select {
				case <-ctx.Done():
					return nil, ctx.Err()
				case <-time.After(pause):
				}
				pause = min(2*pause, 50*time.Millisecond)
				continue
			}
			err = fmt.Errorf("another process has what this home keeps open, and does not answer: end it, or wait: %w", err)
		}
		return r.log, err
	}
}

// memTable is Badger's memtable in bytes. A batch may have about a seventh of it;
// while it is written out it takes four times as much.
const memTable = 4 << 20

// open makes this process the owner.
func (r *Replica) open(ctx context.Context) (err error) {
	if err := os.MkdirAll(r.dir, 0o700); err != nil {
		return fmt.Errorf("cannot make the folder for what you record: %w", err)
	}
	unlock, err := lockedfile.MutexAt(filepath.Join(r.dir, "opening")).Lock()
	if err != nil {
		return fmt.Errorf("cannot lock what this home keeps: %w", err)
	}
	defer unlock()
	engine := badger.Options{Reserve: r.options.Reserve, MemTableSize: memTable}
	own, err := openCounted(r.dir, engine)
	if errors.Is(err, log.ErrDamaged) {
		name, asideErr := r.setAside()
		if asideErr != nil {
			return errors.Join(err, asideErr)
		}
		r.options.Warn(fmt.Sprintf("what this home keeps did not hold: %v. It was set aside as it is in %s, and what can be read of it is taken over: "+
			"what waited to be sent will be sent, cases come again from the server. Look with 'knowngood sync' whether your last entries are there.", err, filepath.Join(r.dir, name)))
		own, err = openCounted(r.dir, engine)
	}
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, own.Close())
		}
	}()
	if err := r.salvage(ctx, own); err != nil {
		return err
	}
	if r.options.Opened != nil {
		if err := r.options.Opened(ctx, own); err != nil {
			return err
		}
	}
	place, err := socket.Listen(r.dir)
	if err != nil {
		return err
	}
	r.own, r.place, r.host, r.log = own, place, socket.Serve(own, place), own
	return nil
}

// lost reports whether an error means that the log has to be reached again: its
// owner has ended. What was reached is given up.
func (r *Replica) lost(l log.Log, err error) bool {
	if !errors.Is(err, socket.ErrGone) && !errors.Is(err, log.ErrClosed) {
		return false
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed || r.own != nil {
		return false
	}
	if r.log == l {
		_ = l.Close() // a connection on which nobody answers
		r.log = nil
	}
	return true
}

// Owns reports whether this process has the engine open.
func (r *Replica) Owns() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.own != nil
}

// Append implements log.Log. Whoever appends must be the only one of all that use
// the replica until it returns: an append whose owner went away before it answered
// is looked for, and made again when it is not there.
func (r *Replica) Append(ctx context.Context, b log.Batch) error {
	for {
		l, err := r.reach(ctx)
		if err != nil {
			return err
		}
		before, err := batches(ctx, l)
		if err == nil {
			err = l.Append(ctx, b)
		} else if r.lost(l, err) {
			continue
		}
		if err == nil || !r.lost(l, err) {
			return err
		}
		again, reachErr := r.reach(context.WithoutCancel(ctx))
		if reachErr != nil {
			return errors.Join(err, reachErr)
		}
		after, countErr := batches(context.WithoutCancel(ctx), again)
		switch {
		case countErr != nil:
			return errors.Join(err, countErr)
		case after == before+1:
			return nil
		case after != before:
			return fmt.Errorf("%w; and others wrote meanwhile: look whether it is there", err)
		}
	}
}

// Read implements log.Log. When the owner goes away in the middle it goes on where
// it was.
func (r *Replica) Read(ctx context.Context, rg log.Range) iter.Seq2[log.Item, error] {
	return func(yield func(log.Item, error) bool) {
		for {
			l, err := r.reach(ctx)
			if err != nil {
				yield(log.Item{}, err)
				return
			}
			again := false
			for item, err := range l.Read(ctx, rg) {
				if err != nil && r.lost(l, err) {
					again = true
					break
				}
				if !yield(item, err) || err != nil {
					return
				}
				rg.From = item.Position + 1
				if rg.Limit > 0 {
					if rg.Limit--; rg.Limit == 0 {
						return
					}
				}
			}
			if !again {
				return
			}
		}
	}
}

// Scan implements log.Log, as Read does.
func (r *Replica) Scan(ctx context.Context, prefix string) iter.Seq2[log.Write, error] {
	return func(yield func(log.Write, error) bool) {
		last, any := "", false
		for {
			l, err := r.reach(ctx)
			if err != nil {
				yield(log.Write{}, err)
				return
			}
			again := false
			for w, err := range l.Scan(ctx, prefix) {
				if err != nil && r.lost(l, err) {
					again = true
					break
				}
				if err == nil && any && w.Key <= last {
					continue
				}
				if !yield(w, err) || err != nil {
					return
				}
				last, any = w.Key, true
			}
			if !again {
				return
			}
		}
	}
}

// Get implements log.Log.
func (r *Replica) Get(ctx context.Context, key string) ([]byte, error) {
	for {
		l, err := r.reach(ctx)
		if err != nil {
			return nil, err
		}
		v, err := l.Get(ctx, key)
		if err == nil || !r.lost(l, err) {
			return v, err
		}
	}
}

// Next implements log.Log.
func (r *Replica) Next(ctx context.Context, rg log.Range) (uint64, error) {
	for {
		l, err := r.reach(ctx)
		if err != nil {
			return 0, err
		}
		n, err := l.Next(ctx, rg)
		if err == nil || !r.lost(l, err) {
			return n, err
		}
	}
}

// Changed implements log.Log. The channel is closed also when the log cannot be
// reached, or its owner ends: whoever then reads learns what is so.
func (r *Replica) Changed() <-chan struct{} {
	l, err := r.reach(context.Background())
	if err != nil {
		c := make(chan struct{})
		close(c)
		return c
	}
	return l.Changed()
}

// closeWithin is how long closing the engine may take: one whose files are gone, on a
// stick that was pulled, tries for ever to write what it holds in memory.
const closeWithin = 10 * time.Second

// Close implements log.Log. An owner ends its socket, then the engine.
func (r *Replica) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return nil
	}
	r.closed = true
	if r.own != nil {
		r.host.Close()
		r.place.Drop()
		closed := make(chan error, 1)
		go func() { closed <- r.own.Close() }()
		select {
		case err := <-closed:
			return err
		case <-time.After(closeWithin):
			return fmt.Errorf("what this home keeps did not close within %v: is %s still there? What was said to be saved was synced", closeWithin, r.dir)
		}
	}
	if r.log != nil {
		return r.log.Close()
	}
	return nil
}
