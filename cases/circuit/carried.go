package circuit

import "math"

// isLow is the resistance, in ohms, up to which a drop is foretold by the current
// that was read and not by all that is in the way of it.
const isLow = 0.5

// carried is what the current that was read drops over so many ohms, of which a clamp
// told how much it was but not which way it went: in a loop that may be either, unless
// the voltage can only be of one sign. Where no more is wanted than whether what was shown
// can be, the one nearer to it counts.
func (o *Observation) carried(v, ohms Span, wanted bool) Span {
	const nothing = 1e-6 // volts, of what leaks
	out := times(o.Through, ohms)
	switch {
	case v.Lo >= -nothing:
		return out
	case v.Hi <= nothing:
		return turned(out)
	}
	switch {
	case out.Lo <= 0 || !wanted:
		return out.with(turned(out))
	case o.off(turned(out)) < o.off(out):
		return turned(out)
	}
	return out
}

// both is what two bounds allow together. Where they allow nothing it is the one
// that what was shown lies farther from.
func (o *Observation) both(a, b Span) Span {
	if a.Lo <= b.Hi && b.Lo <= a.Hi {
		return Span{math.Max(a.Lo, b.Lo), math.Min(a.Hi, b.Hi)}
	}
	if o.off(a) > o.off(b) {
		return a
	}
	return b
}

// least is how many volts, whichever way round, there were at least; none where they came and
// went.
func (o *Observation) least() float64 {
	if o.idle != nil {
		return 0
	}
	return math.Max(0, magnitude(o.Shown).Lo-farOut*o.Sigma)
}
