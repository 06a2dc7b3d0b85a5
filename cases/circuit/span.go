package circuit

import "math"

// Span is a quantity that is not known better than to lie between Lo and Hi, both
// included; Hi may be infinite.
type Span struct{ Lo, Hi float64 }

// Exactly is a quantity that is known.
func Exactly(v float64) Span { return Span{v, v} }

// About is v give or take a share of it.
func About(v, share float64) Span { return Span{v * (1 - share), v * (1 + share)} }

// Times is the span with both ends multiplied; k is not negative.
func (s Span) Times(k float64) Span { return Span{s.Lo * k, s.Hi * k} }

// Plus is the sum of two independent quantities.
func (s Span) Plus(t Span) Span { return Span{s.Lo + t.Lo, s.Hi + t.Hi} }

// Holds reports whether v may be the quantity.
func (s Span) Holds(v float64) bool { return s.Lo <= v && v <= s.Hi }

// with is the smallest span that holds both.
func (s Span) with(t Span) Span { return Span{math.Min(s.Lo, t.Lo), math.Max(s.Hi, t.Hi)} }

// at is the point a share of the way from Lo to Hi, by ratio where both are
// positive and finite: resistances are known by their order.
func (s Span) at(share float64) float64 {
	if s.Lo > 0 && !math.IsInf(s.Hi, 1) {
		if ratio := s.Hi / s.Lo; !math.IsInf(ratio, 1) {
			return s.Lo * math.Pow(ratio, share)
		}
		return math.Pow(s.Lo, 1-share) * math.Pow(s.Hi, share)
	}
	if math.IsInf(s.Hi, 1) {
		return s.Lo * 1000
	}
	return s.Lo + share*(s.Hi-s.Lo)
}

// most conductance there is, in siemens: a nanoohm, so that no loop is of zero ohms.
const most = 1e9

// sane makes a resistance of what is none: what is turned round is turned back, what
// is negative is nothing, and what is no number may be anything.
func (s Span) sane() Span {
	if math.IsNaN(s.Lo) || math.IsNaN(s.Hi) {
		return Span{0, math.Inf(1)}
	}
	lo, hi := math.Max(math.Min(s.Lo, s.Hi), 0), math.Max(math.Max(s.Lo, s.Hi), 0)
	if hi > leastOpen {
		hi = math.Inf(1)
	}
	return Span{math.Min(lo, leastOpen), hi}
}

// leastOpen is as good as no connection at all, in ohms.
const leastOpen = 1e15

// conductance of a resistance in ohms.
func (s Span) conductance() Span {
	return Span{per(s.Hi), per(s.Lo)}
}

func per(ohms float64) float64 {
	switch {
	case ohms <= 1/most:
		return most
	case math.IsInf(ohms, 1):
		return 0
	}
	return 1 / ohms
}
