package web

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// handView is the page on which a case changes hands.
type handView struct {
	ID string
	// Next is the place that whatever is done here wants.
	Next   uint64
	Fields url.Values
	Wrong  *notHeard
	Open   string
	// Rows are what was handed over so far, the newest first.
	Rows []row
	// With is the shop that has it now; empty: nobody's but the owner's.
	With string
	// Mine: the case is the reader's shop's, to be handed off. ToMe is what was handed to
	// the reader's shop; TakenUp: they have it.
	Mine, TakenUp bool
	ToMe          *cases.Handoff
	Limits        string
	Shops         []shop
	People        []string
	Modes         []string
	// CheckID is for the look later that may be asked for with a hand-back.
	CheckID string
	Parts   []string
}

type shop struct{ ID, Name string }

// Get is what a field holds.
func (h handView) Get(name string) string { return h.Fields.Get(name) }

// Of is what is wrong with one of the forms.
func (h handView) Of(form string) *notHeard {
	if h.Open == form {
		return h.Wrong
	}
	return nil
}

func showHand(v *visit) error { return v.handing(http.StatusOK, nil) }

func (v *visit) handing(code int, no *notHeard) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		h := handView{ID: c.Stream, Next: c.Head() + 1, CheckID: v.NewID(), Fields: v.r.PostForm, Wrong: no, Mine: c.OwnerShop == v.who.Shop, Modes: notation.Words(eventv1.FaultMode(0))}
		h.Open = h.Get("form")
		for i := len(c.Handoffs) - 1; i >= 0; i-- {
			one := c.Handoffs[i]
			for _, s := range []*cases.Step{one.Back, one.TakenUp, one.Step} {
				if s != nil {
					h.Rows = append(h.Rows, v.row(c, c.Row(s, v.who.Names)))
				}
			}
			if one.Back == nil && h.With == "" {
				h.With = v.who.Names.Of(one.Says.GetToShop())
			}
		}
		if h.ToMe = client.OpenHandoff(c.Case, v.who.Shop); h.ToMe != nil {
			h.TakenUp = h.ToMe.TakenUp != nil
		}
		for _, s := range v.who.Known.Shops {
			if s.Shop != v.who.Shop {
				h.Shops = append(h.Shops, shop{s.Shop, s.Name})
			}
		}
		h.Parts = partsOf(c.Case)
		return v.page(code, "hand", &view{Title: "Hand over: " + c.VehicleWords(), Case: c.Stream, Here: "hand", Body: h})
	})
}

// handed makes what the fields of a form say of who has the case.
func (v *visit) handed(c *Case, s *spoken) error {
	f := v.r.PostForm
	field := func(name string) string { return strings.TrimSpace(f.Get(name)) }
	var err error
	switch f.Get("form") {
	case "handoff":
		h := client.HandOff{
			To: field("to"), Person: field("person"), Question: field("question"), Money: field("money"), MayCut: field("may-cut"), MayRemove: field("may-remove"),
			Said: field("limits"), ReadOnly: field("read-only") != "",
		}
		if h.To == "" {
			return &client.Wrong{Field: "to", Says: " is missing: choose the shop that gets the case"}
		}
		if h.Minutes, err = number("minutes", field("minutes")); err != nil {
			return err
		}
		var says *eventv1.HandedOff
		says, err = h.Event(v.who.Known, v.who.Currency)
		s.event = &eventv1.Event{Kind: &eventv1.Event_HandedOff{HandedOff: says}}
	case "takeup":
		var says *eventv1.TakenUp
		says, err = client.TakeUp(c.Case, v.who.Shop, v.who.ShopName, field("said"))
		s.event = &eventv1.Event{Kind: &eventv1.Event_TakenUp{TakenUp: says}}
	case "handback":
		h := client.HandBack{
			Found: field("found"), Cause: field("cause"), Mode: field("mode"), Proof: field("proof"), OldParts: field("old-parts"), NotDone: linesOf(f.Get("not-done")), LeftOpen: linesOf(f.Get("left-open")),
		}
		var due *eventv1.CheckDue
		if due, err = client.CheckDue(field("check-due"), field("check"), v.Now().In(v.Zone)); err != nil {
			return err
		}
		if due != nil {
			s.first = &eventv1.Event{Id: field("check-id"), Kind: &eventv1.Event_CheckDue{CheckDue: due}}
		}
		var says *eventv1.HandedBack
		says, err = h.Event(c.Case, v.who.Shop, v.who.ShopName)
		s.event = &eventv1.Event{Kind: &eventv1.Event_HandedBack{HandedBack: says}}
	}
	var wrong *client.Wrong
	if err != nil && !errors.As(err, &wrong) {
		return impossible{err}
	}
	if err != nil {
		return err
	}
	for _, said := range strings.FieldsFunc(f.Get("because"), func(r rune) bool { return r == ',' || r == ' ' }) {
		last, _, _ := lately(c.Case, v.who.Device)
		id, err := client.FindEntry(c.Case, said, last)
		if err != nil {
			return &client.Wrong{Field: "because", Says: ": " + err.Error()}
		}
		s.event.Because = append(s.event.Because, id)
	}
	s.Understood = client.Clean(c.Describe(stepOf(s.event), v.who.Names))
	return nil
}

// number reads a field that counts something.
func number(field, said string) (uint32, error) {
	if said == "" {
		return 0, nil
	}
	n, err := strconv.ParseUint(said, 10, 32)
	if err != nil {
		return 0, &client.Wrong{Field: field, Says: ": " + strconv.Quote(said) + " is no whole number; write digits alone, or leave it empty"}
	}
	return uint32(n), nil
}

// linesOf are the lines of a field that takes several things, one a line.
func linesOf(text string) []string {
	var out []string
	for l := range strings.Lines(text) {
		if l = strings.TrimSpace(l); l != "" {
			out = append(out, l)
		}
	}
	return out
}
