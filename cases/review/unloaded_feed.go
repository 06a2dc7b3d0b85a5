package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A feed or ground is cleared when a reading of nearly the whole supply, or a lamp
// that lit, passes or something is done on the strength of it; by a buzzer or ohms
// only when something is. Where nothing in the record says that nothing was drawn,
// it stays quiet, and so it does once the same point was read with the load on it
// and held.
func unloadedFeed() Rule {
	return Rule{
		Slug:     "unloaded-feed",
		Doctrine: "A voltage read with no load proves little: it must hold while the circuit works.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			f, rests := c.currents, c.rests
			var suspects []*cases.Step
			loaded := map[string][]*cases.Step{}
			for _, s := range c.Jobs() {
				if !measured(s) {
					continue
				}
				if _, is := volts(s); is {
					if spot := f.spots(s); conditionsOf(s).GetCommanded() != eventv1.Command_COMMAND_OFF {
						if flowed, _ := f.at(s); flowed == working {
							loaded[spot] = append(loaded[spot], s)
						}
					}
				}
				if (f.wholeFeed(s) || continuity(s)) && (outcome(s) == pass || outcome(s) == eventv1.Outcome_OUTCOME_UNSPECIFIED && len(rests[s]) > 0) {
					suspects = append(suspects, s)
				}
			}
			var out []Finding
			for _, s := range suspects {
				on := clearing(c.Case, rests[s])
				flowed, how := f.at(s)
				if continuity(s) {
					on = slices.DeleteFunc(on, func(k *cases.Step) bool {
						return k.Says.GetBelief().GetClaim().GetMode() == eventv1.FaultMode_FAULT_MODE_OPEN
					})
					if len(on) == 0 || outcome(s) != pass || !carries(s) {
						continue
					}
					flowed, how = undrawn, "ohms and buzzers send next to nothing through it"
				}
				if outcome(s) != pass && len(on) == 0 || flowed != undrawn && flowed != little {
					continue
				}
				again := loaded[f.spots(s)]
				held := slices.ContainsFunc(again, func(t *cases.Step) bool { return f.wholeFeed(t) && outcome(t) != fail })
				if held || len(again) > 0 && len(on) == 0 {
					continue
				}
				out = append(out, Finding{
					Entries: seqs(append(slices.Clone(on), s, f.parting(s))...), About: whereRead(f, s),
					Why:    fmt.Sprintf("%s clears %s with %s on it: %s.%s", refs(s), whereWords(f, s), howMuch(flowed), how, restWords(on)),
					Clears: "Read it again with the load plugged in and working, or with a lamp on it that draws as much; or read the drop along it with the current.",
				})
			}
			return out
		},
	}
}

func howMuch(c carried) string {
	if c == little {
		return "far less than its load"
	}
	return "nothing drawing"
}

// spots are the two places of a reading's leads.
func (f *currents) spots(s *cases.Step) string {
	r := s.Says.GetReading()
	return f.spot(r.GetRed()+r.GetAt()) + "|" + f.spot(r.GetBlack())
}

// wholeFeed reports whether a reading shows what the supply has, or a lamp lit, away
// from the posts themselves: of a circuit that was not off, and that is fed by the
// battery.
func (f *currents) wholeFeed(s *cases.Step) bool {
	r := s.Says.GetReading()
	red, black := f.point(r.GetRed()), f.point(r.GetBlack())
	if red == "batt+" && black == "batt-" || red == "" || conditionsOf(s).GetCommanded() == eventv1.Command_COMMAND_OFF || f.carriesNoPower(s) {
		return false
	}
	if on := f.reads[s]; on != nil && red != "batt+" && black != "batt-" && !f.isGround(s) {
		return false // over a part of it: no feed to a ground
	}
	if lit, _ := lampLit(s); lit {
		return true
	}
	v, is := volts(s)
	return is && v >= fullSupply*supplyOf(f.Case, s)
}

// carriesNoPower reports whether the point is of a bus, a five volt supply or the
// like, as drawn.
func (f *currents) carriesNoPower(s *cases.Step) bool {
	r := f.reads[s]
	if r != nil && r.Drawn.System < 9 {
		return true // a module's own supply
	}
	switch f.Net(s.Says.GetReading().GetRed(), r) {
	case eventv1.NetKind_NET_KIND_SIGNAL, eventv1.NetKind_NET_KIND_REFERENCE_5V, eventv1.NetKind_NET_KIND_BUS, eventv1.NetKind_NET_KIND_AIRBAG, eventv1.NetKind_NET_KIND_HIGH_VOLTAGE:
		return true
	}
	return false
}

// carries reports whether what a test covers is there to carry a load, and the test
// is meant to say more than that it is not broken through.
func carries(s *cases.Step) bool {
	return slices.ContainsFunc(covers(s), func(cov *eventv1.Covered) bool {
		if m := cov.GetModes(); len(m) == 1 && m[0] == eventv1.FaultMode_FAULT_MODE_OPEN {
			return false
		}
		return slices.ContainsFunc(words(cov.GetComponent()), func(w string) bool {
			switch w {
			case "feed", "ground", "earth", "supply", "power", "wire", "cable", "strap", "gnd":
				return true
			}
			return false
		})
	})
}
