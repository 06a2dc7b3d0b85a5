package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Only a claim of a component can be held against the evidence, and only against
// tests of that component alone, of the very thing the belief is about, and against
// readings on a circuit that is drawn. What was found not to be so stays a finding
// while something that stands was done on the strength of it. A drawing is a belief,
// too: see contradictedDrawings.
func beliefContradicted() Rule {
	return Rule{
		Slug:     "belief-contradicted",
		Doctrine: "A belief lasts until a reading disagrees with it.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			out := contradictedDrawings(c.witnesses)
			if len(c.Beliefs) == 0 {
				return out
			}
			p, w := c.places, c.witnesses
			tests, bought := testsAlone(p), boughtOn(c.Case)
			for _, b := range c.Beliefs {
				comp := c.Component(b.Says.GetClaim().GetComponent())
				on := slices.DeleteFunc(relying(b), func(s *cases.Step) bool { return undone(c.Case, s) })
				if b.Holds == no && len(on) == 0 {
					on = sameGround(b, comp, bought)
				}
				if comp == nil || b.Holds == no && len(on) == 0 {
					continue
				}
				then := p.in(comp, lifeAt(comp, b.Step))
				claim := b.Says.GetClaim()
				if there := p.now(comp) == then; there && w != nil {
					if against, how := w.against(then, claim); len(against) > 0 {
						out = append(out, contradicted(b, comp, on, against, how))
						continue
					}
				}
				switch there := p.now(comp) == then; {
				case claim.GetOutcome() == pass && there:
					if against := disagreeing(tests[then].failed, func(e *cases.Evidence) bool { return denies(claim.GetMode(), e) }); len(against) > 0 {
						out = append(out, contradicted(b, comp, on, against, did("failed on it alone")))
					}
				case claim.GetOutcome() == fail && there:
					if against := disagreeing(tests[then].passed, func(e *cases.Evidence) bool { return !c.absent[e.Step] && clears(claim.GetMode(), e) }); len(against) > 0 {
						out = append(out, contradicted(b, comp, on, against, did("passed on it alone")))
					}
				case claim.GetOutcome() == fail && len(tests[then].failed) == 0:
					// Nothing but the belief spoke against what came out.
					with := disagreeing(tests[p.now(comp)].passed, func(e *cases.Evidence) bool {
						return e.Step.Job > b.Step.Job && presence(e.Step) == eventv1.Presence_PRESENCE_PRESENT && clears(claim.GetMode(), e)
					})
					if len(with) > 0 {
						out = append(out, contradicted(b, comp, on, with, did("passed alone on what is there now, with the concern still there")))
					}
				}
			}
			return out
		},
	}
}

// alone are the tests that cover one thing, wholly, and nothing else.
type alone struct{ passed, failed []*cases.Evidence }

func testsAlone(p *places) map[suspect.Part]alone {
	out := map[suspect.Part]alone{}
	for _, e := range p.Evidence {
		if !e.Alone {
			continue
		}
		a := out[p.of(e)]
		switch verdict(e) {
		case pass:
			a.passed = append(a.passed, e)
		case fail:
			a.failed = append(a.failed, e)
		}
		out[p.of(e)] = a
	}
	return out
}

// enough tests to name; more say the same.
const enough = 5

func disagreeing(tests []*cases.Evidence, disagrees func(*cases.Evidence) bool) []*cases.Step {
	var out []*cases.Step
	for _, e := range tests {
		if len(out) < enough && disagrees(e) {
			out = append(out, e.Step)
		}
	}
	return out
}

// denies reports whether a failing test says that the component is not good in the
// mode; unspecified: in any.
func denies(mode eventv1.FaultMode, e *cases.Evidence) bool {
	named := e.Covered.GetModes()
	switch {
	case mode == eventv1.FaultMode_FAULT_MODE_UNSPECIFIED:
		return true
	case len(named) > 0:
		return len(named) == 1 && named[0] == mode
	}
	return dropped(e.Step) && mode == eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE
}

// clears reports whether a passing test says that the component is not bad in the
// mode; unspecified: that it works.
func clears(mode eventv1.FaultMode, e *cases.Evidence) bool {
	can := canShow(e)
	if mode == eventv1.FaultMode_FAULT_MODE_UNSPECIFIED {
		return can == nil || slices.Contains(can, eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE) && dropped(e.Step) && drew(e.Step)
	}
	return can == nil || slices.Contains(can, mode)
}

// did says what so many tests did.
func did(what string) func(int) string {
	return func(n int) string { return number(n, "it ", "they ") + what }
}

func contradicted(b *cases.Belief, comp *cases.Component, on, against []*cases.Step, how func(n int) string) Finding {
	f := Finding{
		Entries: seqs(append(slices.Concat(on, against), b.Step, b.Settled)...), About: []string{comp.Name},
		Why:    fmt.Sprintf("%s %s with %q (%s), a belief about %s: %s.", refs(against...), number(len(against), "disagrees", "disagree"), b.Says.GetStatement(), refs(b.Step), the(comp.Name), how(len(against))),
		Clears: "Settle the belief by what was measured; or, if that was measured at the wrong place or with a bad meter, withdraw it.",
	}
	if len(b.Behind) > 0 && !slices.ContainsFunc(b.Behind, func(s *cases.Step) bool { return !continuity(s) }) && b.Says.GetClaim().GetOutcome() == pass {
		f.Entries = append(f.Entries, seqs(b.Behind...)...)
		f.Why += fmt.Sprintf(" It rests on %s, and ohms or a buzzer show an open, not that it carries its load.", refs(b.Behind...))
	}
	switch {
	case b.Holds == no:
		still := fmt.Sprintf("%s still %s on it", refs(on...), number(len(on), "rests", "rest"))
		if !slices.Contains(b.ReliedOn, on[0]) {
			still = fmt.Sprintf("%s %s made because of the same reading and %s", refs(on...), number(len(on), "was", "were"), number(len(on), "stands", "stand"))
		}
		f.Why += fmt.Sprintf(" It was found not to be so (%s), and %s.", refs(b.Settled), still)
		f.Clears = "Look again at what rests on it: put it back, or say what else it rests on."
	case b.Settled != nil:
		f.Why += fmt.Sprintf(" %s settles it as true all the same.", refs(b.Settled))
		fallthrough
	default:
		if len(on) > 0 {
			f.Why += fmt.Sprintf(" %s %s on it.", refs(on...), number(len(on), "rests", "rest"))
		}
	}
	return f
}
