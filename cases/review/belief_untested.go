package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// What was told is the business of told-not-seen; what was seen is a look, not a
// guess. Codes are what a module makes of it, neither reading nor test.
func beliefUntested() Rule {
	return Rule{
		Slug:     "belief-untested",
		Doctrine: "What others build on must rest on a reading or a test.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, b := range c.Beliefs {
				switch b.Says.GetBasis() {
				case eventv1.Basis_BASIS_TOLD, eventv1.Basis_BASIS_SEEN:
					continue
				}
				on := relying(b)
				if len(on) == 0 || c.backed(b) {
					continue
				}
				why := fmt.Sprintf("%s no reading or test stands behind %q (%s), and %s %s on it.", basisWords(b), b.Says.GetStatement(), refs(b.Step), refs(on...), number(len(on), "rests", "rest"))
				if b.Settled != nil {
					why += fmt.Sprintf(" %s settles it without naming one.", refs(b.Settled))
				}
				out = append(out, Finding{
					Entries: seqs(append(on, b.Step, b.Settled)...), About: about(b),
					Why: why, Clears: "A reading or test that would come out differently if it were not so; or settle it and name what settled it.",
				})
			}
			return out
		},
	}
}

func basisWords(b *cases.Belief) string {
	switch b.Says.GetBasis() {
	case eventv1.Basis_BASIS_UNSPECIFIED:
		return "The basis is not given;"
	case eventv1.Basis_BASIS_MEASURED:
		return "It is said to be measured, but"
	}
	return fmt.Sprintf("The basis is %q;", notation.Word(b.Says.GetBasis()))
}

func about(b *cases.Belief) []string {
	switch {
	case b.About != nil:
		return []string{b.About.Name}
	case b.AtPoint != nil:
		return []string{b.AtPoint.Name}
	}
	return nil
}

// relying lists what was done, concluded or asked of others on the strength of
// the belief.
func relying(b *cases.Belief) []*cases.Step {
	return slices.DeleteFunc(slices.Clone(b.ReliedOn), func(s *cases.Step) bool {
		return !decides(s) && s.Says.GetHandedOff() == nil || b.Settled == s
	})
}

// backed reports whether something measured or seen, which codes are not, stands
// behind the belief: by name, because somebody tested it, or because the record holds a test of the
// component that agrees with what is claimed.
func (c *sheet) backed(b *cases.Belief) bool {
	if b.Holds == no || slices.ContainsFunc(b.Behind, func(s *cases.Step) bool { return s.Says.GetCodesRead() == nil }) || c.tested[b.Step] {
		return true
	}
	if b.About == nil || b.Says.GetClaim().GetOutcome() == eventv1.Outcome_OUTCOME_UNSPECIFIED {
		return false
	}
	return slices.ContainsFunc(b.About.Since(), func(e *cases.Evidence) bool { return e.Outcome == b.Says.GetClaim().GetOutcome() })
}
