package client

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// link is the end of the device's chain in one stream.
type link struct {
	Seq  uint64 `json:"seq"`
	Hash []byte `json:"hash"`
}

// chains reads where the device's chains end: chains.json, and what waits. The
// lock must be held.
func (h *Home) chains(device string, waiting []*eventv1.Signed) (map[string]link, error) {
	ends := make(map[string]link)
	if err := h.load("chains.json", &ends); err != nil {
		return nil, err
	}
	for _, s := range waiting {
		o, err := envelope.Open(s.GetEvent())
		if err != nil {
			return nil, fmt.Errorf("what waits to be sent holds something that is no event: %w", err)
		}
		if e := o.Event; e.GetDevice() == device && e.GetDeviceSeq() > ends[e.GetStream()].Seq {
			ends[e.GetStream()] = link{e.GetDeviceSeq(), o.Hash[:]}
		}
	}
	return ends, nil
}

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
	err = h.locked("lock", func() error {
		waiting, err := h.pending()
		if err != nil {
			return err
		}
		ends, err := h.chains(who.Device, waiting)
		if err != nil {
			return err
		}
		for i, e := range events {
			if err := h.mint(who, stamp, ends[e.GetStream()], e); err != nil {
				return wrapItem(i, len(events), err)
			}
			s, err := envelope.Sign(e, who.Key)
			if err != nil {
				return wrapItem(i, len(events), err)
			}
			saved = append(saved, s)
			ends[e.GetStream()] = link{e.GetDeviceSeq(), envelope.Hash(s.GetEvent())}
		}
		return h.addPending(saved)
	})
	if err != nil {
		return nil, fmt.Errorf("not saved: %w", err)
	}
	return saved, nil
}

// Pass keeps events that others signed, to be sent as they are.
func (h *Home) Pass(events []*eventv1.Signed) error {
	return h.locked("lock", func() error {
		if _, err := h.pending(); err != nil {
			return err
		}
		return h.addPending(events)
	})
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

// met learns from entries that a server holds how far this device's chain in the
// stream goes.
func (h *Home) met(device string, c *Copy) error {
	var end link
	for _, s := range c.Case.Steps()[:c.Sent] {
		if e := s.Entry; e.GetDevice() == device && e.GetDeviceSeq() > end.Seq {
			end = link{e.GetDeviceSeq(), e.GetEventHash()}
		}
	}
	if end.Seq == 0 {
		return nil
	}
	return h.locked("lock", func() error { return h.raise(map[string]link{c.Case.Stream: end}) })
}

// raise moves chain ends up, never down; at one number what a server holds stands
// above what this home remembers. The lock must be held.
func (h *Home) raise(to map[string]link) error {
	ends := make(map[string]link)
	if err := h.load("chains.json", &ends); err != nil {
		return err
	}
	changed := false
	for stream, l := range to {
		if l.Seq > ends[stream].Seq || l.Seq == ends[stream].Seq && !bytes.Equal(l.Hash, ends[stream].Hash) {
			ends[stream], changed = l, true
		}
	}
	if !changed {
		return nil
	}
	return h.store("chains.json", ends)
}
