package review

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Each reading is held against the one before it at the same points and in the same
// conditions, and only where nothing was done to the vehicle in between. A supply
// that was read both times is allowed for, and one that was not, generously.
func readingsDisagree() Rule {
	return Rule{
		Slug:     "readings-disagree",
		Doctrine: "The same points under the same conditions read the same; if they do not, something changed or one reading is wrong.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			f := c.currents
			_, comes := howOften(c.Case, c.began)
			changes := make([]int, len(c.Jobs())+1) // how many up to a job
			for i, s := range c.Jobs() {
				changes[i+1] = changes[i]
				if changesSomething(s) {
					changes[i+1]++
				}
			}
			last := map[string]*cases.Step{}
			var out []Finding
			for _, s := range c.Readings {
				key := f.sameAgain(s)
				if key == "" || comes && presence(s) == eventv1.Presence_PRESENCE_UNSPECIFIED {
					continue
				}
				before := last[key]
				last[key] = s
				if before == nil || changes[before.Job] != changes[s.Job] || f.hangs(s) && f.hangs(before) || f.agree(before, s) {
					continue
				}
				about := whereRead(f, s)
				out = append(out, Finding{
					Entries: seqs(before, s), About: about,
					Why: fmt.Sprintf("%s reads %s and %s reads %s: the same points, the same conditions, and more apart than the instrument and the supply explain.",
						refs(before), readWith(before), refs(s), readWith(s)),
					Clears: "Read it again at once, with a meter tried on a known source, and move the harness while you watch; or write down what was different.",
				})
			}
			return out
		},
	}
}

// readWith is the value read, with what it goes with.
func readWith(s *cases.Step) string {
	r := s.Says.GetReading()
	text := notation.Format(r.GetValue())
	if with := r.GetConditions().GetCurrent(); with != nil && dropped(s) {
		return text + " at " + notation.Format(with)
	}
	if with := r.GetConditions().GetSupply(); with != nil && !dropped(s) {
		return text + " on a supply of " + notation.Format(with)
	}
	return text
}

// changesSomething reports whether after the step the vehicle may not be what it
// was: exchanged, mended, plugged, bridged, taken apart.
func changesSomething(s *cases.Step) bool {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted, *eventv1.Event_PartRemoved, *eventv1.Event_PartPutBack, *eventv1.Event_Repair, *eventv1.Event_TemporaryOn,
		*eventv1.Event_TemporaryOff, *eventv1.Event_EvidenceDisturbed, *eventv1.Event_WorkedOn, *eventv1.Event_ConcernGoneAway, *eventv1.Event_ConcernActingUp:
		return true
	case *eventv1.Event_Test:
		switch k.Test.GetManner() {
		case eventv1.TestManner_TEST_MANNER_BYPASS, eventv1.TestManner_TEST_MANNER_SUBSTITUTION, eventv1.TestManner_TEST_MANNER_RESEAT, eventv1.TestManner_TEST_MANNER_BENCH:
			return true
		}
	}
	return false
}

// sameAgain names the points and conditions of a reading that a circuit foretells;
// empty for others, and where something was moved meanwhile.
func (f *currents) sameAgain(s *cases.Step) string {
	r := s.Says.GetReading()
	if r.GetValue() == nil {
		return ""
	}
	_, dim, err := notation.Value(r.GetValue())
	over := r.GetValue().GetSense() == eventv1.Sense_SENSE_OVER_RANGE
	switch {
	case err != nil && !over, dim != notation.Voltage && dim != notation.Current && dim != notation.Resistance,
		r.GetMeanwhile() != "", pulsed(s), f.spots(s) == "|":
		return ""
	case r.GetValue().GetSense() == eventv1.Sense_SENSE_UNDER, r.GetValue().GetSense() == eventv1.Sense_SENSE_OVER, r.GetValue().GetSense() == eventv1.Sense_SENSE_ABOUT:
		return ""
	}
	switch r.GetInstrument().GetKind() {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL, eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE, eventv1.InstrumentKind_INSTRUMENT_KIND_EYES_AND_HANDS:
		return ""
	}
	con := r.GetConditions()
	sorted := func(names []string) string {
		var keys []string
		for _, n := range names {
			keys = append(keys, f.spot(n))
		}
		slices.Sort(keys)
		return strings.Join(keys, ",")
	}
	return strings.Join([]string{
		f.spots(s), string(dim), r.GetValue().GetShape().String(), con.GetKey().String(), con.GetCommanded().String(), sorted(con.GetUnplugged()), sorted(con.GetJumped()),
		sorted(con.GetLoaded()), notation.Key(con.GetSaid()), presence(s).String(), r.GetInstrument().GetKind().String(),
	}, "|")
}

// hangs reports whether the reading may be a ghost.
func (f *currents) hangs(s *cases.Step) bool {
	v, is := volts(s)
	flowed, _ := f.at(s)
	return is && flowed == undrawn && math.Abs(v) < 0.6*supplyOf(f.Case, s)
}

// agree reports whether two readings of the same are as near as the instrument, the
// supply and the temperature leave them. Accuracies by common practice: a meter is
// true to half a percent and 0.05 V, a clamp to 4 % and 0.05 A, ohms to 2 % and 0.3.
func (f *currents) agree(a, b *cases.Step) bool {
	x, y := a.Says.GetReading(), b.Says.GetReading()
	overA, overB := x.GetValue().GetSense() == eventv1.Sense_SENSE_OVER_RANGE, y.GetValue().GetSense() == eventv1.Sense_SENSE_OVER_RANGE
	if overA || overB {
		v, ok := siOf(x.GetValue())
		if overA {
			v, ok = siOf(y.GetValue())
		}
		const anyRange = 1e6 // a meter may be out of its range from here on, in ohms
		return overA && overB || !ok || v >= anyRange
	}
	v, _ := siOf(x.GetValue())
	w, _ := siOf(y.GetValue())
	allowed := 0.0
	_, dim, _ := notation.Value(x.GetValue())
	switch dim {
	case notation.Current:
		allowed = 0.04*(math.Abs(v)+math.Abs(w)) + 2*0.05
	case notation.Resistance:
		allowed = 0.02*(math.Abs(v)+math.Abs(w)) + 2*0.3 + warmed(x, y)*math.Max(math.Abs(v), math.Abs(w))
	default:
		allowed = 0.005*(math.Abs(v)+math.Abs(w)) + 2*0.05
	}
	con, cond := x.GetConditions(), y.GetConditions()
	by, of := con.GetSupply(), cond.GetSupply()
	if dropped(a) {
		by, of = con.GetCurrent(), cond.GetCurrent() // a drop goes with its current
	}
	switch p, q, both := pair(by, of); {
	case dim == notation.Resistance:
	case both:
		w *= p / q
		if dropped(a) {
			allowed += 0.08*math.Abs(v) + 0.02
		}
	default:
		// What nobody read may have been a tenth of it higher or lower.
		allowed += 0.1 * math.Max(math.Abs(v), math.Abs(w))
	}
	return math.Abs(v-w) <= allowed
}

// pair are both quantities, where both were read.
func pair(a, b *eventv1.Quantity) (x, y float64, both bool) {
	x, okX := siOf(a)
	y, okY := siOf(b)
	return x, y, okX && okY && x > 0 && y > 0
}

// warmed is the share by which copper changes between the temperatures of two
// readings (0.393 % a kelvin), of which one must not know better.
func warmed(x, y *eventv1.Reading) float64 {
	a, okA := siOf(x.GetConditions().GetTemperature())
	b, okB := siOf(y.GetConditions().GetTemperature())
	if !okA || !okB {
		return 0
	}
	return 0.00393 * math.Abs(a-b)
}
