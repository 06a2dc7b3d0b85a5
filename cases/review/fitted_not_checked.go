package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func fittedNotChecked() Rule {
	return Rule{
		Slug:     "fitted-not-checked",
		Doctrine: "New is not known good: a part is known to work when a test after fitting says so.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, f := range c.Fittings {
				handed := handedAfter(c.Case, f.Step)
				if handed == nil || !inPlace(f) || checkedSince(c.Case, f) {
					continue
				}
				out = append(out, Finding{
					Entries: seqs(f.Step, handed), About: []string{f.Component.Name},
					Why:    fmt.Sprintf("Nothing is recorded that tested %s after it was fitted (%s), and the case went on with %s.", the(f.Component.Name), refs(f.Step), refs(handed)),
					Clears: fmt.Sprintf("Test %s where it sits, with its circuit working, or name %s in a check after repair.", the(f.Component.Name), refs(f.Step)),
				})
			}
			return out
		},
	}
}

func checkedSince(c *cases.Case, f *cases.Fitting) bool {
	for _, e := range f.After {
		if e.Outcome == pass || e.Outcome == fail {
			return true
		}
	}
	return slices.ContainsFunc(c.Checks, func(s *cases.Step) bool {
		r := s.Says.GetRepairChecked()
		tried := r.GetConcernTried() == yes || r.GetConcern() == eventv1.Presence_PRESENCE_PRESENT || r.GetConcern() == eventv1.Presence_PRESENCE_ABSENT
		return tried && (slices.Contains(r.GetRepairs(), f.Step.ID) || slices.Contains(s.Because, f.Step))
	})
}
