package review

import (
	"fmt"

	"knowngood.example/cases"
)

// A later look at the same thing that says who was told, or an approval,
// hand-back or note that names the entry, shows that somebody knows.
func outsideTheConcern() Rule {
	return Rule{
		Slug:     "outside-the-concern",
		Doctrine: "Whoever sees something wrong tells somebody, whether or not it has to do with the concern.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			var out []Finding
			// Jobs come in order: the last telling of each is kept.
			told, named := map[string]*cases.Step{}, map[*cases.Step]*cases.Step{}
			for _, s := range c.Jobs() {
				if !tells(s) {
					continue
				}
				if again := s.Says.GetSeen().GetComponent(); again != "" {
					told[c.Key(again)] = s
				}
				for _, b := range s.Because {
					named[b] = s
				}
			}
			passedOn := func(s, by *cases.Step) bool { return by != nil && by.Job > s.Job }
			for _, s := range c.Seen {
				seen := s.Says.GetSeen()
				if !seen.GetOutsideConcern() || seen.GetOutcome() == pass || seen.GetTold() != "" || passedOn(s, named[s]) || passedOn(s, told[c.Key(seen.GetComponent())]) {
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

// tells reports whether somebody may have been told in the step.
func tells(s *cases.Step) bool {
	return s.Says.GetApproval() != nil || s.Says.GetHandedBack() != nil || s.Says.GetNote() != nil || s.Says.GetSeen().GetTold() != ""
}
