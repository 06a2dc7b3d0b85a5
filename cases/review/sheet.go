package review

import (
	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// sheet is a case under review, with what more than one rule asks of it: worked out
// once, and only read by the rules.
type sheet struct {
	*cases.Judged
	// rests maps each step to the decisions that rest on it: those that name it, and
	// those that name a test made of it.
	rests map[*cases.Step][]*cases.Step
	// tested are the steps that somebody tested or looked because of.
	tested map[*cases.Step]bool
	// began are the steps with which a life of something began.
	began map[*cases.Step]bool
	// absent are the tests and readings that passed while the concern was absent, or
	// may have been.
	absent map[*cases.Step]bool
	// compared are the components whose change was checked at the same points before
	// and after, and held.
	compared  map[*cases.Component]bool
	currents  *currents
	places    *places
	witnesses *witnesses // nil where nothing is drawn
}

func sheetOf(c *cases.Judged) *sheet {
	s := &sheet{
		Judged: c, rests: decided(c.Case), tested: testedFor(c.Case), began: comings(c.Case), compared: comparedIn(c.Case),
		currents: currentsOf(c), places: placesOf(c), witnesses: witnessesOf(c),
	}
	s.absent = absentPasses(c.Case, s.began)
	return s
}

func testedFor(c *cases.Case) map[*cases.Step]bool {
	out := map[*cases.Step]bool{}
	for _, k := range c.Jobs() {
		if outcome(k) != eventv1.Outcome_OUTCOME_UNSPECIFIED && !decides(k) {
			for _, b := range k.Because {
				out[b] = true
			}
		}
	}
	return out
}
