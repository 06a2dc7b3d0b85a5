package client

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Hearing is what a line said in a case is understood with: its names, what is
// temporary, how entries are referred to. The last leads and conditions are for the
// caller to add. Last is the id of the last entry that was recorded from here.
func Hearing(c *cases.Case, last string, now time.Time, currency string) quick.Context {
	q := quick.Context{
		Last: last, System: int(c.Vehicle.GetSystemVolts()), Now: now, Currency: currency, Names: KnownNames(c),
		Entry: func(said string) (string, error) { return FindEntry(c, said, last) },
	}
	for _, t := range c.StillOn() {
		q.On = append(q.On, onNow(t))
	}
	return q
}

// KnownNames lists the components and points of a case, in order.
func KnownNames(c *cases.Case) []quick.Name {
	var out []quick.Name
	for _, x := range c.Components {
		out = append(out, quick.Name{Text: x.Name})
	}
	for _, x := range c.Points {
		out = append(out, quick.Name{Text: x.Name, Point: true})
	}
	slices.SortFunc(out, func(a, b quick.Name) int { return strings.Compare(a.Text, b.Text) })
	return out
}

// onNow is something temporary as lines speak of it. What an earlier case left is
// known by its words alone: its kind is the one whose words they hold.
func onNow(t *cases.Temporary) quick.Temporary {
	out := quick.Temporary{ID: t.On.ID, Kind: t.Kind, What: t.What, Where: t.Where}
	if t.Earlier == nil {
		return out
	}
	out.ID, out.Where = t.Earlier.GetEntry(), strings.Split(t.Earlier.GetWhere(), ", ")
	said := strings.Fields(strings.ToLower(strings.NewReplacer(":", " ", ",", " ").Replace(t.What)))
	kinds := t.Kind.Descriptor().Values()
	for n := range kinds.Len() {
		kind := eventv1.TemporaryKind(kinds.Get(n).Number())
		words := strings.Fields(notation.Word(kind))
		if kind != 0 && len(words) > 0 && !slices.ContainsFunc(words, func(w string) bool { return !slices.Contains(said, w) }) {
			out.Kind = kind
			break
		}
	}
	return out
}

// FindEntry finds the id of an entry: its number, 'last', or its id or the end of it.
func FindEntry(c *cases.Case, said, last string) (string, error) {
	said = strings.ToLower(strings.TrimPrefix(strings.TrimSpace(said), "#"))
	if said == "last" {
		if last != "" {
			return last, nil
		}
		return "", fmt.Errorf("%w: nothing was recorded from here in this case yet, so there is no 'last'", ErrNotFound)
	}
	if n, err := strconv.ParseUint(said, 10, 64); err == nil {
		if s := c.Step(n); s != nil {
			return s.ID, nil
		}
		if len(said) < 6 {
			return "", fmt.Errorf("%w: the case has no entry %d; its last is %d", ErrNotFound, n, c.Head())
		}
	}
	if notation.CheckID(said) == nil {
		return said, nil
	}
	var found []string
	look := func(id string) {
		if len(said) >= 4 && strings.HasSuffix(id, said) {
			found = append(found, id)
		}
	}
	for _, s := range c.Steps() {
		look(s.ID)
	}
	for _, l := range leftBefore(c) {
		look(l.GetEntry())
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", fmt.Errorf("%w: no entry %q; give its number, 'last', or the last six characters of its id", ErrNotFound, said)
	}
	return "", fmt.Errorf("%q fits %d entries: give more of the id", said, len(found))
}

// Checks is what an event of the case is held against before it is numbered.
func Checks(c *cases.Case, now time.Time, currency string) check.Context {
	return check.Context{
		Now: now, SystemVolts: c.Vehicle.GetSystemVolts(), HighVoltage: c.Vehicle.GetHighVoltage() == eventv1.Answer_ANSWER_YES,
		Currency: currency, Owner: c.OwnerShop,
		Kind: func(id string) (uint32, bool) {
			if s := c.ByID(id); s != nil {
				return s.Kind, true
			}
			for _, l := range leftBefore(c) {
				if l.GetEntry() == id {
					return 0, true
				}
			}
			return 0, false
		},
		Called: func(id string) string {
			if s := c.ByID(id); s != nil {
				return fmt.Sprintf("#%d", s.Seq)
			}
			return id
		},
	}
}

// leftBefore is what earlier cases left on the vehicle.
func leftBefore(c *cases.Case) []*eventv1.LeftBehind {
	if c.Opening == nil {
		return nil
	}
	return c.Opening.Says.GetCaseOpened().GetLeftBehind()
}
