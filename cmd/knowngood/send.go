package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// send sends what waits and writes what became of the saved events.
func (d *desk) send(ctx context.Context, saved []*eventv1.Signed) error {
	sent, err := d.push(ctx)
	var later error
	switch {
	case err == nil:
	case stays(err):
		later = notSent{sent.Waiting, err}
	default:
		return fmt.Errorf("saved here; sending it did not end well: %w", err)
	}
	if later == nil {
		if err := d.refresh(ctx); err != nil && !stays(err) && !errors.Is(err, client.ErrNotFound) {
			d.warn(fmt.Sprintf("saved and sent; but the copy of the case here could not be brought up to date: %v", err))
		}
	}
	var refused error
	for _, s := range saved {
		if err := d.tell(ctx, s, sent); err != nil {
			refused = errors.Join(refused, err)
		}
	}
	return errors.Join(refused, later)
}

// stays reports whether an error of a push leaves the events waiting.
func stays(err error) bool {
	var no *client.Refusal
	return errors.Is(err, client.ErrOffline) || errors.Is(err, client.ErrNobody) || errors.Is(err, context.Canceled) || errors.As(err, &no)
}

// push sends everything that waits.
func (a *app) push(ctx context.Context) (*client.Sent, error) {
	who, c, err := a.home.Connect()
	if errors.Is(err, client.ErrNobody) {
		return a.unsent(ctx, err)
	}
	if err != nil {
		return &client.Sent{}, err
	}
	defer c.Close()
	return a.home.Push(ctx, who, c)
}

// unsent is the outcome where nothing can be sent.
func (a *app) unsent(ctx context.Context, why error) (*client.Sent, error) {
	sent := &client.Sent{}
	for _, err := range a.home.Waiting(ctx) {
		if err != nil {
			return sent, err
		}
		sent.Waiting++
	}
	return sent, why
}

// stored is the shape of a recorded entry.
type stored struct {
	Case string `json:"case"`
	// Seq is 0 while the entry waits to be sent.
	Seq     uint64   `json:"seq"`
	ID      string   `json:"id"`
	Kind    string   `json:"kind"`
	State   string   `json:"state"`
	Text    string   `json:"text"`
	Remarks []string `json:"remarks"`
	// Tells is what a reading tells of the circuits that are drawn.
	Tells []string        `json:"tells"`
	Event json.RawMessage `json:"event"`
}

// tell writes what became of one event; the error is a server's refusal.
func (d *desk) tell(ctx context.Context, s *eventv1.Signed, sent *client.Sent) error {
	o, err := envelope.Open(s.GetEvent())
	if err != nil {
		return err
	}
	e := o.Event
	out := stored{Case: e.GetStream(), ID: e.GetId(), Kind: envelope.KindName(o.Kind), State: "waiting to send", Remarks: []string{}, Tells: []string{}, Event: export.View(s.GetEvent())}
	if no, ok := sent.Refused[e.GetId()]; ok {
		return fmt.Errorf("%s was not taken: %w\nit is kept: 'knowngood sync' lists what was refused", out.Kind, &client.Refusal{Reason: no.GetReason(), Text: no.GetText()})
	}
	if yes, ok := sent.Taken[e.GetId()]; ok {
		out.State, out.Seq = "sent", yes.GetSeq()
		out.Remarks = append(out.Remarks, yes.GetRemarks()...)
	}
	if step := d.copy.Case.ByID(e.GetId()); step != nil {
		out.Text = d.copy.Case.Describe(step, d.names.Of())
		if step.Seq <= d.copy.Sent {
			// Another command of this home may have sent it.
			out.State, out.Seq = "sent", step.Seq
		}
		if out.Tells, err = d.tells(step); err != nil {
			return err
		}
	}
	for _, r := range out.Remarks {
		d.warn(r)
	}
	err = d.show.Write([]stored{out}, func() client.Table {
		number := "waits"
		if out.Seq > 0 {
			number = fmt.Sprintf("#%d", out.Seq)
		}
		return client.Table{Head: []string{"Entry", "Kind", "Says"}, Rows: [][]string{{number, out.Kind, out.Text}}}
	})
	if err != nil || d.show.Format != "table" {
		return err
	}
	p := client.Page{Style: d.show.Style, W: d.out}
	for _, t := range out.Tells {
		p.Item("-", t)
	}
	return p.Err()
}

// tells says at once what a reading tells of the circuits that are drawn, and which
// of its points no drawing has.
func (d *desk) tells(step *cases.Step) ([]string, error) {
	out := []string{}
	if step.Says.GetReading() == nil {
		return out, nil
	}
	for name, near := range d.copy.Case.Strangers(step) {
		text := fmt.Sprintf("no drawing has the point %q, so the reading tells nothing of the circuit", name)
		if near != "" {
			text += fmt.Sprintf("; did you mean %s? 'knowngood correct last' puts it right", near)
		}
		out = append(out, text)
	}
	slices.Sort(out)
	table, err := d.table()
	if err != nil {
		return out, err
	}
	if t, ok := d.copy.Case.Tell(table, step); ok {
		row := shapeTelling(t)
		should := "as it should be: "
		if !row.Fits {
			should = "not as it should be: "
		}
		out = append(out, should+"with nothing wrong "+cases.SpanWords(t.Well, row.Unit))
		if row.Doubt != "" {
			out = append(out, row.Doubt)
		}
		for _, words := range tellingWords(row) {
			out = append(out, strings.ToLower(words[:1])+strings.TrimSuffix(words[1:], "."))
		}
	}
	return out, nil
}
