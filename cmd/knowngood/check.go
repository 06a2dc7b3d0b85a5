package main

import (
	"errors"
	"fmt"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// mayRecord holds an event against the checks before it is numbered: what cannot
// be is refused, what hardly can be is asked about.
func (d *desk) mayRecord(e *eventv1.Event, yes bool) error {
	r := check.Event(e, d.checks())
	if err := r.Err(); err != nil {
		return usage{err}
	}
	questions := r.Questions()
	if yes || len(questions) == 0 {
		return nil
	}
	said := strings.Join(questions, "\n")
	if d.sure(said + "\nRecord it all the same?") {
		return nil
	}
	if d.asks() {
		return usage{errors.New(said + "\nnot recorded")}
	}
	return usage{errors.New(said + "\nnot recorded: if it is right as it stands, say so with --yes")}
}

func (d *desk) checks() check.Context {
	c := d.copy.Case
	return check.Context{
		Now: d.now(), SystemVolts: c.Vehicle.GetSystemVolts(), HighVoltage: c.Vehicle.GetHighVoltage() == eventv1.Answer_ANSWER_YES,
		Currency: d.who.Currency, Owner: c.OwnerShop, Kind: kindIn(c),
		Called: func(id string) string {
			if s := c.ByID(id); s != nil {
				return fmt.Sprintf("#%d", s.Seq)
			}
			return id
		},
	}
}

func kindIn(c *cases.Case) func(string) (uint32, bool) {
	return func(id string) (uint32, bool) {
		if s := c.ByID(id); s != nil {
			return s.Kind, true
		}
		for _, l := range left(c) {
			if l.GetEntry() == id {
				return 0, true
			}
		}
		return 0, false
	}
}

// left is what earlier cases left on the vehicle.
func left(c *cases.Case) []*eventv1.LeftBehind {
	if c.Opening == nil {
		return nil
	}
	return c.Opening.Says.GetCaseOpened().GetLeftBehind()
}
