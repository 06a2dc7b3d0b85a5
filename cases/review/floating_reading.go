package review

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Neither the feed nor zero: with a drawing, more than a black lead is off and less
// than the circuit would show if it were whole; without one, from 2 to 60 % of the
// supply. Whoever concludes that the wire is open has it right. Quiet also once it
// was read with something on the wire and nothing stands that rests on it.
func floatingReading() Rule {
	return Rule{
		Slug:     "floating-reading",
		Doctrine: "A meter on a wire with nothing on it may read a ghost: neither the feed nor zero, and no supply.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			f, rests := c.currents, c.rests
			pulses, loaded := map[string]bool{}, map[string]bool{}
			for _, s := range c.Readings {
				r := s.Says.GetReading()
				switch r.GetValue().GetUnit() {
				case "%", "Hz", "kHz":
					pulses[f.spot(r.GetRed()+r.GetAt())] = true
				case "V":
					if flowed, _ := f.at(s); flowed == working || flowed == little {
						loaded[f.spots(s)] = true
					}
				}
			}
			var out []Finding
			for _, s := range c.Readings {
				if !f.floats(s) || pulses[f.spot(s.Says.GetReading().GetRed())] {
					continue
				}
				on := slices.DeleteFunc(standing(c.Case, rests[s]), func(k *cases.Step) bool { return saysOpen(k) })
				if len(on) == 0 && (outcome(s) != pass && !saysWeak(s) || loaded[f.spots(s)]) {
					continue
				}
				_, how := f.at(s)
				out = append(out, Finding{
					Entries: seqs(append(slices.Clone(on), s, f.parting(s))...), About: whereRead(f, s),
					Why:    fmt.Sprintf("%s reads %s at %s with nothing on the wire: %s. That is neither the feed nor zero, and may be what the wire picks up.%s", refs(s), notation.Format(s.Says.GetReading().GetValue()), whereWords(f, s), how, restWords(on)),
					Clears: "Read it again with the load plugged in, or with a lamp on it where that is safe; a wire that is open reads near nothing then, and a feed with resistance in it reads low.",
				})
			}
			return out
		},
	}
}

// floats reports whether a meter's reading is a voltage neither feed nor zero on a
// wire with nothing on it.
func (f *currents) floats(s *cases.Step) bool {
	r := s.Says.GetReading()
	switch r.GetInstrument().GetKind() {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_UNSPECIFIED, eventv1.InstrumentKind_INSTRUMENT_KIND_METER:
	default:
		return false
	}
	v, is := volts(s)
	v = max(v, -v)
	if flowed, _ := f.at(s); !is || flowed != undrawn || pulsed(s) || f.carriesNoPower(s) || f.namedSignal(s) {
		return false
	}
	supply := supplyOf(f.Case, s)
	if on := f.reads[s]; on != nil && !on.Told {
		const offset = 0.1 // twice what a black lead may be off, in volts
		return v > offset && v < 0.8*supply && on.Beyond(nil) >= sure
	}
	return v >= 0.02*supply && v <= 0.6*supply
}

// sure is by how many standard deviations a reading must be off to disagree.
const sure = 3

// pulsed reports whether the record says in words that what was read is switched on
// and off.
func pulsed(s *cases.Step) bool {
	r := s.Says.GetReading()
	text := notation.Key(r.GetConditions().GetSaid() + " " + r.GetSaid() + " " + r.GetQuantity())
	return strings.Contains(text, "%") || slices.ContainsFunc(words(text), func(w string) bool {
		switch w {
		case "pulse", "pulses", "pulsed", "pulsing", "pwm", "duty":
			return true
		}
		return false
	})
}

// namedSignal reports whether the point goes by a name of what carries no supply.
func (f *currents) namedSignal(s *cases.Step) bool {
	return slices.ContainsFunc(words(f.point(s.Says.GetReading().GetRed())), func(w string) bool {
		switch w {
		case "can", "lin", "bus", "signal", "sensor", "sender", "reference", "5v", "bias", "data":
			return true
		}
		return false
	})
}

// saysOpen reports whether a belief holds that something is broken through, which
// is what a ghost says.
func saysOpen(k *cases.Step) bool {
	b := k.Says.GetBelief()
	if b == nil {
		return false
	}
	return b.GetClaim().GetMode() == eventv1.FaultMode_FAULT_MODE_OPEN && b.GetClaim().GetOutcome() == fail ||
		b.GetClaim().GetMode() == eventv1.FaultMode_FAULT_MODE_UNSPECIFIED && b.GetClaim().GetOutcome() != pass && mentions(b.GetStatement(), "open")
}

// saysWeak reports whether a failing reading is called a weak supply.
func saysWeak(s *cases.Step) bool {
	r := s.Says.GetReading()
	text := notation.Key(r.GetSaid() + " " + r.GetShown())
	return outcome(s) == fail && (mentionsKey(text, "weak") || mentionsKey(text, "low"))
}
