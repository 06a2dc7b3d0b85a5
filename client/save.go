package client

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"iter"
	"time"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Stamp is what Save lays into each event that does not say so itself.
type Stamp struct {
	// Seen is the last seq of the case that the writer had seen.
	Seen uint64
	// At is now; the offset is the one of its location.
	At time.Time
}

// Save numbers, signs and keeps the events, all of them or none. What an event
// leaves out is filled in: id, device, number, salt, moment and writer. Once
// Save returns, they survive a power cut and will be sent.
func (h *Home) Save(who *Identity, stamp Stamp, events ...*eventv1.Event) (saved []*eventv1.Signed, err error) {
	ctx := context.Background() // what is being saved is saved
	err = h.locked("lock", func() error {
		l := h.ledger()
		if err := h.stillAlone(who); err != nil {
			return err
		}
		if err := h.adopt(ctx, who); err != nil {
			return err
		}
		ends := make(map[chainKey]link)
		for i, e := range events {
			of := chainKey{who.Device, e.GetStream()}
			end, seen := ends[of]
			if !seen {
				if end, err = l.chain(ctx, of.device, of.stream); err != nil {
					return err
				}
			}
			if err := h.mint(who, stamp, end, e); err != nil {
				return wrapItem(i, len(events), err)
			}
			s, err := envelope.Sign(e, who.Key)
			if err != nil {
				return wrapItem(i, len(events), err)
			}
			saved = append(saved, s)
			ends[of] = link{e.GetDeviceSeq(), envelope.Hash(s.GetEvent())}
		}
		return unsure(l.addWaiting(ctx, saved, ends))
	})
	if err != nil {
		return nil, fmt.Errorf("not saved: %w", err)
	}
	return saved, nil
}

// Pass keeps events that others signed, to be sent as they are: all of them or
// none.
func (h *Home) Pass(events []*eventv1.Signed) error {
	return h.locked("lock", func() error {
		return unsure(h.ledger().addWaiting(context.Background(), events, nil))
	})
}

// Waiting yields the events that wait to be sent, in order.
func (h *Home) Waiting(ctx context.Context) iter.Seq2[*eventv1.Signed, error] {
	return func(yield func(*eventv1.Signed, error) bool) {
		for w, err := range h.ledger().waiting(ctx) {
			if !yield(w.Signed, err) {
				return
			}
		}
	}
}

func wrapItem(i, n int, err error) error {
	if n == 1 {
		return err
	}
	return fmt.Errorf("event %d of %d: %w", i+1, n, err)
}

func (h *Home) mint(who *Identity, stamp Stamp, end link, e *eventv1.Event) error {
	if e.GetId() == "" {
		e.Id = h.newID()
	}
	e.Device, e.DeviceSeq, e.Prev = who.Device, end.Seq+1, bytes.Clone(end.Hash)
	e.RecordedBy = who.Person
	if e.ObservedThrough == 0 {
		e.ObservedThrough = stamp.Seen
	}
	if e.GetHappened() == nil {
		e.Happened = Moment(stamp.At)
	}
	if len(e.GetSalt()) == 0 {
		e.Salt = make([]byte, envelope.SaltSize)
		if _, err := io.ReadFull(h.random, e.Salt); err != nil {
			return fmt.Errorf("no random bytes: %w", err)
		}
	}
	return nil
}

// Moment is a time to the second, with the offset of its location.
func Moment(t time.Time) *eventv1.Moment {
	_, offset := t.Zone()
	return &eventv1.Moment{
		UnixSeconds: t.Unix(), Nanos: int32(t.Nanosecond()), OffsetMinutes: int32(offset / 60),
		Precision: eventv1.Precision_PRECISION_SECOND,
	}
}
