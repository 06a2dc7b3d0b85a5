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
	mu         sync.Mutex
	copy       *Copy
	generation uint64
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

// bringUp adds what was told and what was recorded since. Where entries that waited
// were told meanwhile, they have a place now and perhaps another one: the case is
// folded anew.
func (s *Shelf) bringUp(ctx context.Context, who *Identity, stream string, at *shelved) error {
	l := s.home.ledger()
	generation, err := l.generation(ctx)
	if err != nil {
		return err
	}
	next, err := l.log.Next(ctx, log.Range{Stream: told(generation, stream)})
	if err != nil {
		return fmt.Errorf("cannot read what was fetched of the case: %w", err)
	}
	if at.copy == nil || at.generation != generation || at.copy.Waiting() > 0 && next-1 != at.copy.Sent || next-1 < at.copy.Sent {
		at.generation = generation
		at.copy, err = s.home.Kept(who, stream)
		return err
	}
	for item, err := range l.log.Read(ctx, log.Range{Stream: told(generation, stream), From: at.copy.Sent + 1}) {
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
	same, err := s.home.addWaiting(ctx, who, at.copy)
	if err == nil && !same {
		at.copy, err = s.home.Kept(who, stream)
	}
	return err
}

// addWaiting puts behind a case what waits to be sent in it and is not there yet, at
// the places it would take. It is false when what the case has of that kind does not
// wait any more: it was refused, or signed anew.
func (h *Home) addWaiting(ctx context.Context, who *Identity, to *Copy) (same bool, err error) {
	c, waits := to.Case, 0
	for w, err := range h.ledger().waiting(ctx) {
		if err != nil {
			return false, fmt.Errorf("cannot read what waits to be sent: %w", err)
		}
		if w.stream != c.Stream {
			continue
		}
		o, err := envelope.Open(w.GetEvent())
		if err != nil {
			continue
		}
		if step := c.ByID(o.Event.GetId()); step != nil {
			if step.Seq > to.Sent {
				waits++
			}
			continue
		}
		entry := envelope.NewEntry(o, w.GetSignature(), "", 0, c.Head()+1, nil, who.Person, who.Shop)
		if err := c.Apply(cases.Record{Entry: entry, Event: o.Event, Known: o.Known, Strange: o.Strange}); err != nil {
			return false, fmt.Errorf("an entry that waits to be sent: %w", err)
		}
		waits++
	}
	return waits == to.Waiting(), nil
}
