package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
)

// A later look at the same thing that says who was told, or an approval,
// hand-back or note that names the entry, shows that somebody knows.
func outsideTheConcern() Rule {
	return Rule{
		Slug:     "outside-the-concern",
		Doctrine: "Whoever sees something wrong tells somebody, whether or not it has to do with the concern.",
		Severity: Look,
		Check: func(c *cases.Judged) []Finding {
			var out []Finding
			for _, s := range c.Seen {
				seen := s.Says.GetSeen()
				if !seen.GetOutsideConcern() || seen.GetOutcome() == pass || seen.GetTold() != "" || passedOn(c.Case, s) {
					continue
				}
				f := Finding{
					Entries: seqs(s),
					Why:     fmt.Sprintf("Seen in %s, apart from the concern: %s. Nobody is recorded to have been told.", refs(s), seen.GetWhat()),
					Clears:  "Tell the customer or whoever answers for the vehicle, and record who was told.",
				}
				for _, name := range []string{seen.GetComponent(), seen.GetPoint()} {
					if name != "" {
						f.About = append(f.About, name)
					}
				}
				out = append(out, f)
			}
			return out
		},
	}
}

func passedOn(c *cases.Case, s *cases.Step) bool {
	seen := s.Says.GetSeen()
	return slices.ContainsFunc(c.Jobs(), func(later *cases.Step) bool {
		if later.Job <= s.Job {
			return false
		}
		if again := later.Says.GetSeen(); again.GetTold() != "" && again.GetComponent() != "" && c.Key(again.GetComponent()) == c.Key(seen.GetComponent()) {
			return true
		}
		tells := later.Says.GetApproval() != nil || later.Says.GetHandedBack() != nil || later.Says.GetNote() != nil || again(later)
		return tells && slices.Contains(later.Because, s)
	})
}

func again(s *cases.Step) bool { return s.Says.GetSeen().GetTold() != "" }
