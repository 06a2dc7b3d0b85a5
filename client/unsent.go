package client

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"knowngood.example/cases/log"
	"knowngood.example/cases/notation"
)

// FileWaiting is a file that lies in the home and that no server is known to have.
type FileWaiting struct {
	Case   string
	SHA256 []byte
	Size   int64
}

// FilesWaiting lists them.
func (h *Home) FilesWaiting(ctx context.Context) ([]FileWaiting, error) {
	folders, err := os.ReadDir(h.path(fileParts))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("cannot look for files that wait: %w", err)
	}
	epoch, err := h.epoch()
	if err != nil {
		return nil, err
	}
	var out []FileWaiting
	for _, folder := range folders {
		list, err := os.ReadDir(filepath.Join(h.path(fileParts), folder.Name()))
		if notation.CheckID(folder.Name()) != nil || err != nil {
			continue // nothing that was put there by this program
		}
		for _, f := range list {
			sum, err := hex.DecodeString(f.Name())
			if err != nil || len(sum) != sha256.Size {
				continue
			}
			there, err := h.there(ctx, folder.Name(), sum, epoch)
			if err != nil {
				return nil, err
			}
			if info, err := f.Info(); err == nil && !there {
				out = append(out, FileWaiting{folder.Name(), sum, info.Size()})
			}
		}
	}
	return out, nil
}

// FileWaits reports whether a file lies in the home and no server is known to have it.
func (h *Home) FileWaits(ctx context.Context, stream string, sum []byte) (bool, error) {
	if notation.CheckID(stream) != nil || len(sum) != sha256.Size {
		return false, nil // no file is kept under such a name
	}
	if _, err := os.Stat(h.filePath(stream, sum)); errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	epoch, err := h.epoch()
	if err != nil {
		return false, err
	}
	there, err := h.there(ctx, stream, sum, epoch)
	return !there, err
}

// there reports whether the server is known to have a file.
func (h *Home) there(ctx context.Context, stream string, sum []byte, epoch uint64) (bool, error) {
	n, err := h.ledger().number(ctx, prefixThere+stream+"/"+string(sum))
	return n > epoch, err
}

// epoch is the log's as this home knows it, 0 before a server told of it. A server that
// was restored may have lost files though its log lost no entry that was seen, so that
// what it had counts for its epoch alone.
func (h *Home) epoch() (uint64, error) {
	who, err := h.Identity()
	if errors.Is(err, ErrNobody) {
		return 0, nil
	}
	if err != nil {
		return 0, err
	}
	c, err := h.keptCheckpoint(who.LogKey)
	if err != nil || c == nil {
		return 0, err
	}
	return c.Epoch, nil
}

func (h *Home) fileIsThere(ctx context.Context, stream string, sum []byte) error {
	return h.locked("lock", func() error {
		epoch, err := h.epoch()
		if err != nil {
			return err
		}
		return h.replica.Append(ctx, log.Batch{Index: []log.Write{{Key: prefixThere + stream + "/" + string(sum), Value: numbered(epoch + 1)}}})
	})
}

// forgetThere forgets which files the server has: after a restore it may have fewer.
func (l ledger) forgetThere(ctx context.Context) (out []log.Write, err error) {
	for w, err := range l.log.Scan(ctx, prefixThere) {
		if err != nil {
			return nil, err
		}
		out = append(out, log.Write{Key: w.Key})
	}
	return out, nil
}
