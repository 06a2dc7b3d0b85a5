package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A load that was asked to work and is plugged in is taken to draw, unless the
// concern was there, nobody read a current that day, and something was done or
// concluded on the strength of the drop: then it may have stood still. Quiet once
// the same was read with current, or nobody calls it good.
func dropWithoutCurrent() Rule {
	return Rule{
		Slug:     "drop-without-current",
		Doctrine: "Nothing drops where nothing flows: a drop means something together with its current.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			f, rests := c.currents, c.rests
			clamped := map[visit]bool{}
			for _, s := range c.Readings {
				r := s.Says.GetReading()
				if a, ok := siOf(r.GetValue()); ok && r.GetValue().GetUnit() == "A" && max(a, -a) > none && r.GetConditions().GetCommanded() != eventv1.Command_COMMAND_OFF {
					clamped[visitOf(c.Case, s)] = true
				}
			}
			var found []*cases.Step
			how, on, good := map[*cases.Step]string{}, map[*cases.Step][]*cases.Step{}, map[string]bool{}
			for _, s := range c.Jobs() {
				if !measured(s) || !dropped(s) || outcome(s) == fail {
					continue
				}
				rest := clearing(c.Case, rests[s])
				if outcome(s) != pass && len(rest) == 0 {
					continue
				}
				if how[s] = f.currentless(s, len(rest) > 0 && !clamped[visitOf(c.Case, s)]); how[s] == "" {
					good[f.acrossWhat(s)] = true
					continue
				}
				found, on[s] = append(found, s), rest
			}
			var out []Finding
			for _, s := range found {
				if good[f.acrossWhat(s)] {
					continue
				}
				out = append(out, Finding{
					Entries: seqs(append(slices.Clone(on[s]), s, f.parting(s))...), About: whereRead(f, s),
					Why:    fmt.Sprintf("%s calls the drop over %s good, and %s.%s", refs(s), whereWords(f, s), how[s], restWords(on[s])),
					Clears: "Read it again with the load working and the current read at the same time.",
				})
			}
			return out
		},
	}
}

// currentless says what is missing of the current that a drop goes with; empty when
// nothing is. In doubt, a load that was asked to work may have stood still.
func (f *currents) currentless(s *cases.Step, doubt bool) string {
	con := conditionsOf(s)
	switch flowed, how := f.at(s); {
	case flowed == undrawn, flowed == little:
		return how
	case flowed != working && con.GetCommanded() == eventv1.Command_COMMAND_OFF:
		return "the load was not asked to work"
	case flowed == unsaid && !drew(s) && len(con.GetUnplugged()) > 0:
		return "no current is recorded, and " + unpluggedWords(con)
	case flowed == unsaid && !drew(s):
		return "the record says neither the current nor that the load was on"
	}
	if doubt && con.GetCurrent() == nil && len(con.GetLoaded()) == 0 && con.GetKey() != eventv1.KeyPosition_KEY_POSITION_CRANKING && presence(s) == eventv1.Presence_PRESENCE_PRESENT {
		return "nobody read a current while the concern was there, so the load may have stood still"
	}
	return ""
}

// acrossWhat tells drops over one thing from others.
func (f *currents) acrossWhat(s *cases.Step) string {
	if spots := f.spots(s); spots != "|" {
		return spots
	}
	out := ""
	for _, name := range coveredNames(s) {
		out += "|" + f.Key(name)
	}
	return out
}
