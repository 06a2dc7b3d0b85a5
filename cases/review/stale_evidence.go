package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// What failed before a repair is the proof of what was found, and a hand-back may
// rest on it for good. It is stale only where it is used once more: to condemn, or
// to exchange, what has come in since.
func staleEvidence() Rule {
	return Rule{
		Slug:     "stale-evidence",
		Doctrine: "What was proven of the old part says nothing of the new one, and what was proven of contacts ends when they are unplugged.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			p, by := c.places, evidenceBy(c.Case)
			across := readAcross(c.Judged, by)
			handled := map[*cases.Component][]*cases.Step{}
			var out []Finding
			for _, k := range c.Jobs() {
				if !decides(k) || undone(c.Case, k) || speaksOfOld(k) {
					continue
				}
				var stale []overtaken
				fresh := map[*cases.Component]bool{}
				for _, s := range k.Because {
					for _, e := range bearing(by[s], subject(c.Case, k)) {
						if !measured(e.Step) || !uses(c.Case, k, e) {
							continue
						}
						if o := p.overtaken(k, e, handled); o.by != nil && !testedAfter(across[e.Component], o.by) {
							stale = append(stale, o)
						} else {
							fresh[e.Component] = true
						}
					}
				}
				stale = slices.DeleteFunc(stale, func(o overtaken) bool { return fresh[o.Component] })
				if len(stale) > 0 {
					out = append(out, rested(k, stale))
				}
			}
			return out
		},
	}
}

// overtaken is evidence of something that was changed between it and a decision.
type overtaken struct {
	*cases.Evidence
	by *cases.Step
	// how it was changed: 'it was repaired'.
	how string
}

// uses reports whether the decision uses the evidence of what is there at the
// time: a pass to clear it, a failure to condemn or exchange it.
func uses(c *cases.Case, k *cases.Step, e *cases.Evidence) bool {
	v, same := verdict(e), false
	switch d := k.Says.GetKind().(type) {
	case *eventv1.Event_Belief:
		claim := d.Belief.GetClaim()
		if v == fail {
			return claim.GetOutcome() == fail && c.Component(claim.GetComponent()) == e.Component
		}
		return v == pass && claim.GetOutcome() != fail
	case *eventv1.Event_BeliefSettled:
		b := c.BeliefOf(c.ByID(d.BeliefSettled.GetBelief()))
		return v == pass && b != nil && b.Holds == yes && b.Says.GetClaim().GetOutcome() != fail
	case *eventv1.Event_PartFitted:
		same = c.Component(d.PartFitted.GetComponent()) == e.Component
		return v == fail && same || v == pass && !same
	}
	return v == pass
}

// overtaken says what, if anything, overtook the evidence before the decision,
// with no test since of what came then.
func (p *places) overtaken(k *cases.Step, e *cases.Evidence, handled map[*cases.Component][]*cases.Step) overtaken {
	o := overtaken{Evidence: e}
	comp, life := e.Component, lifeAt(e.Component, k)
	same := p.of(e) == p.in(comp, life)
	switch v := verdict(e); {
	case life > e.Life && (!same || v == pass && p.inPlace(e)):
		l := comp.Lives[life]
		switch o.by, o.how = l.From, "it was "+l.Why; {
		case l.Why == "fitted":
			o.how = "another was fitted"
			if l.From.Says.GetPartFitted().GetState() == eventv1.PartState_PART_STATE_ORIGINAL {
				o.how = "the original was fitted again"
			}
		case l.From.Says.GetPartFitted() != nil: // into which it was borrowed
			o.how = l.Why
		}
	case life == e.Life && v == pass && isContact(comp.Key):
		if _, met := handled[comp]; !met {
			handled[comp] = slices.DeleteFunc(slices.Clone(comp.Steps), func(s *cases.Step) bool { return !unplugs(s) })
		}
		for _, s := range slices.Backward(handled[comp]) {
			if s.Job < k.Job {
				o.by, o.how = s, "it was unplugged"
				break
			}
		}
	}
	if o.by != nil && testedAfter(comp.Evidence, o.by) {
		o.by = nil
	}
	return o
}

// testedAfter reports whether some of the evidence of one component was had after
// the step.
func testedAfter(all []*cases.Evidence, after *cases.Step) bool {
	for _, e := range slices.Backward(all) {
		if e.Step.Job < after.Job {
			break
		}
		if e.Outcome == pass || e.Outcome == fail {
			return true
		}
	}
	return false
}

// unplugs reports whether the contacts of what it speaks of were parted or made
// again with it.
func unplugs(s *cases.Step) bool {
	switch s.Says.GetTemporaryOn().GetTemporary() {
	case eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, eventv1.TemporaryKind_TEMPORARY_KIND_FUSE_OUT:
		return true
	}
	return s.Says.GetTemporaryOff() != nil || s.Says.GetPartPutBack().GetReseatedOnly()
}

// isContact goes by the name.
func isContact(key string) bool {
	return slices.ContainsFunc(words(key), func(w string) bool {
		switch w {
		case "contact", "contacts", "plug", "connector", "socket", "pin", "pins", "terminal", "terminals":
			return true
		}
		return false
	})
}

// speaksOfOld reports whether a belief says by its words that it means what came
// out.
func speaksOfOld(k *cases.Step) bool {
	text := notation.Key(k.Says.GetBelief().GetStatement())
	return slices.ContainsFunc([]string{"old", "original", "first", "previous", "former", "came out", "taken out"}, func(w string) bool { return mentionsKey(text, w) })
}

func rested(k *cases.Step, stale []overtaken) Finding {
	f := Finding{Entries: seqs(k)}
	var why []string
	for _, o := range stale {
		f.Entries = append(f.Entries, o.Step.Seq, o.by.Seq)
		if !slices.Contains(f.About, o.Component.Name) {
			f.About = append(f.About, o.Component.Name)
		}
		why = append(why, fmt.Sprintf("%s, which speaks of %s from before %s (%s)", refs(o.Step), the(o.Component.Name), o.how, refs(o.by)))
	}
	var names []string
	for _, name := range f.About {
		names = append(names, the(name))
	}
	f.Why = fmt.Sprintf("%s %s; no test of it since is recorded.", resting(k), list(why))
	if len(names) > 1 {
		f.Why = fmt.Sprintf("%s %s; no test of them since is recorded.", resting(k), list(why))
	}
	f.Clears = fmt.Sprintf("Repeat the test on %s as it is now.", list(names))
	if len(names) > 1 {
		f.Clears = fmt.Sprintf("Repeat the tests on %s as they are now.", list(names))
	}
	return f
}
