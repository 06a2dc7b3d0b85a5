package client

import (
	"context"
	"fmt"
	"sync"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
)

// Shelf keeps the cases of a home folded, for whoever asks for them again and again:
// one more entry costs one more entry.
type Shelf struct {
	home *Home

	mu sync.Mutex
	by map[string]*shelved
}

type shelved struct {
	mu   sync.Mutex
	copy *Copy
	at   mark
}

// A home has tens of cases open, not more: beyond this the shelf is cleared.
const maxShelved = 256

// Shelf of this home.
func (h *Home) Shelf() *Shelf { return &Shelf{home: h, by: map[string]*shelved{}} }

// With calls look with a case as this home has it now. It must not be kept or
// changed; a case of which nothing is here is ErrNotFound.
func (s *Shelf) With(ctx context.Context, who *Identity, stream string, look func(*Copy) error) error {
	at := s.at(stream)
	at.mu.Lock()
	defer at.mu.Unlock()
	if err := s.bringUp(ctx, who, stream, at); err != nil {
		at.copy = nil // half brought up
		return err
	}
	if at.copy.Case.Head() == 0 {
		return fmt.Errorf("%w: no such case is kept here", ErrNotFound)
	}
	return look(at.copy)
}

func (s *Shelf) at(stream string) *shelved {
	s.mu.Lock()
	defer s.mu.Unlock()
	at := s.by[stream]
	if at == nil {
		if len(s.by) >= maxShelved {
			clear(s.by)
		}
		at = new(shelved)
		s.by[stream] = at
	}
	return at
}

// bringUp adds what was told and what was recorded since. Where what waited was told or
// refused meanwhile, or is somebody else's by now, the case is folded anew.
func (s *Shelf) bringUp(ctx context.Context, who *Identity, stream string, at *shelved) error {
	l := s.home.ledger()
	now, err := l.mark(ctx, stream)
	if err != nil {
		return fmt.Errorf("cannot read what is kept of the case: %w", err)
	}
	was := at.at
	now.person = who.Person
	at.at = now
	if at.copy == nil || now.generation != was.generation || now.tray != was.tray || now.person != was.person ||
		now.told < was.told || at.copy.Waiting() > 0 && now.told != was.told {
		at.copy, err = s.home.Kept(who, stream)
		return err
	}
	for item, err := range l.log.Read(ctx, log.Range{Stream: told(now.generation, stream), From: at.copy.Sent + 1}) {
		if err != nil {
			return fmt.Errorf("cannot read what was fetched of the case: %w", err)
		}
		r, err := cases.NewRecord(item.Entry, item.Event)
		if err == nil {
			err = at.copy.Case.Apply(r)
		}
		if err != nil {
			return fmt.Errorf("what was fetched of the case: %w", err)
		}
		at.copy.Sent++
	}
	at.at.told = at.copy.Sent + 1
	for n := was.out; n < now.out; n++ {
		if err := s.home.addWaiting(ctx, who, at.copy, prefixOut+string(numbered(n))); err != nil {
			return err
		}
	}
	return nil
}

// mark is how far a home was read for a case.
type mark struct {
	generation, told, out, tray uint64
	person                      string
}

func (l ledger) mark(ctx context.Context, stream string) (m mark, err error) {
	if m.generation, err = l.generation(ctx); err != nil {
		return m, err
	}
	if m.told, err = l.log.Next(ctx, log.Range{Stream: told(m.generation, stream)}); err != nil {
		return m, err
	}
	if m.out, err = l.number(ctx, keyOut); err != nil {
		return m, err
	}
	m.tray, err = l.number(ctx, keyTray)
	return m, err
}

// addWaiting puts behind a case what waits to be sent in it, under keys with a prefix, and
// is not there yet, at the places it would take.
func (h *Home) addWaiting(ctx context.Context, who *Identity, to *Copy, prefix string) error {
	c := to.Case
	for w, err := range h.ledger().waitingUnder(ctx, prefix) {
		if err != nil {
			return fmt.Errorf("cannot read what waits to be sent: %w", err)
		}
		if w.stream != c.Stream {
			continue
		}
		o, err := envelope.Open(w.GetEvent())
		if err != nil || c.ByID(o.Event.GetId()) != nil {
			continue
		}
		entry := envelope.NewEntry(o, w.GetSignature(), "", 0, c.Head()+1, nil, who.Person, who.Shop)
		if err := c.Apply(cases.Record{Entry: entry, Event: o.Event, Known: o.Known, Strange: o.Strange}); err != nil {
			return fmt.Errorf("an entry that waits to be sent: %w", err)
		}
	}
	return nil
}
