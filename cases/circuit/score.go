package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

const (
	// outlier is the share of readings that say nothing: the wrong pin, a slip of the
	// probe, a figure misheard. Assumed.
	outlier = 0.01
	// fixedFloor is the share of the wild explanation that is spread over all values;
	// the rest lies at nothing and at the supply. Assumed.
	spread = 0.4
)

// Beyond implements suspect.Evidence. What is not named and what is not as drawn
// can lead to anything.
func (o *Observation) Beyond(h suspect.Hypothesis) float64 {
	key, isWild := o.key(h)
	if isWild || o.Told {
		return 0
	}
	b := o.result(key).beyond
	if o.Absent > 0 && b > 0 {
		b = min(b, o.result([3]int{}).beyond) // it may not have been there
	}
	return b
}

// Most implements suspect.Drawn: what LogLik cannot exceed in any draw.
func (o *Observation) Most(h suspect.Hypothesis) float64 {
	key, isWild := o.key(h)
	if isWild {
		return o.wild()
	}
	return o.mixed(key, o.result(key).most, o.result([3]int{}).most)
}

func (o *Observation) result(key [3]int) result {
	key = ordered(key)
	r, ok := o.memo[key]
	if !ok {
		span := o.reach(o.doneOf(key))
		off := o.off(span)
		r = result{most: o.robust(normal(off, o.Sigma, o.width())), beyond: off / o.Sigma}
		o.memo[key] = r
	}
	return r
}

// ordered: for bounds two faults are the same in either order.
func ordered(k [3]int) [3]int {
	if k[0] > k[1] {
		k[0], k[1] = k[1], k[0]
	}
	if k[1] > k[2] {
		k[1], k[2] = k[2], k[1]
	}
	if k[0] > k[1] {
		k[0], k[1] = k[1], k[0]
	}
	return k
}

// off is how far what was shown lies outside what can be.
func (o *Observation) off(s Span) float64 {
	a, b := o.Shown, s
	if o.Quantity == Ohms {
		a, b = logOhms(a), logOhms(b)
	}
	switch {
	case a.Lo > b.Hi:
		return a.Lo - b.Hi
	case b.Lo > a.Hi:
		return b.Lo - a.Hi
	}
	return 0
}

// logOhms: resistances are told apart by their order; what a pair of leads has
// hides what is less.
func logOhms(s Span) Span {
	const leads = 0.3
	return Span{math.Log10(s.Lo + leads), math.Log10(math.Min(s.Hi, 1e12) + leads)}
}

// width is how wide what is shown is, where it is not exact: 'dim', 'OL'.
func (o *Observation) width() float64 {
	s := o.Shown
	if o.Quantity == Ohms {
		s = logOhms(s)
	}
	return s.Hi - s.Lo
}

// reachOf all that can be shown, for readings that say nothing.
func (o *Observation) all() float64 {
	switch o.Quantity {
	case Ohms:
		return 12
	case Shine:
		return 1.2
	case Amps:
		return math.Max(20, 2*o.Shown.Lo)
	}
	return 1.3 * o.circuit.System
}

// normal is the density of a reading that lies off the nearest that is possible by
// so much; of an inexact one, the probability over its width.
func normal(off, sigma, width float64) float64 {
	d := math.Exp(-off*off/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi))
	if width > 0 {
		return math.Min(d*math.Sqrt(2*math.Pi)*sigma, 1)
	}
	return d
}

func (o *Observation) robust(d float64) float64 {
	return math.Log((1-outlier)*d + outlier*o.flat())
}

// flat is the density of a reading that says nothing.
func (o *Observation) flat() float64 {
	w := o.width()
	if w <= 0 {
		w = 1
	}
	return math.Min(w/o.all(), 1)
}

// wild is how likely the reading is when the drawing is wrong or something nobody
// named takes part: anything, but often nothing at all, or the supply.
func (o *Observation) wild() float64 {
	d := spread * o.flat()
	if o.Quantity == Volts || o.Quantity == Shine {
		full := o.setup.Posts
		if o.Quantity == Shine {
			full = Span{1, 1}
		}
		sigma := math.Max(0.3*o.circuit.System/12, o.Sigma)
		if o.Quantity == Shine {
			sigma = math.Max(0.1, o.Sigma)
		}
		d += (1 - spread) / 2 * (normal(o.off(Span{}), sigma, o.width()) + normal(o.off(full), sigma, o.width()))
	} else {
		d += (1 - spread) * o.flat()
	}
	return math.Log(d)
}

// mixed allows for the fault not having been there.
func (o *Observation) mixed(key [3]int, with, without float64) float64 {
	if o.Absent <= 0 || key == ([3]int{}) {
		return with
	}
	return math.Log((1-o.Absent)*math.Exp(with) + o.Absent*math.Exp(without))
}

// LogLik implements suspect.Evidence.
func (o *Observation) LogLik(h suspect.Hypothesis, draw int) float64 {
	return o.LogLiks(h, draw+1)[draw]
}

// LogLiks implements suspect.Drawn: LogLik of the first n draws.
func (o *Observation) LogLiks(h suspect.Hypothesis, n int) []float64 {
	key, isWild := o.key(h)
	if isWild {
		key = [3]int{wild, wild, wild}
	}
	out, ok := o.draws[key]
	if ok && len(out) >= n {
		return out
	}
	n = max(n, Draws)
	out = make([]float64, n)
	for d := range out {
		switch {
		case isWild:
			out[d] = o.wild()
		case key == [3]int{}:
			out[d] = o.draw(nil, d)
		default:
			out[d] = o.mixed(key, o.draw(o.doneOf(key), d), o.LogLiks(nil, n)[d])
		}
	}
	o.draws[key] = out
	return out
}

// Draws is how many draws of the unknown parameters judgements use: two or three
// for each decade of a high resistance.
const Draws = 24

// draw is the log likelihood in one draw of the unknown parameters.
func (o *Observation) draw(faults []done, d int) float64 {
	at := func(fault share, shift float64) float64 {
		s := o.point(faults, d, fault, shift)
		return s
	}
	v := at(ofFault, 0)
	// What lies between this draw and the next is as likely as either.
	wide := 0.0
	for i := range faults {
		if lo, hi := at(ofFault+share(i), -0.5/Draws), at(ofFault+share(i), 0.5/Draws); true {
			wide += math.Abs(hi-lo) / 3
		}
	}
	off := o.off(Exactly(v))
	sigma := math.Hypot(o.Sigma, wide)
	if o.Quantity == Volts {
		sigma = math.Hypot(sigma, 0.01*v) // loads and contacts as they usually are
	}
	if o.Quantity == Ohms {
		sigma = math.Hypot(o.Sigma, math.Log10(1+wide/math.Max(v, 0.3)))
	}
	return o.robust(normal(off, sigma, o.width()))
}

// point is what would be shown in one draw, with one share shifted.
func (o *Observation) point(faults []done, d int, shifted share, by float64) float64 {
	choose := func(what share, s Span) Span {
		u := shareIn(what, d)
		if what == shifted {
			u = math.Min(math.Max(u+by, 0), 1)
		}
		return Exactly(s.at(u))
	}
	before := d%2 == 0
	s := o.span(assumed{faults: faults, before: before, choose: choose})
	return (s.Lo + s.Hi) / 2
}

// shareIn is where in its span a quantity lies in a draw. The first fault's is
// spread evenly; the others' go round it so that no two go together (additive
// recurrences; H. Weyl, 1916).
func shareIn(what share, d int) float64 {
	switch what {
	case ofFault:
		return (float64(d%Draws) + 0.5) / Draws
	case ofFault + 1:
		return (float64((7*d+3)%Draws) + 0.5) / Draws
	}
	_, u := math.Modf(0.5 + float64(d+1)*math.Sqrt(float64([]int{2, 3, 5, 7, 11, 13, 17, 19, 23}[int(what)%9])))
	switch what {
	case ofPosts, ofLow:
		return 0.3 + 0.4*u
	case ofLoad:
		return 0.75 + 0.25*u // lit, or turning
	}
	return u
}

// Foretold is what a reading is likely to show under the hypothesis, with what is
// not known as it usually is: the span over the draws. Expect bounds what it can be
// at all.
func (o *Observation) Foretold(h suspect.Hypothesis) Span {
	key, _ := o.key(h)
	faults := o.doneOf(key)
	out := Exactly(o.point(faults, 0, ofPosts, 0))
	for d := 1; d < Draws; d++ {
		out = out.with(Exactly(o.point(faults, d, ofPosts, 0)))
	}
	return out
}
