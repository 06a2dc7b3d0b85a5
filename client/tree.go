package client

import (
	"context"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// ErrHistory: the server's log is not the one this home saw before.
var ErrHistory = errors.New("the server tells another history than before")

// checkpoint is the last signed one that this home accepted; nil when none was.
func (h *Home) checkpoint() ([]byte, error) {
	b, err := h.replica.Get(context.Background(), keyCheckpoint)
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

// prover proves that one tree of the log continues another.
type prover interface {
	Consistency(context.Context, *boardv1.ConsistencyRequest, ...grpc.CallOption) (*boardv1.ConsistencyResponse, error)
}

// heeder holds the checkpoints that come over one connection against the log's
// key, against what this home accepted before, and against one another. before is
// read when the connection begins, so that answers to commands running at once may
// arrive in any order.
type heeder struct {
	home   *Home
	logKey string
	from   prover
	before *log.Checkpoint
}

func (h *Home) heeder(logKey string, from prover) (*heeder, error) {
	kept, err := h.keptCheckpoint(logKey)
	return &heeder{h, logKey, from, kept}, err
}

// keptCheckpoint is the last accepted checkpoint, read; nil when there is none.
func (h *Home) keptCheckpoint(logKey string) (*log.Checkpoint, error) {
	b, err := h.checkpoint()
	if err != nil || b == nil {
		return nil, err
	}
	c, err := export.OpenCheckpoint(b, logKey)
	if err != nil {
		return nil, fmt.Errorf("the checkpoint this home kept: %w", err)
	}
	return &c, nil
}

// heed accepts a signed checkpoint that continues what was accepted before, with
// proof, and keeps the longest. Anything else is another history.
func (d *heeder) heed(ctx context.Context, signed []byte) error {
	if len(signed) == 0 {
		return nil
	}
	return d.heedAnd(ctx, signed, func(with []log.Write) error {
		if len(with) == 0 {
			return nil
		}
		return d.home.replica.Append(ctx, log.Batch{Index: with})
	})
}

// heedAnd is heed for whoever has more to keep at once: write is called at most once,
// while the lock is held and after all is proven, with what the checkpoint needs
// written, or nothing.
func (d *heeder) heedAnd(ctx context.Context, signed []byte, write func(with []log.Write) error) error {
	now, err := export.OpenCheckpoint(signed, d.logKey)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrHistory, err)
	}
	before := d.before
	if before != nil {
		if err := d.continues(ctx, *before, now); err != nil {
			return err
		}
	}
	d.before = &now
	for {
		kept, err := d.home.keptCheckpoint(d.logKey)
		if err != nil {
			return err
		}
		if kept != nil && (before == nil || *kept != *before) { // else it is proven already
			earlier, later := *kept, now
			if older(now, *kept) {
				earlier, later = now, *kept // another command was told more in the meantime
			}
			if err := d.continues(ctx, earlier, later); err != nil {
				return err
			}
		}
		same := false
		err = d.home.locked("lock", func() error {
			is, err := d.home.keptCheckpoint(d.logKey)
			if err != nil {
				return err
			}
			if same = is == nil && kept == nil || is != nil && kept != nil && *is == *kept; !same {
				return nil
			}
			if kept != nil && !older(*kept, now) {
				return write(nil)
			}
			return write([]log.Write{{Key: keyCheckpoint, Value: signed}})
		})
		if err != nil || same {
			return err
		}
	}
}

func older(a, b log.Checkpoint) bool {
	return a.Epoch < b.Epoch || a.Epoch == b.Epoch && a.Size < b.Size
}

// newest asks for the log's newest checkpoint and heeds it.
func (d *heeder) newest(ctx context.Context) error {
	r, err := d.from.Consistency(ctx, &boardv1.ConsistencyRequest{})
	if err != nil {
		return Explain(err)
	}
	if len(r.GetCheckpoint()) == 0 {
		return fmt.Errorf("%w: it shows no checkpoint", ErrHistory)
	}
	return d.heed(ctx, r.GetCheckpoint())
}

// continues asks for the proof that later continues earlier, and checks it.
func (d *heeder) continues(ctx context.Context, earlier, later log.Checkpoint) error {
	var proof tlog.TreeProof
	if 0 < earlier.Size && earlier.Size < later.Size {
		r, err := d.from.Consistency(ctx, &boardv1.ConsistencyRequest{From: earlier.Size, To: later.Size})
		if err = Explain(err); err != nil {
			return fmt.Errorf("no proof that the log with %d entries continues the one with %d: %w", later.Size, earlier.Size, err)
		}
		for _, hash := range export.SplitProof(r.GetProof()) {
			proof = append(proof, tlog.Hash(hash))
		}
	}
	err := log.VerifyConsistency(earlier, later, proof)
	if err != nil {
		return fmt.Errorf("%w: %w; do not go on before whoever runs it has said why. "+
			"If it was restored from a backup, 'knowngood sync --accept-restored' goes on from there", ErrHistory, err)
	}
	return nil
}
