package client

import (
	"fmt"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// HandOff is what is said when a case is handed to another shop: by flags of a command, or
// in the fields of the page.
type HandOff struct {
	// To is the shop, Person somebody of it: names or ids.
	To, Person string
	Question   string
	// Limits of the work.
	Minutes                        uint32
	Money, MayCut, MayRemove, Said string
	ReadOnly                       bool
}

// Event is the case handed off. Currency is that of an amount which names none. The error
// is a *Wrong, or wraps ErrNotFound where no such shop is known.
func (h *HandOff) Event(names *Names, currency string) (*eventv1.HandedOff, error) {
	if h.Question == "" {
		return nil, &Wrong{"question", " is missing: say what the other shop should find out"}
	}
	shop, err := names.Shop(h.To)
	if err != nil {
		return nil, err
	}
	var c chooser
	out := &eventv1.HandedOff{ToShop: shop, Question: h.Question, Access: eventv1.Access_ACCESS_WRITE}
	limits := &eventv1.Limits{Minutes: h.Minutes, MayCut: c.answer("may-cut", h.MayCut), MayRemove: c.answer("may-remove", h.MayRemove), Said: h.Said}
	if h.Money != "" {
		limits.Money, err = notation.ParseMoneyIn(h.Money, currency)
		c.keep(wrong("money", err))
	}
	if limits.Minutes > 0 || limits.Money != nil || limits.MayCut != 0 || limits.MayRemove != 0 || limits.Said != "" {
		out.Limits = limits
	}
	if h.ReadOnly {
		out.Access = eventv1.Access_ACCESS_READ
	}
	if h.Person != "" {
		id, ok, err := names.Person(h.Person)
		if err != nil || !ok {
			c.keep(wrong("person", fmt.Errorf("nobody called %q is known here; leave it out to hand the case to the shop", h.Person)))
		}
		out.ToPerson = id
	}
	return out, c.err
}

// TakeUp is the hand-off to the shop that waits to be taken up, taken up. The error says
// that there is none, or that it was taken up already.
func TakeUp(c *cases.Case, shop, shopName, said string) (*eventv1.TakenUp, error) {
	h := OpenHandoff(c, shop)
	if h == nil {
		return nil, fmt.Errorf("%w: this case was not handed to %s, or was handed back", ErrNotFound, shopName)
	}
	if h.TakenUp != nil {
		return nil, fmt.Errorf("taken up already, with entry %d", h.TakenUp.Seq)
	}
	return &eventv1.TakenUp{Handoff: h.Step.ID, Said: said}, nil
}

// HandBack is what is said when a case is handed back.
type HandBack struct {
	Found, Cause, Mode, Proof, OldParts string
	NotDone, LeftOpen                   []string
}

// Event is the hand-off to the shop handed back. The error is a *Wrong, or wraps
// ErrNotFound where nothing was handed over.
func (h *HandBack) Event(c *cases.Case, shop, shopName string) (*eventv1.HandedBack, error) {
	if h.Found == "" {
		return nil, &Wrong{"found", " is missing: say what was found, or that nothing was"}
	}
	mode, err := Choose[eventv1.FaultMode]("mode", h.Mode)
	if err != nil {
		return nil, err
	}
	open := OpenHandoff(c, shop)
	if open == nil {
		return nil, fmt.Errorf("%w: this case was not handed to %s, or was handed back already", ErrNotFound, shopName)
	}
	return &eventv1.HandedBack{
		Handoff: open.Step.ID, Found: h.Found, Cause: h.Cause, CauseMode: mode, Proof: h.Proof, NotDone: h.NotDone, LeftOpen: h.LeftOpen, OldParts: h.OldParts,
	}, nil
}

// CheckDue is a look later that is asked for: when, and at what; nil: none. Now is in the
// writer's zone. The error is a *Wrong.
func CheckDue(due, look string, now time.Time) (*eventv1.CheckDue, error) {
	if due == "" && look != "" {
		return nil, &Wrong{"check", " says what to look at; check-due has to say when"}
	}
	if due == "" {
		return nil, nil
	}
	m, err := notation.ParseDue(due, now)
	if err != nil {
		return nil, wrong("check-due", err)
	}
	return &eventv1.CheckDue{Due: m, What: look}, nil
}

// OpenHandoff is the last hand-off to the shop that was not handed back; nil: none.
func OpenHandoff(c *cases.Case, shop string) *cases.Handoff {
	for i := len(c.Handoffs) - 1; i >= 0; i-- {
		if h := c.Handoffs[i]; h.Back == nil && h.Says.GetToShop() == shop {
			return h
		}
	}
	return nil
}
