package review

import (
	"fmt"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// The file has no underscores in its name: Go would take it for a test.

// A trial still in hand is quiet: it is meant to be taken out again. Once the
// case is passed on or ended with it in place, it is a part like any other; so is
// one that was in before the case was opened.
func fittedWithoutTest() Rule {
	return Rule{
		Slug:     "fitted-without-test",
		Doctrine: "A part is fitted because a test pointed at it; a part fitted without one costs money and tells nothing.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, f := range c.Fittings {
				g := c.Graded(f)
				if !g.Guess() || trialInHand(c.Case, f) {
					continue
				}
				out = append(out, Finding{
					Entries: seqs(append(append(passedBefore(f), steps(f.Failing)...), f.Step)...), About: []string{f.Component.Name},
					Why: withoutTest(g), Clears: testOrRefit(f),
				})
			}
			return out
		},
	}
}

func trialInHand(c *cases.Case, f *cases.Fitting) bool {
	return f.Part.GetWhy() == eventv1.Why_WHY_TRIAL && c.Opening != nil && f.Step.Job > c.Opening.Job && handedAfter(c, f.Step) == nil
}

func withoutTest(g cases.Graded) string {
	f := g.Fitting
	text := fmt.Sprintf("%s was fitted (%s) ", upper(the(f.Component.Name)), refs(f.Step))
	switch {
	case g.Grade == cases.AgainstEvidence:
		text += "against the evidence of that moment: the tests spoke for what came out, or for another cause."
	case len(f.Failing) > 0:
		text += fmt.Sprintf("and what had been found by then did not point to it: %s also speaks of other things, or was overtaken.", refs(steps(f.Failing)...))
	default:
		text += "and no failing test on it, or on anything that covers it, is recorded before."
	}
	switch f.Part.GetWhy() {
	case eventv1.Why_WHY_TEST:
		if len(f.Failing) > 0 {
			break
		}
		text += " The reason given is a test, but none is in the record."
	case eventv1.Why_WHY_TRIAL:
		text += " It was put in to try and is still in."
	case eventv1.Why_WHY_UNSPECIFIED:
		text += " No reason is given."
	default:
		text += " The reason given is a guess."
	}
	if passed := passedBefore(f); len(passed) > 0 {
		text += fmt.Sprintf(" %s passed on it before.", refs(passed...))
	}
	if f.Part.GetCost().GetMinor() > 0 {
		text += fmt.Sprintf(" It cost %s.", notation.FormatMoney(f.Part.GetCost()))
	}
	return text
}

func steps(all []*cases.Evidence) []*cases.Step {
	var out []*cases.Step
	for _, e := range all {
		out = append(out, e.Step)
	}
	return out
}

// passedBefore lists the tests that the part which came out had passed.
func passedBefore(f *cases.Fitting) []*cases.Step {
	var out []*cases.Step
	for _, e := range f.Component.Evidence {
		if e.Outcome == pass && e.Step.Job < f.Step.Job && e.Life == lifeBefore(f) {
			out = append(out, e.Step)
		}
	}
	return out
}

// lifeBefore is the number of the component's life that the fitting ended.
func lifeBefore(f *cases.Fitting) int {
	for i, l := range f.Component.Lives {
		if l.From == f.Step {
			return i - 1
		}
	}
	return -1
}

func testOrRefit(f *cases.Fitting) string {
	text := "If a test pointed to it, write it up and place it where it was done."
	if f.Part.GetOldKept() == yes {
		return text + " Otherwise refit the old part, which was kept, and see whether anything changes."
	}
	return text + " Otherwise test what is fitted now."
}
