package cases

import (
	"slices"
	"strconv"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// swings fills in a frequency or a duty: that the voltage between the leads goes up and
// down with what drives it, or does not. False: it is neither, or nothing drawn makes it.
func (a *asker) swings(d *Drawn, r *eventv1.Reading, x float64, v *circuit.Reading, out *Read) bool {
	q := r.GetValue()
	duty := notation.IsDuty(q.GetUnit(), r.GetQuantity())
	driven := slices.ContainsFunc(d.Circuit.Elements, func(e circuit.Element) bool { return e.Kind == circuit.Output })
	switch {
	case !driven || !duty && !strings.HasSuffix(q.GetUnit(), "Hz") || q.GetSense() > eventv1.Sense_SENSE_EXACTLY:
		return false
	case duty && (x <= 0 || x >= 1):
		return false // always on or always off: which of the two is a matter of how the meter counts
	case a.talks(r.GetRed()) || a.talks(r.GetAt()):
		return false // a bus says nothing of what is drawn, and a module's 5 V has no pulses to count
	}
	v.Quantity, v.Lead, v.Sigma = circuit.Swing, circuit.Exactly(circuit.MeterOhms), 0.03
	v.Duty = circuit.Span{Lo: 0, Hi: 1}
	v.Shown = circuit.Span{Lo: circuit.Counts.Lo, Hi: 1.3 * d.System}
	if x == 0 {
		v.Shown = circuit.Span{Lo: 0, Hi: circuit.Counts.Hi}
		if !a.pulsing(d, r) {
			v.Told, out.Doubt = true, "a driver that is on all the time shows no frequency either, and nobody said that it was pulsing"
		}
	}
	if r.GetInstrument().GetKind() == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL {
		v.Told, out.Doubt = true, "a module's word, nobody's leads"
	}
	return true
}

// talks reports whether a point is known to be of a bus, or of a module's 5 V.
func (a *asker) talks(name string) bool {
	p := a.Point(name)
	if name == "" || p == nil {
		return false
	}
	n := p.Seen.GetNet()
	return n == eventv1.NetKind_NET_KIND_BUS || n == eventv1.NetKind_NET_KIND_REFERENCE_5V
}

// pulseWords say that something is driven in pulses.
var pulseWords = []string{"pulses", "pulsed", "pwm", "pulse", "pulsing"}

// saidDuty is a duty that somebody said with a reading, of how much of the time it is driven.
func saidDuty(r *eventv1.Reading) (share float64, ok bool) {
	for _, w := range [][]string{strings.Fields(r.GetConditions().GetSaid()), strings.Fields(r.GetSaid())} {
		for i, x := range w {
			text, is := strings.CutSuffix(x, "%")
			if !is && i+1 < len(w) && w[i+1] == "%" {
				is = true
			}
			if p, err := strconv.ParseFloat(text, 64); is && err == nil && p > 0 && p <= 100 {
				return p / 100, true
			}
		}
	}
	return 0, false
}

// alike reports whether two readings were taken with the same asked for.
func alike(r, o *eventv1.Reading) bool {
	x, y := r.GetConditions(), o.GetConditions()
	return x.GetKey() == y.GetKey() && x.GetCommanded() == y.GetCommanded()
}

// pulsed lists the readings that found pulses on the circuit: a frequency, or a duty
// between never and always; one each to what they were.
func (a *asker) pulsed(d *Drawn, yield func(o *eventv1.Reading, duty float64)) {
	for _, s := range a.Readings {
		o := s.Says.GetReading()
		x, ok := si(o.GetValue())
		duty := notation.IsDuty(o.GetValue().GetUnit(), o.GetQuantity())
		switch {
		case !ok || !a.horizon.sees(s) || len(a.Place(d, o.GetRed()+o.GetAt())) == 0:
		case duty && x > 0 && x < 1:
			yield(o, x)
		case !duty && x > 0 && strings.HasSuffix(o.GetValue().GetUnit(), "Hz"):
			yield(o, 0)
		}
	}
}

// pulsing reports whether somebody said, with the reading or by another under the same
// conditions, that what drives the circuit was pulsing.
func (a *asker) pulsing(d *Drawn, r *eventv1.Reading) bool {
	if share, ok := saidDuty(r); ok && share < 1 || hasWord(r.GetConditions().GetSaid()+" "+r.GetSaid(), pulseWords...) {
		return true
	}
	found := false
	a.pulsed(d, func(o *eventv1.Reading, _ float64) { found = found || alike(r, o) })
	return found
}

// duty is the share of the time for which the circuit was fed, where somebody said it
// with the reading or read it under the same conditions: at the same point, or at any of
// a circuit that one output drives. What was read at a point may be the share for which it
// is high or the one for which it is low, unless somebody said that it is driven, or pulled
// to ground, for so long.
func (a *asker) duty(d *Drawn, r *eventv1.Reading) circuit.Span {
	const slack = 0.05
	about := func(p float64) circuit.Span { return circuit.Span{Lo: max(p-slack, 0), Hi: min(p+slack, 1)} }
	if share, ok := saidDuty(r); ok {
		return about(share)
	}
	if hasWord(r.GetConditions().GetSaid()+" "+r.GetSaid(), pulseWords...) {
		return circuit.Span{Lo: 0.01, Hi: 1}
	}
	outputs := 0
	for _, e := range d.Circuit.Elements {
		if e.Kind == circuit.Output {
			outputs++
		}
	}
	var out circuit.Span
	known, pulses := false, false
	a.pulsed(d, func(o *eventv1.Reading, duty float64) {
		here := a.pointKey(o.GetRed()+o.GetAt()) == a.pointKey(r.GetRed()+r.GetAt())
		pulses = pulses || here
		if duty == 0 || !alike(r, o) || !here && outputs != 1 {
			pulses = pulses || outputs == 1 && alike(r, o)
			return
		}
		all := []float64{duty}
		if !hasWord(o.GetSaid(), "ground", "driven") {
			all = append(all, 1-duty)
		}
		for _, p := range all {
			if s := about(p); known {
				out = circuit.Span{Lo: min(out.Lo, s.Lo), Hi: max(out.Hi, s.Hi)}
			} else {
				out, known = s, true
			}
		}
	})
	switch {
	case known:
		return out
	case pulses:
		return circuit.Span{Lo: 0.001, Hi: 1} // it pulses, nobody said how wide
	}
	return circuit.Exactly(1)
}
