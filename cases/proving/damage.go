package proving

import (
	"math"

	"knowngood.example/cases/suspect"
)

// damage is a fault of an element as it truly is.
type damage struct {
	element int
	mode    suspect.Mode
	ohms    float64 // added, in the place of its own, or of the short
	along   float64 // where along the part a short is, from 0 to 1
	far     float64 // and where along the one that it is shorted to
}

// spoil draws what a fault of the element and mode truly is.
func (t *truth) spoil(d dice, k int, m suspect.Mode) damage {
	e := &t.Elements[k]
	x := damage{element: k, mode: m, along: d.Float64()}
	switch m.Kind() {
	case suspect.Open, suspect.NotCommanded, suspect.OutputDead:
		x.ohms = math.Inf(1)
		if d.yes(0.3) {
			x.ohms = d.decades(1e8, 1e10)
		}
	case suspect.HighResistance:
		least := t.LeastHigh(k)
		x.ohms = d.decades(least, 100*least)
		if d.yes(0.2) {
			x.ohms = d.decades(100*least, 1e6*least)
		}
		x.ohms = math.Min(x.ohms, 0.9e8)
	case suspect.ShortToGround, suspect.ShortToPower, suspect.ShortToNeighbour:
		x.ohms = d.decades(0.002, 0.08)
		if _, ok := m.Neighbour(); ok {
			x.far = d.Float64()
		}
	case suspect.Shorted:
		x.ohms = d.decades(0.002, math.Max(0.09*e.Ohms.Lo, 0.009))
	case suspect.DrawsTooMuch:
		x.ohms = t.built[k].ohms / d.in(1.6, 4)
	case suspect.Seized:
		x.ohms = t.built[k].ohms * d.in(0.17, 0.24)
	case suspect.WrongPart:
		x.ohms = t.built[k].ohms * d.decades(3, 20)
		if d.yes(0.5) {
			x.ohms = t.built[k].ohms / d.decades(3, 20)
		}
	}
	return x
}
