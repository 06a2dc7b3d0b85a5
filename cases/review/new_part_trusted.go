package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A belief that a component is good rests on newness alone when it names the
// fitting and no evidence, or says 'new' of a part that was fitted new, and
// nothing has passed on that part since.
func newPartTrusted() Rule {
	return Rule{
		Slug:     "new-part-trusted",
		Doctrine: "That a part is new proves nothing about it; new parts are wrong, dead or badly seated often enough.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, b := range c.Beliefs {
				if f := trusted(c.Case, b); f != nil {
					out = append(out, trust(b.Step, f, "holds"))
				} else if b.Settled != nil && b.Holds == yes {
					if f := restsOnNew(c.Case, b.Settled); f != nil {
						out = append(out, trust(b.Settled, f, "settles"))
					}
				}
			}
			return out
		},
	}
}

func trust(s *cases.Step, f *cases.Fitting, does string) Finding {
	what := "was concluded"
	if does == "holds" {
		what = "is held"
	}
	return Finding{
		Entries: seqs(f.Step, s), About: []string{f.Component.Name},
		Why:    fmt.Sprintf("What %s in %s rests on %s being new (%s); nothing has passed on it since it was fitted.", what, refs(s), the(f.Component.Name), refs(f.Step)),
		Clears: fmt.Sprintf("A test of %s as it is fitted now, with its circuit working.", the(f.Component.Name)),
	}
}

func trusted(c *cases.Case, b *cases.Belief) *cases.Fitting {
	if b.Holds == no || len(b.Behind) > 0 {
		return nil
	}
	if f := restsOnNew(c, b.Step); f != nil {
		return f
	}
	if b.About == nil || !mentions(b.Says.GetStatement(), "new") || b.Says.GetClaim().GetOutcome() == fail {
		return nil
	}
	for _, f := range slices.Backward(c.Fittings) {
		if f.Component == b.About && f.Step.Job < b.Step.Job {
			return untested(f)
		}
	}
	return nil
}

// restsOnNew returns a new, untested part that is all the step rests on.
func restsOnNew(c *cases.Case, s *cases.Step) *cases.Fitting {
	var found *cases.Fitting
	for _, b := range s.Because {
		f := c.FittingOf(b)
		if f == nil {
			return nil
		}
		if found == nil {
			found = untested(f)
		}
	}
	return found
}

// untested returns the fitting when its part is new or reconditioned, still in,
// and nothing has passed on it since.
func untested(f *cases.Fitting) *cases.Fitting {
	switch f.Part.GetState() {
	case eventv1.PartState_PART_STATE_NEW, eventv1.PartState_PART_STATE_RECONDITIONED:
	default:
		return nil
	}
	if !inPlace(f) || slices.ContainsFunc(f.After, func(e *cases.Evidence) bool { return e.Outcome == pass || e.Outcome == fail }) {
		return nil
	}
	return f
}
