package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A check after fitting credits nothing; naming the part as the cause does. Quiet
// when the original was reseated first, failed off the vehicle, looked bad, or
// the concern came back with it.
func curedByReseating() Rule {
	return Rule{
		Slug:     "cured-by-reseating",
		Doctrine: "Unplug and replug the original before you credit a new part: reseating cures.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			credited := creditedFirst(c.Case)
			for _, f := range c.Fittings {
				if f.Part.GetState() == eventv1.PartState_PART_STATE_ORIGINAL || reasoned(f) || seenBad(f.Component, f.Step) || reseated(f.Component, f.Step) {
					continue
				}
				if k := credited(f); k != nil {
					out = append(out, reseat(f.Component, f.Step, k, "fitted"))
				}
			}
			for _, s := range c.Jobs() {
				t := s.Says.GetTest()
				if t.GetManner() != eventv1.TestManner_TEST_MANNER_SUBSTITUTION || t.GetConcernChange() != eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY || len(c.rests[s]) == 0 || len(t.GetCovers()) == 0 {
					continue
				}
				comp := c.Component(t.GetCovers()[0].GetComponent())
				if comp != nil && !reseated(comp, s) && !seenBad(comp, s) && !already(out, comp) {
					out = append(out, reseat(comp, s, c.rests[s][0], "exchanged to try"))
				}
			}
			return out
		},
	}
}

func reseat(comp *cases.Component, s, k *cases.Step, how string) Finding {
	return Finding{
		Entries: seqs(s, k), About: []string{comp.Name},
		Why:    fmt.Sprintf("%s was %s (%s) and %s rests on it; that the original was unplugged and plugged in again first is not recorded. The contact may have been the cure.", upper(the(comp.Name)), how, refs(s), refs(k)),
		Clears: "Refit the original and see the concern come back, or test the original off the vehicle.",
	}
}

func already(out []Finding, comp *cases.Component) bool {
	return slices.ContainsFunc(out, func(f Finding) bool { return slices.Contains(f.About, comp.Name) })
}

// creditedFirst finds the first of the claims that names a fitted part as the cause.
func creditedFirst(c *cases.Case) func(*cases.Fitting) *cases.Step {
	claims := claiming(c)
	naming, blaming := map[*cases.Step][]int{}, map[*cases.Component][]int{}
	for i, k := range claims {
		for _, s := range k.Because {
			naming[s] = append(naming[s], i)
		}
		if comp := c.Component(k.Says.GetHandedBack().GetCause()); comp != nil {
			blaming[comp] = append(blaming[comp], i)
		}
	}
	return func(f *cases.Fitting) *cases.Step {
		for _, i := range inOrder(slices.Concat(naming[f.Step], blaming[f.Component])) {
			if claims[i].Job > f.Step.Job {
				return claims[i]
			}
		}
		return nil
	}
}

// reseated reports whether the original was ruled in otherwise: reseated before
// the step, failed on the bench, or the concern came and went with it.
func reseated(comp *cases.Component, at *cases.Step) bool {
	return slices.ContainsFunc(comp.Steps, func(s *cases.Step) bool {
		if p := s.Says.GetPartPutBack(); p != nil {
			return p.GetReseatedOnly() && s.Job < at.Job
		}
		t := s.Says.GetTest()
		switch {
		case t == nil:
			return false
		case t.GetManner() == eventv1.TestManner_TEST_MANNER_RESEAT:
			return s.Job < at.Job
		case t.GetManner() == eventv1.TestManner_TEST_MANNER_BENCH:
			return t.GetOutcome() == fail
		}
		return t.GetConcernChange() == eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK
	})
}
