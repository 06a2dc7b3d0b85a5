package proving

import (
	"errors"
	"math"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

// nominal is the vehicle with every parameter where it usually is.
func (t *truth) nominal() *truth {
	out := *t
	out.ohms = make([]float64, len(t.Elements))
	out.stray = nil
	for k := range t.Elements {
		e, b := &t.Elements[k], &t.built[k]
		switch {
		case e.Kind == circuit.Wiring:
			out.ohms[k] = b.length * circuit.OhmsPerMetre(b.area, 20)
		case b.ohms > 0:
			out.ohms[k] = b.ohms
		case e.Kind != circuit.Diode:
			out.ohms[k] = math.Sqrt(e.Ohms.Lo * e.Ohms.Hi)
		}
	}
	// A meter at every point at once is next to nothing beside what conducts, and
	// brings what floats to zero.
	out.solve = func(c *plain.Circuit) ([]float64, error) {
		d := *c
		d.Elements = append([]plain.Element{}, c.Elements...)
		for k := 2; k < len(t.Points); k++ {
			d.Elements = append(d.Elements, plain.Element{A: k, B: minus, Value: circuit.MeterOhms})
		}
		return t.solve(&d)
	}
	return &out
}

// usual is what a fault mostly is.
func (t *truth) usual(k int, m suspect.Mode) damage {
	x := damage{element: k, mode: m, along: 0.5, ohms: math.Inf(1)}
	switch m.Kind() {
	case suspect.HighResistance:
		x.ohms = 10 * t.LeastHigh(k)
	case suspect.ShortToGround, suspect.ShortToPower, suspect.ShortToNeighbour:
		x.ohms = 0.01
	case suspect.Shorted:
		x.ohms = math.Max(0.03*t.Elements[k].Ohms.Lo, 0.005)
	case suspect.DrawsTooMuch:
		x.ohms = t.built[k].ohms / 2.5
	case suspect.Seized:
		x.ohms = t.built[k].ohms / 5
	case suspect.WrongPart:
		x.ohms = t.built[k].ohms * 8
	}
	return x
}

// groups counts the components that the readings can tell apart: see the package's
// description.
func (p *player) groups() (int, error) {
	t := p.nominal()
	c := *p.scenario
	c.truth = t
	well, err := t.rest(&state{asked: p.asked, posts: t.posts}, 0, 0, 0)
	if err != nil {
		return 0, err
	}
	var signs [][]float64
	for k := range p.Elements {
		for _, m := range p.Modes(k) {
			d := []damage{t.usual(k, m.Mode)}
			if !c.concern(well, d, p.asked) {
				continue
			}
			s := state{damages: d, asked: p.asked, posts: t.posts}
			e, err := t.rest(&s, 0, 0, 0)
			if err != nil {
				return 0, err
			}
			var sign []float64
			for _, o := range p.options {
				r, ok := o.(*reading)
				switch {
				case !ok:
				case r.Manner == suspect.Amps:
					sign = append(sign, e.amps[r.over])
				case r.plug >= 0 || r.ohms():
					v, err := t.nominally(p, s, r)
					if err != nil && !errors.Is(err, errUnsettled) { // a relay that chatters shows no figure
						return 0, err
					}
					sign = append(sign, v)
				default:
					sign = append(sign, e.volts[r.red]-e.volts[r.black])
				}
			}
			met := false
			for _, s := range signs {
				met = met || alike(s, sign)
			}
			if !met {
				signs = append(signs, sign)
			}
			break // the likeliest mode that brings the concern stands for the component
		}
	}
	return max(len(signs), 1), nil
}

// nominally is what a reading shows with something unplugged or the fuses out: volts, or
// decades of ohms.
func (t *truth) nominally(p *player, s state, r *reading) (float64, error) {
	s.out = r.Manner == suspect.Ohms || r.apart.Dead
	if r.plug >= 0 {
		plugged, err := t.rest(&s, 0, 0, 0)
		if err != nil {
			return 0, err
		}
		for k, is := range plugged.blown {
			if is {
				s.blown = append(s.blown, k)
			}
		}
		s.off = p.plugs[r.plug]
	}
	if r.Manner == suspect.TestLamp {
		_, lit := circuit.TestLamp(t.System)
		s.lamp = &lamp{r.red, r.apart.Lamp, lit}
	}
	if r.ohms() {
		s.probe = &probe{r.red, r.black}
	}
	e, err := t.rest(&s, 0, 0, 0)
	if err != nil {
		return 0, err
	}
	v := e.volts[r.red] - e.volts[r.black]
	if !r.ohms() {
		return v, nil
	}
	return math.Log10(math.Min(math.Max(v, 0)*ohmOhms/math.Max(ohmVolts-v, 1e-9), ohmsMost) + leadsMost), nil
}

// alike reports whether no reading differs by more than a meter is accurate to.
func alike(a, b []float64) bool {
	for k := range a {
		if math.Abs(a[k]-b[k]) > 0.03+0.005*math.Max(math.Abs(a[k]), math.Abs(b[k])) {
			return false
		}
	}
	return true
}
