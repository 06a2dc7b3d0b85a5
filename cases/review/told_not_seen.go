package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Hearsay is a belief that was told, or a test written down on the word of
// somebody the register does not know. It matters once something rests on it.
func toldNotSeen() Rule {
	return Rule{
		Slug:     "told-not-seen",
		Doctrine: "What was told is where to look first, not what to build on.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, b := range c.Beliefs {
				on := relying(b)
				if b.Says.GetBasis() == eventv1.Basis_BASIS_TOLD && len(on) > 0 && !c.backed(b) {
					out = append(out, Finding{
						Entries: seqs(append(on, b.Step)...), About: about(b),
						Why:    fmt.Sprintf("%q (%s) was told, not seen, and %s %s on it.", b.Says.GetStatement(), refs(b.Step), refs(on...), number(len(on), "rests", "rest")),
						Clears: "See or measure it, and settle it by that.",
					})
				}
			}
			for _, s := range c.Jobs() {
				if on := c.rests[s]; len(on) > 0 && measured(s) && onWord(s) && !repeated(c.Case, s) {
					out = append(out, Finding{
						Entries: seqs(append(slices.Clone(on), s)...), About: coveredNames(s),
						Why:    fmt.Sprintf("%s was written down on somebody's word, and %s %s on it.", refs(s), refs(on...), number(len(on), "rests", "rest")),
						Clears: "Repeat it.",
					})
				}
			}
			return out
		},
	}
}

func coveredNames(s *cases.Step) []string {
	var out []string
	for _, cov := range covers(s) {
		out = append(out, cov.GetComponent())
	}
	return out
}

// repeated reports whether somebody who wrote it down themselves tested one of
// the same components later.
func repeated(c *cases.Case, s *cases.Step) bool {
	for _, cov := range covers(s) {
		comp := c.Component(cov.GetComponent())
		if comp != nil && slices.ContainsFunc(comp.Evidence, func(e *cases.Evidence) bool { return e.Step.Job > s.Job && !onWord(e.Step) }) {
			return true
		}
	}
	return false
}
