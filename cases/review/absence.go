package review

import (
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// absentPasses holds the tests and readings that passed while the concern was
// absent, or may have been: by what they say, or because they do not say and the
// concern comes and goes. Of a concern that is always there, none; of one of which
// nobody said how often it is there, none that came after a change, which may have
// cured it.
func absentPasses(c *cases.Case, began map[*cases.Step]bool) map[*cases.Step]bool {
	out := map[*cases.Step]bool{}
	steady, comes := howOften(c, began)
	if steady {
		return out
	}
	changed := false // since the concern was last there
	for _, s := range c.Jobs() {
		p := presence(s)
		switch {
		case began[s]:
			changed = true
		case p == eventv1.Presence_PRESENCE_PRESENT, s.Says.GetCaseOpened() != nil, s.Says.GetConcernStated() != nil:
			changed = false
		}
		if measured(s) && outcome(s) == pass && !wentAway(s) && p != eventv1.Presence_PRESENCE_PRESENT {
			out[s] = comes || p == eventv1.Presence_PRESENCE_ABSENT && !changed
		}
	}
	return out
}

// comings are the steps with which a life of something began.
func comings(c *cases.Case) map[*cases.Step]bool {
	out := map[*cases.Step]bool{}
	for _, comp := range c.Components {
		for _, l := range comp.Lives[1:] {
			out[l.From] = true
		}
	}
	return out
}

// howOften the concern is there, as far as anybody said or saw: always, or now and
// then. Neither is so where nobody did.
func howOften(c *cases.Case, began map[*cases.Step]bool) (steady, comes bool) {
	for _, s := range c.Concerns {
		if f := notation.Key(concern(s).GetFrequency()); f != "" {
			steady = slices.ContainsFunc([]string{"always", "constant", "every time", "all the time", "permanent", "never works"},
				func(w string) bool { return strings.Contains(f, w) })
			comes = !steady
		}
	}
	if steady || comes {
		return steady, comes
	}
	first := len(c.Jobs()) + 1 // change
	for s := range began {
		first = min(first, s.Job)
	}
	for _, s := range c.Presence {
		seen := s.Says.GetConcernDuplicated()
		if s.Says.GetConcernGoneAway() != nil && s.Job < first || seen.GetFailures() > 0 && seen.GetFailures() < seen.GetTries() {
			return false, true
		}
	}
	return false, false
}

func concern(s *cases.Step) *eventv1.Concern {
	if o := s.Says.GetCaseOpened(); o != nil {
		return o.GetConcern()
	}
	return s.Says.GetConcernStated().GetConcern()
}

// tried reports whether the concern was tried under its own conditions after a
// repair, stayed away, and has not been seen since.
func tried(c *cases.Case) bool {
	tried := false
	for _, s := range c.Jobs() {
		switch {
		case concernThere(s), s.Says.GetConcernStated() != nil, s.Says.GetCameBack() != nil:
			tried = false
		case s.Says.GetRepairChecked().GetConcernTried() == yes:
			tried = true
		}
	}
	return tried
}
