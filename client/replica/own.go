package replica

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
)

// batchKey holds the number of batches.
const batchKey = "\x00b"

// counted is an engine whose batches are counted in a file beside it.
type counted struct {
	*badger.Log
	file *log.CheckpointFile

	mu     sync.Mutex // held by the append under way
	n      uint64
	broken error
}

// openCounted opens the engine in dir/log and compares it with dir/count.
func openCounted(dir string, o badger.Options) (_ *counted, err error) {
	engine, err := badger.Open(filepath.Join(dir, "log"), o)
	if err != nil {
		return nil, err
	}
	c := &counted{Log: engine}
	defer func() {
		if err != nil {
			err = errors.Join(err, c.Close())
		}
	}()
	if c.n, err = batches(context.Background(), engine); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, "count")
	c.file, err = log.OpenCheckpointFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		size, sizeErr := engine.Next(context.Background(), log.Range{})
		if sizeErr != nil {
			return nil, sizeErr
		}
		if c.n > 0 || size > 0 {
			return nil, fmt.Errorf("%w: it holds %d batches, and %s is missing", log.ErrDamaged, c.n, path)
		}
		c.file, err = log.CreateCheckpointFile(path, nil)
	}
	if err != nil {
		return nil, err
	}
	switch last, sound := c.file.Last(); {
	case c.n == last.Batch && sound:
	case c.n == last.Batch+1:
		// Synced and not yet counted, so not acknowledged; but it may have been read.
		if err := c.file.Put(log.Kept{Batch: c.n}); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("%w: it holds %d batches, and %d were acknowledged", log.ErrDamaged, c.n, last.Batch)
	}
	return c, engine.Accept()
}

// batches reads how many batches a log holds.
func batches(ctx context.Context, l log.Log) (uint64, error) {
	b, err := l.Get(ctx, batchKey)
	switch {
	case err != nil || b == nil:
		return 0, err
	case len(b) != 8:
		return 0, fmt.Errorf("%w: the number of batches is %x, want 8 bytes", log.ErrDamaged, b)
	}
	return binary.BigEndian.Uint64(b), nil
}

// Append implements log.Log.
func (c *counted) Append(ctx context.Context, b log.Batch) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.broken != nil {
		return fmt.Errorf("the log takes nothing more until it is opened again: %w", c.broken)
	}
	b.Index = append(append([]log.Write{}, b.Index...), log.Write{Key: batchKey, Value: binary.BigEndian.AppendUint64(nil, c.n+1)})
	if err := c.Log.Append(ctx, b); err != nil {
		if log.Unknown(err) {
			c.broken = err
		}
		return err
	}
	if err := c.file.Put(log.Kept{Batch: c.n + 1}); err != nil {
		c.broken = err
		return fmt.Errorf("the batch is kept, its count may not be: %w", err)
	}
	c.n++
	return nil
}

// Close implements log.Log.
func (c *counted) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	err := c.Log.Close()
	if c.file != nil && c.broken != log.ErrClosed { //nolint:errorlint // the very value is meant
		err = errors.Join(err, c.file.Close())
	}
	c.broken = log.ErrClosed
	return err
}

const damagedPrefix = "damaged-"

// setAside moves a log that does not hold out of the way, with its count.
func (r *Replica) setAside() (string, error) {
	name := damagedPrefix + r.now().UTC().Format("20060102T150405.000000000Z")
	to := filepath.Join(r.dir, name+".new")
	if err := os.MkdirAll(to, 0o700); err != nil {
		return "", fmt.Errorf("cannot set the damaged log aside: %w", err)
	}
	for _, part := range []string{"log", "log.found", "count"} {
		if err := os.Rename(filepath.Join(r.dir, part), filepath.Join(to, part)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("cannot set the damaged log aside: %w", err)
		}
	}
	if err := os.Rename(to, filepath.Join(r.dir, name)); err != nil {
		return "", fmt.Errorf("cannot set the damaged log aside: %w", err)
	}
	return name, nil
}

// salvage takes over what was set aside and not taken over yet.
func (r *Replica) salvage(ctx context.Context, l log.Log) error {
	entries, err := os.ReadDir(r.dir)
	if err != nil {
		return fmt.Errorf("cannot look for what was set aside: %w", err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), damagedPrefix) || r.options.Salvage == nil {
			continue
		}
		key := "salvaged/" + e.Name()
		if done, err := l.Get(ctx, key); err != nil || done != nil {
			if err != nil {
				return err
			}
			continue
		}
		if err := r.options.Salvage(ctx, l, filepath.Join(r.dir, e.Name())); err != nil {
			return fmt.Errorf("what was set aside in %s could not be taken over: %w", filepath.Join(r.dir, e.Name()), err)
		}
		if err := l.Append(ctx, log.Batch{Index: []log.Write{{Key: key, Value: []byte{1}}}}); err != nil {
			return err
		}
	}
	return nil
}
