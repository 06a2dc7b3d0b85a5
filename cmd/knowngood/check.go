package main

import (
	"errors"
	"strings"

	"knowngood.example/cases/check"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// mayRecord holds an event against the checks before it is numbered: what cannot
// be is refused, what hardly can be is asked about.
func (d *desk) mayRecord(e *eventv1.Event, yes bool) error {
	r := check.Event(e, client.Checks(d.copy.Case, d.now(), d.who.Currency))
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
