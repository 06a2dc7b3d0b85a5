package client

import (
	"context"
	"errors"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Proven is a case as this home can prove it.
type Proven struct {
	// Export has the entries that lie under the checkpoint, with what proves it as far
	// as that is here: a line without a proof has none.
	*export.Export
	// Rest is how many entries came since.
	Rest int
	// At is when the checkpoint was last asked for, by this home's clock.
	At time.Time
}

// Proven puts a case together from what this home keeps, with no server. Nothing is
// checked: package export does. The error wraps ErrNotFound where nothing of the case
// was told, or nothing was proven yet.
func (h *Home) Proven(ctx context.Context, who *Identity, stream string, names bool) (*Proven, error) {
	last, err := h.proven(ctx, who.LogKey)
	if err != nil {
		return nil, err
	}
	if last == nil {
		return nil, fmt.Errorf("%w: nothing here was proven by a server yet: run 'knowngood sync' where there is one", ErrNotFound)
	}
	generation, err := h.ledger().generation(ctx)
	if err != nil {
		return nil, err
	}
	t := &tiles{ctx: ctx, log: h.replica, generation: generation, got: map[tileKey][]byte{}}
	x := &export.Export{Head: export.Head{Log: last.tree.Log, Case: stream, LogKey: who.LogKey, Checkpoint: string(last.signed)}}
	out := &Proven{Export: x, At: last.at}
	wrote := make(map[string]bool)
	err = h.Held(ctx, stream, func(entry, event []byte) error {
		e := new(eventv1.Entry)
		if err := proto.Unmarshal(entry, e); err == nil && e.GetIndex() >= last.tree.Size || out.Rest > 0 {
			out.Rest++
			return nil
		}
		l := export.Line{Entry: entry, Event: event, Signature: e.GetSignature()}
		var err error
		if e.GetIndex() < last.tree.Size {
			if l.Proof, err = t.proof(last.tree, e.GetIndex()); errors.Is(err, log.ErrDamaged) {
				return err
			}
		}
		wrote[e.GetDevice()] = true
		x.Lines = append(x.Lines, l)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(x.Lines) == 0 {
		return nil, fmt.Errorf("%w: nothing of this case that a server has proven is here", ErrNotFound)
	}
	known, err := h.Names()
	if err != nil {
		return nil, err
	}
	for _, d := range known.Devices {
		if wrote[d.Device] {
			x.Head.Devices = append(x.Head.Devices, d)
			delete(wrote, d.Device)
		}
	}
	if names {
		x.Head.Shops, x.Head.People = known.Shops, known.People
	}
	x.Head.Entries = len(x.Lines)
	x.Views()
	return out, nil
}
