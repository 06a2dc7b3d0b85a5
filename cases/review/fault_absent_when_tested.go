package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// It matters once something was decided on it. Quiet when what passed was tested
// again while the concern was there, and once the concern itself was tried after a
// repair and stayed away.
func faultAbsentWhenTested() Rule {
	return Rule{
		Slug:     "fault-absent-when-tested",
		Doctrine: "Good readings taken while the concern is absent clear little, however many they are.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			if len(c.absent) == 0 || tried(c.Case) {
				return nil
			}
			p := c.places
			again, by := testedAgain(p, c.absent), evidenceBy(c.Case)
			counts := func(s *cases.Step, about *cases.Component) bool {
				if !c.absent[s] {
					return false
				}
				on := bearing(by[s], about)
				return len(on) == 0 || slices.ContainsFunc(on, func(e *cases.Evidence) bool { return !again[p.of(e)] })
			}
			var out []Finding
			for _, k := range c.Jobs() {
				if !decides(k) || undone(c.Case, k) {
					continue
				}
				var on []*cases.Step
				about := subject(c.Case, k)
				for _, s := range restsOn(k, about) {
					if counts(s, about) && !slices.Contains(on, s) {
						on = append(on, s)
					}
				}
				if len(on) > 0 {
					out = append(out, whileAbsent(c.Case, k, on))
				}
			}
			return out
		},
	}
}

func whileAbsent(c *cases.Case, k *cases.Step, on []*cases.Step) Finding {
	f := Finding{Entries: seqs(append(slices.Clone(on), k)...)}
	how := "passed while the concern was not there"
	for _, s := range on {
		if presence(s) != eventv1.Presence_PRESENCE_ABSENT {
			how = "passed without word whether the concern was there, which comes and goes"
		}
		for _, name := range coveredNames(s) {
			if !slices.Contains(f.About, name) {
				f.About = append(f.About, name)
			}
		}
	}
	f.Why = fmt.Sprintf("%s %s, which %s.", resting(k), refs(on...), how)
	if b := c.BeliefOf(k); b != nil {
		if more := relying(b); len(more) > 0 {
			f.Entries = append(f.Entries, seqs(more...)...)
			f.Why += fmt.Sprintf(" %s %s on it.", refs(more...), number(len(more), "rests", "rest"))
		}
	}
	f.Clears = fmt.Sprintf("Repeat %s while the concern is there; or, after a repair, try the concern %s.", number(len(on), "it", "them"), conditions(c))
	return f
}

// restsOn are the tests and readings that a decision names. A belief that says it
// was measured and names nothing rests on what has passed by then on its component.
func restsOn(k *cases.Step, about *cases.Component) []*cases.Step {
	var out []*cases.Step
	for _, s := range k.Because {
		if measured(s) {
			out = append(out, s)
		}
	}
	b := k.Says.GetBelief()
	if len(k.Because) == 0 && about != nil && b.GetBasis() == eventv1.Basis_BASIS_MEASURED && b.GetClaim().GetOutcome() == pass {
		life := lifeAt(about, k)
		for _, e := range about.Evidence {
			if e.Life == life && e.Step.Job < k.Job && e.Outcome == pass && measured(e.Step) {
				out = append(out, e.Step)
			}
		}
	}
	return out
}

// testedAgain holds the things that were tested while the concern was there: they
// passed, or failed alone.
func testedAgain(p *places, absent map[*cases.Step]bool) map[suspect.Part]bool {
	out := map[suspect.Part]bool{}
	for _, e := range p.Evidence {
		if !measured(e.Step) || absent[e.Step] {
			continue
		}
		if v := verdict(e); v == pass || v == fail && e.Alone {
			out[p.of(e)] = true
		}
	}
	return out
}

// evidenceBy maps each test and reading to what it is evidence of.
func evidenceBy(c *cases.Case) map[*cases.Step][]*cases.Evidence {
	out := map[*cases.Step][]*cases.Evidence{}
	for _, e := range c.Evidence {
		out[e.Step] = append(out[e.Step], e)
	}
	return out
}

// bearing is the evidence that bears on what a decision is about; all of it where
// none does, or where it is about nothing by name.
func bearing(all []*cases.Evidence, about *cases.Component) []*cases.Evidence {
	for i, e := range all {
		if e.Component == about {
			return all[i : i+1]
		}
	}
	return all
}

// subject is the component that a belief, or what settled it, is about; nil for
// other steps.
func subject(c *cases.Case, s *cases.Step) *cases.Component {
	if k := s.Says.GetBeliefSettled(); k != nil {
		s = c.ByID(k.GetBelief())
	}
	if b := c.BeliefOf(s); b != nil {
		return b.About
	}
	return nil
}
