package badger

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// badgerSyncs: Badger would sync its whole map of the write-ahead log, and an
// unused value log with it, on every commit. Syncing the one file it wrote to
// takes a third of the time (measured).
const badgerSyncs = false

// wal follows the write-ahead log that Badger writes to: the file DDDDD.mem of
// the highest number. A commit lies in one file.
type wal struct {
	dir    string
	number int
	f      *os.File
}

func (w *wal) path(number int) string {
	return filepath.Join(w.dir, fmt.Sprintf("%05d.mem", number))
}

// sync returns once what was committed last would survive a power cut.
func (w *wal) sync() error {
	if w.f == nil {
		if err := w.newest(); err != nil {
			return err
		}
	}
	for {
		// Badger numbers the next one up when this is full, and makes its name last
		// before it writes.
		if _, err := os.Lstat(w.path(w.number + 1)); errors.Is(err, os.ErrNotExist) {
			break
		} else if err != nil {
			return fmt.Errorf("the write-ahead log: %w", err)
		}
		if err := w.open(w.number + 1); err != nil {
			return err
		}
	}
	for {
		// Dirty pages of the map belong to the file, so this writes them too.
		if err := unix.Fdatasync(int(w.f.Fd())); err == nil {
			return nil
		} else if err != unix.EINTR {
			return fmt.Errorf("syncing %s: %w", w.f.Name(), err)
		}
	}
}

func (w *wal) newest() error {
	names, err := filepath.Glob(filepath.Join(w.dir, "*.mem"))
	if err != nil {
		return err
	}
	newest := -1
	for _, name := range names {
		if n, err := strconv.Atoi(strings.TrimSuffix(filepath.Base(name), ".mem")); err == nil {
			newest = max(newest, n)
		}
	}
	if newest < 0 {
		return fmt.Errorf("there is no write-ahead log in %s to sync", w.dir)
	}
	return w.open(newest)
}

func (w *wal) open(number int) error {
	f, err := os.Open(w.path(number))
	if err != nil {
		return fmt.Errorf("the write-ahead log: %w", err)
	}
	err = w.close()
	w.number, w.f = number, f
	return err
}

func (w *wal) close() error {
	if w.f == nil {
		return nil
	}
	f := w.f
	w.f = nil
	return f.Close()
}
