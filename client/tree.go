package client

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
)

// ErrHistory: the server's log is not the one this home saw before.
var ErrHistory = errors.New("the server tells another history than before")

// checkpoint is the last signed one that this home accepted; nil when none was.
func (h *Home) checkpoint() ([]byte, error) {
	b, err := os.ReadFile(h.path("checkpoint"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read the last checkpoint: %w", err)
	}
	return b, nil
}

// Checkpoint is the last signed checkpoint of the log that this home accepted.
func (h *Home) Checkpoint() []byte {
	b, err := h.checkpoint()
	if err != nil {
		return nil
	}
	return b
}

// heed checks a signed checkpoint against the log's key and against what this
// home accepted before the call that brought it (before): a shorter tree, or
// another root at one size, is another history. The longest one is kept.
func (h *Home) heed(logKey string, before, now []byte) error {
	later, err := export.OpenCheckpoint(now, logKey)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrHistory, err)
	}
	if before != nil {
		if _, err := continues(logKey, before, later); err != nil {
			return err
		}
	}
	return h.locked("lock", func() error {
		kept, err := h.checkpoint()
		if err != nil {
			return err
		}
		if kept != nil {
			old, err := continues(logKey, kept, later)
			if old.Size >= later.Size && old.Epoch == later.Epoch && (old.Size > later.Size || err == nil) {
				return nil // another command was told as much or more in the meantime
			}
			if err != nil {
				return err
			}
		}
		return h.replace("checkpoint", now)
	})
}

// continues reads an earlier checkpoint and holds a later one against it, as far
// as that goes without a proof: a longer tree of the same epoch passes.
func continues(logKey string, earlier []byte, later log.Checkpoint) (log.Checkpoint, error) {
	old, err := export.OpenCheckpoint(earlier, logKey)
	if err != nil {
		return old, fmt.Errorf("the checkpoint this home kept: %w", err)
	}
	if later.Log == old.Log && later.Epoch >= old.Epoch && later.Size > old.Size && (later.Epoch == old.Epoch || later.FromSize >= old.Size) {
		return old, nil
	}
	if err := log.VerifyConsistency(old, later, nil); err != nil {
		return old, fmt.Errorf("%w: %w; do not go on before whoever runs it has said why. "+
			"If it was restored from a backup, 'knowngood sync --accept-restored' goes on from there", ErrHistory, err)
	}
	return old, nil
}

// AcceptRestored forgets what the log was, once a person has said that it was
// restored: the checkpoint and the copies of cases are set aside, not deleted.
func (h *Home) AcceptRestored() (aside string, err error) {
	err = h.locked("lock", func() error {
		aside = h.path("before-" + h.now().UTC().Format("20060102T150405Z"))
		if err := os.MkdirAll(aside, 0o700); err != nil {
			return fmt.Errorf("cannot set aside what was fetched: %w", err)
		}
		for _, name := range []string{"checkpoint", "cases"} {
			err := os.Rename(h.path(name), filepath.Join(aside, name))
			if err != nil && !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("cannot set aside what was fetched: %w", err)
			}
		}
		return nil
	})
	return aside, err
}

// heeder takes the checkpoints that come over one connection. What was accepted
// before it began is read now, so that answers to commands running at once may
// arrive in any order.
func (h *Home) heeder(logKey string) (func([]byte) error, error) {
	before, err := h.checkpoint()
	if err != nil {
		return nil, err
	}
	return func(now []byte) error {
		if len(now) == 0 {
			return nil
		}
		if err := h.heed(logKey, before, now); err != nil {
			return err
		}
		before = now
		return nil
	}, nil
}
