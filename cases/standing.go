package cases

import (
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Waits says what the case waits for, and which shop must act; empty when the
// case is closed.
func (s *State) Waits() (what, shop string) {
	if s.Closed != nil || s.Opening == nil {
		return "", ""
	}
	if n := len(s.Handoffs); n > 0 {
		switch h := s.Handoffs[n-1]; {
		case h.Back != nil:
			return "to read the hand-back", s.OwnerShop
		case h.TakenUp != nil:
			return "to find out and hand back", h.Says.GetToShop()
		default:
			return "to take it up", h.Says.GetToShop()
		}
	}
	return "to go on", s.OwnerShop
}

// Standing says in a word or two how the case stands.
func (s *State) Standing() string {
	switch {
	case s.Closed != nil:
		return "closed: " + closeWords(s.Closed.Says.GetClosed().GetOutcome())
	case len(s.Handoffs) > 0 && s.Handoffs[len(s.Handoffs)-1].Back == nil:
		return "handed off"
	}
	return "open"
}

// StillOn lists what is temporary and not undone.
func (s *State) StillOn() []*Temporary {
	var out []*Temporary
	for _, t := range s.Temporaries {
		if t.Off == nil {
			out = append(out, t)
		}
	}
	return out
}

// Unsettled lists the beliefs that nothing has settled.
func (s *State) Unsettled() []*Belief {
	var out []*Belief
	for _, b := range s.Beliefs {
		if b.Settled == nil {
			out = append(out, b)
		}
	}
	return out
}

// Since returns the component's evidence of its present life.
func (c *Component) Since() []*Evidence {
	var out []*Evidence
	for _, e := range c.Evidence {
		if e.Life == c.Present() {
			out = append(out, e)
		}
	}
	return out
}

// Tested lists the components with evidence of their present life, by key order
// of no meaning: callers sort.
func (s *State) Tested() []*Component {
	var out []*Component
	for _, c := range s.Components {
		if len(c.Since()) > 0 {
			out = append(out, c)
		}
	}
	return out
}

// VehicleWords names the vehicle: year, make, model, engine.
func (s *State) VehicleWords() string {
	v := s.Vehicle
	var words []string
	if v.GetYear() != 0 {
		words = append(words, itoa(uint64(v.GetYear())))
	}
	for _, w := range []string{v.GetMake(), v.GetModel(), v.GetEngine()} {
		if w != "" {
			words = append(words, w)
		}
	}
	if len(words) == 0 && v.GetPlate() != "" {
		words = append(words, v.GetPlate())
	}
	if len(words) == 0 && v.GetVin() != "" {
		words = append(words, v.GetVin())
	}
	if len(words) == 0 {
		return "vehicle not described"
	}
	return strings.Join(words, " ")
}

// ConcernWords is the concern as it was last stated.
func (s *State) ConcernWords() string {
	for i := len(s.Concerns) - 1; i >= 0; i-- {
		if t := concernOf(s.Concerns[i]).GetStatement(); t != "" {
			return t
		}
	}
	return ""
}

func concernOf(s *Step) *eventv1.Concern {
	if o := s.Says.GetCaseOpened(); o != nil {
		return o.GetConcern()
	}
	return s.Says.GetConcernStated().GetConcern()
}

// Left lists what this case leaves on the vehicle, for the next case to copy:
// what is temporary and still on, parts in place, repairs, areas worked on.
func (c *Case) Left() []*eventv1.LeftBehind {
	var out []*eventv1.LeftBehind
	leave := func(s *Step, kind eventv1.LeftKind, what, where, undo string) {
		if what == "" {
			what = notation.Word(kind) // the record says where, not what
		}
		out = append(out, &eventv1.LeftBehind{Stream: c.Stream, Entry: s.ID, What: what, Where: where, Undo: undo, Kind: kind})
	}
	for _, t := range c.StillOn() {
		if t.Earlier != nil {
			out = append(out, t.Earlier)
			continue
		}
		leave(t.On, eventv1.LeftKind_LEFT_KIND_TEMPORARY, t.What, strings.Join(t.Where, ", "), t.Undo)
	}
	for _, f := range c.Fittings {
		if f.Component.fitting == f && f.Part.GetState() != eventv1.PartState_PART_STATE_BORROWED {
			leave(f.Step, eventv1.LeftKind_LEFT_KIND_PART_FITTED, partWords(f.Part), f.Component.Name, "")
		}
	}
	for _, r := range c.Repairs {
		leave(r.Step, eventv1.LeftKind_LEFT_KIND_REPAIR, r.Says.GetWhat(), r.Says.GetComponent(), "")
	}
	for _, w := range c.Worked {
		leave(w, eventv1.LeftKind_LEFT_KIND_WORKED_ON, w.Says.GetWorkedOn().GetWhat(), w.Says.GetWorkedOn().GetArea(), "")
	}
	if c.Opening != nil {
		for _, l := range c.Opening.Says.GetCaseOpened().GetLeftBehind() {
			if l.GetKind() != eventv1.LeftKind_LEFT_KIND_TEMPORARY {
				out = append(out, l)
			}
		}
	}
	return out
}
