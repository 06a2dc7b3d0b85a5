package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A surprise is a reading that is not what it should be; it decides when
// something was done or concluded because of it. Lamps, scan tools and eyes are
// not meant. One meter on one day is said once.
func meterUnproven() Rule {
	return Rule{
		Slug:     "meter-unproven",
		Doctrine: "Check the meter on a known source before you believe a surprise.",
		Severity: Look,
		check: func(c *sheet) []Finding {
			bought := map[*cases.Step][]*cases.Step{}
			for _, f := range c.Fittings {
				for _, e := range f.Failing {
					bought[e.Step] = append(bought[e.Step], f.Step)
				}
			}
			type visit struct {
				meter string
				day   int64
			}
			var order []visit
			surprises, on := map[visit][]*cases.Step{}, map[visit][]*cases.Step{}
			for _, s := range c.Readings {
				r := s.Says.GetReading()
				if r.GetOutcome() != fail || len(c.rests[s])+len(bought[s]) == 0 || !metered(r) || triedOn(c.Case, s, false) != nil {
					continue
				}
				v := visit{meter: notation.Key(r.GetInstrument().GetName())}
				v.day, _ = day(s)
				if surprises[v] == nil {
					order = append(order, v)
				}
				surprises[v] = append(surprises[v], s)
				for _, k := range slices.Concat(c.rests[s], bought[s]) {
					if !slices.Contains(on[v], k) {
						on[v] = append(on[v], k)
					}
				}
			}
			var out []Finding
			for _, v := range order {
				slices.SortFunc(on[v], func(a, b *cases.Step) int { return a.Job - b.Job })
				out = append(out, unproven(c.Case, surprises[v], on[v]))
			}
			return out
		},
	}
}

func unproven(c *cases.Case, readings, on []*cases.Step) Finding {
	f := Finding{Entries: seqs(append(slices.Clone(readings), on...)...)}
	for _, s := range readings {
		for _, name := range coveredNames(s) {
			if !slices.Contains(f.About, name) {
				f.About = append(f.About, name)
			}
		}
	}
	f.Why = fmt.Sprintf("%s decided %s, and no check of the meter on a known source is recorded for that day.", refs(readings...), refs(on...))
	f.Clears = "Try the meter on the battery posts or short its leads, then repeat the reading."
	if off := triedOn(c, readings[0], true); off != nil {
		f.Entries = append(f.Entries, off.Seq)
		f.Why = fmt.Sprintf("%s decided %s, and the meter was off when it was tried that day (%s).", refs(readings...), refs(on...), refs(off))
		f.Clears = "Repeat the reading with another meter, tried on a known source first."
	}
	return f
}

// metered reports whether the reading came off something that can be wrong by
// itself.
func metered(r *eventv1.Reading) bool {
	switch r.GetInstrument().GetKind() {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_METER, eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP,
		eventv1.InstrumentKind_INSTRUMENT_KIND_OSCILLOSCOPE, eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE,
		eventv1.InstrumentKind_INSTRUMENT_KIND_BATTERY_TESTER:
		return true
	case eventv1.InstrumentKind_INSTRUMENT_KIND_UNSPECIFIED:
		return r.GetValue() != nil && (r.GetRed() != "" || r.GetBlack() != "")
	}
	return false
}

// triedOn returns a check of the reading's instrument on the day of the reading:
// one that failed, or one that did not. A check or reading that does not say
// which meter, or which day, is taken to fit.
func triedOn(c *cases.Case, s *cases.Step, failed bool) *cases.Step {
	used := notation.Key(s.Says.GetReading().GetInstrument().GetName())
	for _, m := range c.MeterChecks {
		check := m.Says.GetMeterChecked()
		name := notation.Key(check.GetInstrument().GetName())
		if (check.GetOutcome() == fail) != failed || name != "" && used != "" && name != used {
			continue
		}
		a, aKnown := day(m)
		b, bKnown := day(s)
		if !aKnown || !bKnown || a == b {
			return m
		}
	}
	return nil
}

// day is the local day on which the step was done, counted from 1970-01-01.
func day(s *cases.Step) (int64, bool) {
	m := s.Happened()
	if m == nil || m.GetPrecision() == eventv1.Precision_PRECISION_UNKNOWN {
		return 0, false
	}
	return dayOf(m), true
}

func dayOf(m *eventv1.Moment) int64 {
	local := m.GetUnixSeconds() + 60*int64(m.GetOffsetMinutes())
	d := local / 86400
	if local%86400 < 0 {
		d--
	}
	return d
}
