package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
)

func temporaryLeft() Rule {
	return Rule{
		Slug:     "temporary-left",
		Doctrine: "Whatever was pierced, unplugged, jumped, uncovered or clipped on is put back, or handed over in writing.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			var what []string
			var ends []*cases.Step
			f := Finding{Clears: "Undo it and say so, or hand it over in writing with how to undo it."}
			for _, t := range c.StillOn() {
				end := handedAfter(c.Case, t.On)
				if end == nil {
					continue
				}
				if !slices.Contains(ends, end) {
					ends = append(ends, end)
				}
				f.Entries = append(f.Entries, t.On.Seq, end.Seq)
				f.About = append(f.About, t.Where...)
				what = append(what, fmt.Sprintf("%s (%s)", temporaryWords(t), refs(t.On)))
			}
			if len(ends) == 0 {
				return nil
			}
			f.Why = fmt.Sprintf("Still on the vehicle when the case went on with %s: %s.", refs(ends...), list(what))
			return []Finding{f}
		},
	}
}

// temporaryWords names what is on, and where.
func temporaryWords(t *cases.Temporary) string {
	what := t.What
	if what == "" {
		what = notation.Word(t.Kind)
	}
	for _, w := range t.Where {
		if !mentions(what, w) {
			what += " at " + w
		}
	}
	return what
}
