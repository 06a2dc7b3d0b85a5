package client

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// keyOffer is there from when a restored log was accepted until what it is without
// was offered to it again.
const keyOffer = "offer"

// Lost is what this home was told and the server's log, as it is now, is without.
type Lost struct {
	// Checkpoint of the log as it is now, signed.
	Checkpoint []byte
	Entries    []LostEntry
}

// LostEntry is one of them, as it was told.
type LostEntry struct {
	*eventv1.Entry
	Event []byte
}

// Lost holds every case that this home was told of against what the server has of it
// now. It changes nothing here, and is for a server that tells another history than
// before: what it says otherwise is not believed.
func (h *Home) Lost(ctx context.Context, who *Identity, c *Conn) (*Lost, error) {
	r, err := c.Consistency(ctx, &boardv1.ConsistencyRequest{})
	if err != nil {
		return nil, Explain(err)
	}
	out := &Lost{Checkpoint: r.GetCheckpoint()}
	if _, err := export.OpenCheckpoint(out.Checkpoint, who.LogKey); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrHistory, err)
	}
	l := h.ledger()
	generation, err := l.generation(ctx)
	if err != nil {
		return nil, err
	}
	prefix := prefixCase + told(generation, "")
	for w, err := range l.log.Scan(ctx, prefix) {
		if err != nil {
			return nil, err
		}
		stream, has := w.Key[len(prefix):], make(map[string]bool)
		err := each(ctx, c, &boardv1.EntriesRequest{Stream: stream}, func(m *boardv1.EntriesResponse) error {
			for _, held := range m.GetEntries() {
				has[string(held.GetEntry())] = true
			}
			return nil
		})
		var no *Refusal
		if err != nil && (!errors.As(err, &no) || no.Reason != boardv1.Reason_REASON_NOT_FOUND) {
			return nil, err
		}
		err = h.Held(ctx, stream, func(entry, event []byte) error {
			e := new(eventv1.Entry)
			if err := proto.Unmarshal(entry, e); err != nil {
				return fmt.Errorf("%w: an entry cannot be read: %w", log.ErrDamaged, err)
			}
			if !has[string(entry)] {
				out.Entries = append(out.Entries, LostEntry{e, event})
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// AcceptRestored begins a new telling of the server's log, once a person has said
// that it was restored, from the signed checkpoint that the person was shown (Lost).
// What was told before stays in the replica, out of sight.
func (h *Home) AcceptRestored(seen []byte) error {
	ctx := context.Background()
	return h.locked("lock", func() error {
		generation, err := h.ledger().generation(ctx)
		if err != nil {
			return err
		}
		forget, err := h.ledger().forgetThere(ctx)
		if err != nil {
			return err
		}
		return h.replica.Append(ctx, log.Batch{Index: append(forget, []log.Write{
			{Key: keyGeneration, Value: numbered(generation + 1)}, {Key: keyCursor}, {Key: keyCheckpoint, Value: seen}, {Key: keyProven},
			{Key: keyOffer, Value: numbered(generation)},
		}...)})
	})
}

// offer puts what was told before a restore, and is not in the log now, into the
// outbox as it was signed. Of cases of other shops only those that may still be seen
// are looked at. It is done once all was pulled anew.
func (h *Home) offer(ctx context.Context, who *Identity) error {
	return h.locked("lock", func() error {
		l := h.ledger()
		before, err := l.number(ctx, keyOffer)
		if err != nil || before == 0 {
			return err
		}
		generation, err := l.generation(ctx)
		if err != nil {
			return err
		}
		var missing []*eventv1.Signed
		prefix := prefixCase + told(before, "")
		for w, err := range l.log.Scan(ctx, prefix) {
			if err != nil {
				return err
			}
			of, err := l.missing(ctx, who, before, generation, w.Key[len(prefix):])
			if err != nil {
				return err
			}
			missing = append(missing, of...)
		}
		if err := h.takeEvents(ctx, l, missing); err != nil {
			return err
		}
		if n := len(missing); n > 0 {
			h.Warn(fmt.Sprintf("%d that were told before are not in the log as it was restored: they are sent again; 'knowngood sync' lists them", n))
		}
		return l.log.Append(ctx, log.Batch{Index: []log.Write{{Key: keyOffer}}})
	})
}

// missing lists what one generation was told of a case and a later one was not.
func (l ledger) missing(ctx context.Context, who *Identity, before, generation uint64, stream string) (list []*eventv1.Signed, err error) {
	here := make(map[string]bool)
	for item, err := range l.log.Read(ctx, log.Range{Stream: told(generation, stream)}) {
		if err != nil {
			return nil, err
		}
		e := new(eventv1.Entry)
		if err := proto.Unmarshal(item.Entry, e); err != nil {
			return nil, fmt.Errorf("%w: an entry cannot be read: %w", log.ErrDamaged, err)
		}
		here[e.GetId()] = true
	}
	for item, err := range l.log.Read(ctx, log.Range{Stream: told(before, stream)}) {
		if err != nil {
			return nil, err
		}
		e := new(eventv1.Entry)
		if err := proto.Unmarshal(item.Entry, e); err != nil {
			return nil, fmt.Errorf("%w: an entry cannot be read: %w", log.ErrDamaged, err)
		}
		if item.Position == 1 && len(here) == 0 && e.GetShop() != who.Shop {
			return nil, nil // somebody else's, and not to be seen any more
		}
		// What the server wrote itself it writes again, or does not.
		if !here[e.GetId()] && len(item.Event) > 0 && e.GetPerson() != "" {
			list = append(list, &eventv1.Signed{Event: item.Event, Signature: e.GetSignature()})
		}
	}
	return list, nil
}
