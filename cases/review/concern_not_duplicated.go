package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A film, a freeze frame, or that it is unsafe to repeat will do instead, and so
// will a test that worked the circuit and failed.
func concernNotDuplicated() Rule {
	return Rule{
		Slug:     "concern-not-duplicated",
		Doctrine: "See the concern yourself before you fit anything: what nobody saw, nobody can see go away.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			first := firstSeen(c.Case)
			if first == seenOtherwise {
				return nil
			}
			var steps []*cases.Step
			var names []string
			f := Finding{}
			for _, fit := range c.Fittings {
				if fit.Step.Job < first && !reasoned(fit) && fit.Part.GetState() != eventv1.PartState_PART_STATE_ORIGINAL {
					steps = append(steps, fit.Step)
					if !slices.Contains(f.About, fit.Component.Name) {
						f.About = append(f.About, fit.Component.Name)
						names = append(names, the(fit.Component.Name))
					}
				}
			}
			if len(steps) == 0 {
				return nil
			}
			f.Entries = seqs(steps...)
			f.Why = fmt.Sprintf("%s %s fitted (%s) before anybody is recorded to have seen the concern.", upper(list(names)), number(len(f.About), "was", "were"), refs(steps...))
			f.Clears = "Duplicate the concern under the conditions stated, or record the film or freeze frame that shows it, or that it is unsafe to repeat."
			if c.Duplicated != nil {
				f.Clears = "If it was seen earlier, write that up and place it where it was seen."
			}
			return []Finding{f}
		},
	}
}

const seenOtherwise = -1

// firstSeen is the place in job order at which the concern was first seen, past
// the last place when nobody saw it, seenOtherwise when it need not be.
func firstSeen(c *cases.Case) int {
	first := len(c.Jobs()) + 1
	for _, s := range c.Jobs() {
		d := s.Says.GetConcernDuplicated()
		if d.GetUnsafeToRepeat() || d.GetOnRecord() || freezeFrame(s) {
			return seenOtherwise
		}
		t := s.Says.GetTest()
		worked := t.GetManner() == eventv1.TestManner_TEST_MANNER_FUNCTION && t.GetOutcome() == fail
		if s.By != "customer" && (worked || presence(s) == eventv1.Presence_PRESENCE_PRESENT) {
			first = min(first, s.Job)
		}
	}
	return first
}

func freezeFrame(s *cases.Step) bool {
	return slices.ContainsFunc(s.Says.GetCodesRead().GetCodes(), func(t *eventv1.TroubleCode) bool { return len(t.GetFreezeFrame()) > 0 })
}
