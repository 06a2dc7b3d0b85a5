package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Too weak is a supply under 11.5 V with the key on or under 9.6 V cranking, on 12
// volts; on 24 and 48 in proportion. A drop needs no supply to compare with, nor do
// ohms. One finding for what was judged in one visit.
func weakSupplyWhileTesting() Rule {
	return Rule{
		Slug:     "weak-supply-while-testing",
		Doctrine: "What is fed by a weak battery looks weak itself: charge it first, or compare with the supply of that moment.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			f, rests := c.currents, c.rests
			strong := map[string]int{} // the last time that a spot was read on a good supply
			for _, s := range c.Readings {
				if v, ok := siOf(conditionsOf(s).GetSupply()); ok && v >= f.weakBelow(s) {
					strong[f.spots(s)] = s.Job
				}
			}
			var order []visit
			weak, on := map[visit][]*cases.Step{}, map[visit][]*cases.Step{}
			for _, s := range c.Jobs() {
				if !measured(s) {
					continue
				}
				v, ok := siOf(conditionsOf(s).GetSupply())
				rest := standing(c.Case, rests[s])
				judged := outcome(s) == pass || outcome(s) == fail
				if !ok || v >= f.weakBelow(s) || !judged && len(rest) == 0 || f.comparedWithSupply(s, v) {
					continue
				}
				if s.Says.GetReading() != nil && strong[f.spots(s)] > s.Job {
					continue
				}
				in := visitOf(c.Case, s)
				if weak[in] == nil {
					order = append(order, in)
				}
				weak[in] = append(weak[in], s)
				for _, k := range rest {
					if !slices.Contains(on[in], k) {
						on[in] = append(on[in], k)
					}
				}
			}
			var out []Finding
			for _, in := range order {
				finding := Finding{
					Entries: seqs(slices.Concat(weak[in], on[in])...),
					Why: fmt.Sprintf("%s %s judged on a supply of %s, too weak to judge by.%s", refs(weak[in]...), number(len(weak[in]), "was", "were"),
						notation.Format(conditionsOf(weak[in][0]).GetSupply()), restWords(on[in])),
					Clears: "Charge or support the battery and repeat it; or read the drop, which needs no supply to compare with.",
				}
				for _, s := range weak[in] {
					for _, name := range whereRead(f, s) {
						if !slices.Contains(finding.About, name) {
							finding.About = append(finding.About, name)
						}
					}
				}
				out = append(out, finding)
			}
			return out
		},
	}
}

func (f *currents) weakBelow(s *cases.Step) float64 {
	if conditionsOf(s).GetKey() == eventv1.KeyPosition_KEY_POSITION_CRANKING {
		return 9.6 * f.System() / 12
	}
	return 11.5 * f.System() / 12
}

// comparedWithSupply reports whether the supply of the moment plays no part in the
// verdict: a drop, ohms, what is expected of the supply itself, a feed that passes
// because it has what the supply has, or the battery and what charges it.
func (f *currents) comparedWithSupply(s *cases.Step, supply float64) bool {
	if dropped(s) || continuity(s) || manner(s) == eventv1.TestManner_TEST_MANNER_BENCH {
		return true
	}
	r := s.Says.GetReading()
	should := r.GetShouldBe()
	if t := s.Says.GetTest(); t != nil {
		should = t.GetShouldBe()
	}
	text := notation.Key(should.GetSaid() + " " + should.GetSource())
	if slices.ContainsFunc([]string{"supply", "battery", "posts"}, func(w string) bool { return mentionsKey(text, w) }) {
		return true
	}
	if red := f.point(r.GetRed()); red == "batt+" && f.point(r.GetBlack()) == "batt-" {
		return true
	}
	if slices.ContainsFunc(coveredNames(s), func(name string) bool {
		return slices.ContainsFunc(words(f.Key(name)), func(w string) bool { return w == "battery" || w == "alternator" || w == "charging" })
	}) {
		return true
	}
	v, is := volts(s)
	const near = 0.5 // a whole side may lose so much under load (common practice)
	return is && outcome(s) == pass && v >= supply-near*f.System()/12
}
