package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	"knowngood.example/cases/log/badger"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Restored is what a restore did.
type Restored struct {
	Log string
	// Made is when the backup was.
	Made time.Time
	// Entries of the backup, and the number of the epoch that begins with them.
	Entries, Epoch uint64
	// Files beside the log.
	Files int
	// Aside is where the folder lies now that was there before; empty: there was none.
	Aside string
}

// Restore puts a backup in the place of a data folder. The whole backup is read and
// held against itself first; then it is written to a folder beside, its tree built
// anew and compared with the checkpoint, a new epoch begun, and the folder renamed
// into place. What lay there is kept under another name. Nobody may have the folder
// open, and it must be of the same server, or not be there. Now and NewID of the
// options may be nil; its Reserve is kept free.
func Restore(ctx context.Context, from io.ReadSeeker, dir string, o Options) (_ *Restored, err error) {
	o = o.filled()
	if dir, err = filepath.Abs(dir); err != nil {
		return nil, fmt.Errorf("the data folder: %w", err)
	}
	release, err := badger.Hold(filepath.Join(dir, "log"))
	if err != nil {
		return nil, fmt.Errorf("%s is in use: end the server first: %w", dir, err)
	}
	defer func() { err = errors.Join(err, release()) }()
	r := &restoring{ctx: ctx, options: o, out: &Restored{}}
	if err := r.look(dir); err != nil {
		return nil, err
	}
	if err := backup.Read(from, onlyHead{r}); err != nil {
		return nil, err
	}
	if _, err := from.Seek(0, io.SeekStart); err != nil {
		return nil, fmt.Errorf("the backup cannot be read a second time: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return nil, fmt.Errorf("no folder to restore into: %w", err)
	}
	if r.dir, err = os.MkdirTemp(filepath.Dir(dir), filepath.Base(dir)+".restoring-"); err != nil {
		return nil, fmt.Errorf("no folder to restore into: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(r.dir))
		}
	}()
	err = backup.Read(from, r)
	if err == nil {
		err = r.begin()
	}
	if err = errors.Join(err, r.close()); err != nil {
		return nil, err
	}
	if err := r.say(); err != nil {
		return nil, err
	}
	return r.out, r.exchange(dir)
}

// restoring is the folder that a backup is written to.
type restoring struct {
	ctx     context.Context
	options Options
	out     *Restored
	// old is the server whose data lies where the backup shall; nil: nobody's. Its
	// epoch as far as it can be told.
	old      *identity
	oldEpoch uint64

	dir        string
	head       backup.Head
	checkpoint log.Checkpoint
	file       *os.File
	engine     *badger.Log
	tree       *log.Tree
	batch      log.Batch
	size       int
}

// look finds out whose data lies in the folder.
func (r *restoring) look(dir string) error {
	list, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) || err == nil && len(list) == 0 {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the data folder: %w", err)
	}
	if _, err := os.Stat(keyPath(dir)); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is there, and is no server's data folder: restore to a folder that is not there yet", dir)
	}
	if r.old, err = openIdentity(keyPath(dir), nil); err != nil {
		return err
	}
	// A damaged one says nothing; then the epoch is the one after the backup's.
	if f, err := log.OpenCheckpointFile(checkpointPath(dir)); err == nil {
		last, _ := f.Last()
		if c, err := openOwn(r.old, last.Note); err == nil {
			r.oldEpoch = c.Epoch
		}
		return f.Close()
	}
	return nil
}

func openOwn(i *identity, note []byte) (log.Checkpoint, error) {
	v, err := log.Verifier(i.log, i.public())
	if err != nil {
		return log.Checkpoint{}, err
	}
	return log.OpenCheckpoint(note, v)
}

// onlyHead reads a backup through and keeps nothing of it.
type onlyHead struct{ *restoring }

func (onlyHead) File(string, uint64, []byte) error { return nil }
func (onlyHead) Record(log.Record) error           { return nil }
func (onlyHead) Index(log.Write) error             { return nil }

// Head implements backup.Taker.
func (r *restoring) Head(h backup.Head, c log.Checkpoint) error {
	if r.old != nil {
		key, err := r.old.verifierKey()
		if err != nil {
			return err
		}
		if key != h.LogKey {
			return fmt.Errorf("this is a backup of another server: of log %s, and the folder holds log %s; restore it to a folder of its own", h.Log, r.old.log)
		}
	}
	r.head, r.checkpoint = h, c
	r.out.Log, r.out.Made, r.out.Entries = h.Log, h.Made, c.Size
	return nil
}

// File implements backup.Taker.
func (r *restoring) File(name string, at uint64, b []byte) error {
	if apart(name) {
		return fmt.Errorf("%w: it holds the file %s, which a server makes itself", backup.ErrDamaged, name)
	}
	if err := badger.Room(r.dir, r.reserve()); err != nil {
		return err
	}
	if at == 0 {
		if err := r.closeFile(); err != nil {
			return err
		}
		path := filepath.Join(r.dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return fmt.Errorf("cannot restore %s: %w", name, err)
		}
		var err error
		if r.file, err = os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600); err != nil {
			return fmt.Errorf("cannot restore %s: %w", name, err)
		}
		r.out.Files++
	}
	if _, err := r.file.Write(b); err != nil {
		return fmt.Errorf("cannot restore %s: %w", name, err)
	}
	return nil
}

func (r *restoring) reserve() uint64 {
	if r.options.Reserve > 0 {
		return r.options.Reserve
	}
	return badger.DefaultReserve(memTable)
}

func (r *restoring) closeFile() error {
	if r.file == nil {
		return nil
	}
	err := errors.Join(r.file.Sync(), r.file.Close())
	r.file = nil
	return err
}

// open opens the log to be filled, with the key that came before it.
func (r *restoring) open() error {
	if r.tree != nil {
		return nil
	}
	if err := r.closeFile(); err != nil {
		return err
	}
	if _, err := os.Stat(keyPath(r.dir)); err != nil {
		return fmt.Errorf("%w: the server's key is not in it", backup.ErrDamaged)
	}
	i, err := openIdentity(keyPath(r.dir), nil)
	if err != nil {
		return err
	}
	if key, err := i.verifierKey(); err != nil || key != r.head.LogKey {
		return errors.Join(fmt.Errorf("%w: the server's key in it is not the one that signed its checkpoint", backup.ErrDamaged), err)
	}
	r.engine, err = badger.Open(filepath.Join(r.dir, "log"), badger.Options{MemTableSize: memTable, Reserve: r.options.Reserve, Logger: r.options.Logger})
	if err != nil {
		return err
	}
	r.tree, err = log.OpenTree(r.ctx, r.engine, log.TreeConfig{Log: i.log, Key: i.key, File: checkpointPath(r.dir)})
	return err
}

// Record implements backup.Taker.
func (r *restoring) Record(x log.Record) error {
	r.batch.Records = append(r.batch.Records, x)
	r.size += len(x.Entry) + len(x.Event)
	return r.flush(maxBatchJobs, maxBatchBytes)
}

// Index implements backup.Taker.
func (r *restoring) Index(w log.Write) error {
	r.batch.Index = append(r.batch.Index, w)
	r.size += len(w.Key) + len(w.Value)
	return r.flush(maxBatchJobs, maxBatchBytes)
}

// flush appends what was gathered when it is so many or so large.
func (r *restoring) flush(many, large int) error {
	if len(r.batch.Records)+len(r.batch.Index) < many && r.size < large {
		return nil
	}
	if err := r.open(); err != nil {
		return err
	}
	if _, err := r.tree.Append(r.ctx, r.batch); err != nil {
		return fmt.Errorf("what the backup holds cannot be taken: %w", err)
	}
	r.batch, r.size = log.Batch{}, 0
	return nil
}

// begin begins the epoch once all is there.
func (r *restoring) begin() error {
	if err := r.flush(0, 0); err != nil {
		return err
	}
	if c, _ := r.tree.Checkpoint(); c.Size != r.checkpoint.Size || c.Root != r.checkpoint.Root {
		return fmt.Errorf("%w: its entries are not those that the checkpoint was signed over", backup.ErrDamaged)
	}
	r.out.Epoch = max(r.checkpoint.Epoch, r.oldEpoch) + 1
	_, err := r.tree.BeginEpoch(r.ctx, r.out.Epoch)
	return err
}

func (r *restoring) close() error {
	err := r.closeFile()
	if r.tree != nil {
		err = errors.Join(err, r.tree.Close())
	}
	if r.engine != nil {
		err = errors.Join(err, r.engine.Close())
	}
	return err
}

// say starts a server on the folder, which has the log hashed again from its first
// entry, and lets it write into each shop's register that it was restored.
func (r *restoring) say() error {
	s, err := openFolder(r.dir, r.options)
	if err != nil {
		return fmt.Errorf("what was restored does not start: %w", err)
	}
	err = s.committer.do(r.ctx, 0, func(b *batch) error {
		for _, shop := range b.register.ids() {
			if err := b.say(shop, "", shop, func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_Restored{Restored: &eventv1.Restored{Epoch: r.out.Epoch, Size: r.checkpoint.Size, Root: r.checkpoint.Root[:]}}
			}); err != nil {
				return err
			}
		}
		return nil
	})
	return errors.Join(err, s.Stop(context.WithoutCancel(r.ctx)))
}

// ids lists the shops.
func (r *register) ids() []string {
	r.mu.RLock()
	defer r.mu.RUnlock()
	var out []string
	for id := range r.shops {
		out = append(out, id)
	}
	return out
}

// exchange puts the folder in the place of the one that is there.
func (r *restoring) exchange(dir string) error {
	if r.old != nil {
		aside := dir + ".before-" + r.options.Now().UTC().Format("20060102T150405.000000000Z")
		if err := os.Rename(dir, aside); err != nil {
			return fmt.Errorf("%s cannot be set aside: %w", dir, err)
		}
		r.out.Aside = aside
	}
	if err := os.Rename(r.dir, dir); err != nil {
		if r.out.Aside != "" {
			err = errors.Join(err, os.Rename(r.out.Aside, dir))
		}
		return fmt.Errorf("what was restored cannot be put in place: %w", err)
	}
	return syncFolder(filepath.Dir(dir))
}

// cutShort refuses to make a new server where one was being restored: between the two
// renames of a restore the folder is not there.
func cutShort(dir string) error {
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		return nil //nolint:nilerr // whoever opens it learns it
	}
	left, err := filepath.Glob(filepath.Clean(dir) + ".before-*")
	if err != nil || len(left) == 0 {
		return nil //nolint:nilerr // a name that is no pattern has none
	}
	return fmt.Errorf("%s is not there, and %s is: a restore was cut short; restore again, or rename that folder back", dir, left[len(left)-1])
}
