package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Asked when a cause is handed back, or the case is closed as fixed. A failing
// bench test, or damage seen and the concern tried after, will do as well.
func causeNotProven() Rule {
	return Rule{
		Slug:     "cause-not-proven",
		Doctrine: "Prove the cause: go round it, put another in its place, or measure the same points before and after, and see the concern go away.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			said := map[*cases.Component]bool{}
			for _, h := range c.Handoffs {
				if h.Back == nil {
					continue
				}
				name := h.Back.Says.GetHandedBack().GetCause()
				if comp := c.Component(name); name != "" && !proven(c, comp) && !provenBy(c, h.Back) {
					said[comp] = true
					out = append(out, notProven(name, h.Back))
				}
			}
			if c.Closed == nil || c.Closed.Says.GetClosed().GetOutcome() != eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED {
				return out
			}
			changed := changes(c.Case)
			changed = slices.DeleteFunc(changed, func(x change) bool { return x.step.Job > c.Closed.Job })
			if len(changed) == 0 {
				return append(out, Finding{
					Entries: seqs(c.Closed),
					Why:     fmt.Sprintf("The case was closed as fixed (%s), but nothing fitted, repaired or reseated is recorded.", refs(c.Closed)),
					Clears:  "Record what was done and what showed that it was the cause, or close it as something else.",
				})
			}
			if slices.ContainsFunc(changed, func(x change) bool { return proven(c, x.comp) || said[x.comp] }) {
				return out
			}
			last := changed[len(changed)-1]
			return append(out, notProven(last.comp.Name, last.step, c.Closed))
		},
	}
}

func notProven(name string, steps ...*cases.Step) Finding {
	return Finding{
		Entries: seqs(steps...), About: []string{name},
		Why:    fmt.Sprintf("%s is taken to be the cause (%s), but no bypass, no substitution and no reading before and after shows that the concern came from it.", upper(the(name)), refs(steps...)),
		Clears: "Name the readings at the same points before and after, or undo the repair safely and see the concern come back.",
	}
}

// provenBy reports whether an entry that the hand-back names proves it, whatever
// words the cause is given in.
func provenBy(c *sheet, back *cases.Step) bool {
	return slices.ContainsFunc(back.Because, func(s *cases.Step) bool {
		r := s.Says.GetRepairChecked()
		return wentAway(s) || failedOnBench(s) || len(r.GetBefore()) > 0 && len(r.GetAfter()) > 0 && r.GetOutcome() != fail || proven(c, changed(c.Case, s))
	})
}

func failedOnBench(s *cases.Step) bool {
	t := s.Says.GetTest()
	return t.GetManner() == eventv1.TestManner_TEST_MANNER_BENCH && t.GetOutcome() == fail
}

func proven(c *sheet, comp *cases.Component) bool {
	if comp == nil {
		return false
	}
	if exchanged(comp) || c.beforeAndAfter(comp) {
		return true
	}
	last := lastIndex(c.Checks, concernGone)
	return slices.ContainsFunc(comp.Steps, failedOnBench) || last >= 0 && seenBad(comp, c.Checks[last])
}
