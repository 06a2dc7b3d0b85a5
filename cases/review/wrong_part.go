package review

import (
	"fmt"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Only what the record says outright counts: a number said not to match, or a
// wrong part or setting seen. What was exchanged or mended since is quiet.
func wrongPart() Rule {
	return Rule{
		Slug:     "wrong-part",
		Doctrine: "A part that is not the one the vehicle calls for is a fault of its own, however new.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			var out []Finding
			for _, f := range c.Fittings {
				if f.Part.GetNumberMatches() != no || !inPlace(f) {
					continue
				}
				what := "its number"
				if n := f.Part.GetPartNumber(); n != "" {
					what = "its number " + n
				}
				out = append(out, Finding{
					Entries: seqs(f.Step), About: []string{f.Component.Name},
					Why:    fmt.Sprintf("%s was fitted (%s) and %s does not match what the vehicle calls for.", upper(the(f.Component.Name)), refs(f.Step), what),
					Clears: "Fit the part called for, or correct the entry if the number was superseded, and say by what.",
				})
			}
			for _, s := range c.Seen {
				seen := s.Says.GetSeen()
				if seen.GetMode() != eventv1.FaultMode_FAULT_MODE_WRONG_PART_OR_SETTING || seen.GetOutcome() == pass || putRight(c.Case, s) {
					continue
				}
				f := Finding{
					Entries: seqs(s),
					Why:     fmt.Sprintf("Seen in %s: %s.", refs(s), seen.GetWhat()),
					Clears:  "Fit what the vehicle calls for, and look for why the wrong one was put in: it may have hidden a fault.",
				}
				if name := seen.GetComponent(); name != "" {
					f.About = []string{name}
					f.Why = fmt.Sprintf("%s is not what the vehicle calls for. Seen in %s: %s.", upper(the(name)), refs(s), seen.GetWhat())
				}
				out = append(out, f)
			}
			return out
		},
	}
}

// putRight reports whether what was seen was fitted anew, repaired or taken out
// since.
func putRight(c *cases.Case, s *cases.Step) bool {
	comp := c.Component(s.Says.GetSeen().GetComponent())
	return comp != nil && renewed(comp, s)
}
