package circuit

import "math"

// Counts is from how much of a swing on, in volts, a meter counts pulses: from no less and
// no more than this. Assumed; meters differ, and some let one choose.
var Counts = Span{0.3, 5}

// swing is how far apart two voltages are: driven and not; for bounds, of shares of what lies
// over the posts, which is the same at both moments.
func (o *Observation) swing(on, off Span, shares bool) Span {
	out := Span{math.Max(math.Max(on.Lo-off.Hi, off.Lo-on.Hi), 0), math.Max(on.Hi-off.Lo, off.Hi-on.Lo)}
	if shares {
		return times(out, o.setup.Posts)
	}
	return out
}
