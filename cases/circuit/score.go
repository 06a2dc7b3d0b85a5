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
	return o.Outside(o.key(h))
}

// Outside implements suspect.Drawn.
func (o *Observation) Outside(key [3]int, inOrder bool) float64 {
	if o.Told || wildShare(key) > 0 {
		return 0
	}
	b := o.beyond(key, inOrder)
	if o.Absent > 0 && b > 0 {
		b = min(b, o.beyond([3]int{}, false)) // it may not have been there
	}
	return b
}

// Peak implements suspect.Drawn: what is foretold to the point is uncertain by what is
// dropped on the way, and what is foretold a little beside it may be less so.
func (o *Observation) Peak() float64 {
	if o.peak == 0 {
		const steps = 20
		best := 0.0
		for k := range 2*steps + 1 {
			v := o.Shown.at(0.5) + o.Sigma*float64(k-steps)/5
			best = math.Max(best, normal(o.off(Exactly(v)), math.Hypot(o.Sigma, o.slack(v)), o.width()))
		}
		o.peak = o.robust(best)
	}
	return o.peak
}

// asked is what the bounds were asked about.
type asked struct {
	key     [3]int
	inOrder bool
}

func (o *Observation) beyond(key [3]int, inOrder bool) float64 {
	if !inOrder {
		key = sorted(key)
	}
	b, ok := o.memo[asked{key, inOrder}]
	if !ok {
		if !o.shows(key, inOrder) {
			b = o.nearest(o.doneOf(key, inOrder)) / o.Sigma
		}
		o.memo[asked{key, inOrder}] = b
	}
	return b
}

// shows reports whether what was shown is what draws already worked out show, or lies
// between: that is some of what can be.
func (o *Observation) shows(key [3]int, inOrder bool) bool {
	ways := [][3]int{{key[2], key[1]}, {key[1], key[2]}}
	if inOrder {
		ways = [][3]int{key}
	}
	if o.Quantity != Volts || o.Through.Hi > 0 || o.idle != nil || !inOrder && key[0] >= firstEffect {
		return false
	}
	var all Span
	met, steady := false, o.steady(key, 0) && o.steady(key, 1)
	for _, k := range ways {
		t := o.take(k)
		for corner := range 4 {
			at := [2]uint8{uint8(corner&1) * suspect.Fine, uint8(corner>>1) * suspect.Fine}
			if c, ok := o.met(t, at); ok {
				v := Exactly(c.seen[1])
				if o.off(v) <= 2*o.Sigma {
					return true
				}
				if met {
					v = v.with(all)
				}
				all, met = v, true
			}
		}
	}
	return met && steady && o.off(all) <= 2*o.Sigma
}

// sorted: for bounds two faults are the same in either order where nobody knows it.
func sorted(k [3]int) [3]int {
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
	switch {
	case o.Quantity == Ohms:
		a, b = logOhms(a), logOhms(b)
	case o.Unsigned:
		b = magnitude(b)
	}
	switch {
	case a.Lo > b.Hi:
		return a.Lo - b.Hi
	case b.Lo > a.Hi:
		return b.Lo - a.Hi
	}
	return 0
}

// Misses reports whether what was shown lies farther off what it could be than a meter is.
func (o *Observation) Misses(s Span) bool { return o.off(s) >= farOut*o.Sigma }

// Unsaid are the elements of which nobody said whether they were open or closed.
func (o *Observation) Unsaid() (out []int) {
	for k, p := range o.setup.Position {
		if p == Either {
			out = append(out, k)
		}
	}
	return out
}

// logOhms: resistances are told apart by their order; what a pair of leads has
// hides what is less.
func logOhms(s Span) Span {
	const leads = 0.3
	return Span{math.Log10(math.Max(s.Lo, 0) + leads), math.Log10(math.Min(math.Max(s.Hi, 0), 1e12) + leads)}
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

// How often something that nobody has named has to do with a reading on what is
// drawn, and how often one where the drawing is wrong has to do with what is wrong in
// it. Assumed.
const (
	takesPart = 0.03
	drawnBad  = 0.35
)

// unnamed is the log likelihood under a hypothesis that holds something not named,
// which mostly leaves what is drawn as it is, or a drawing that is wrong, which does
// not; rest is that of the others alone.
func (o *Observation) unnamed(share, rest float64) float64 {
	return math.Log(share*math.Exp(o.wild()) + (1-share)*math.Exp(rest))
}

// mixed allows for the fault not having been there.
func (o *Observation) mixed(with, without float64) float64 {
	return math.Log((1-o.Absent)*math.Exp(with) + o.Absent*math.Exp(without))
}

// Across is the part that the reading had a lead at either end of.
func (o *Observation) Across() (suspect.Part, bool) {
	if len(o.Red) != 1 || len(o.Black) != 1 || o.Told {
		return suspect.Part{}, false
	}
	red, black, found := o.Red[0], o.Black[0], -1
	for k := range o.circuit.Elements {
		if e := &o.circuit.Elements[k]; e.From == red && e.To == black || e.From == black && e.To == red {
			if found >= 0 {
				return suspect.Part{}, false // side by side with another
			}
			found = k
		}
	}
	if found < 0 {
		return suspect.Part{}, false
	}
	return o.parts[found], true
}

// Chances is how likely a reading is to lie below each of the ends, and above the
// last, under the hypothesis: probabilities that add up to 1.
func (o *Observation) Chances(h suspect.Hypothesis, ends []float64) []float64 {
	key, _ := o.key(h)
	return o.chancesOf(key, ends)
}

// mostly is the one of two faults beside which the other is next to nothing to the reading.
func (o *Observation) mostly(key [3]int) (alone [3]int, is bool) {
	if key[2] != noEffect || key[0] < firstEffect || key[1] < firstEffect {
		return key, false
	}
	for n, k := range key[:2] {
		if o.within([3]int{k}, suspect.Everywhere).Slight && o.Beside([3]int{key[1-n], k}) {
			return [3]int{key[1-n]}, true
		}
	}
	return key, false
}

func (o *Observation) chancesOf(key [3]int, ends []float64) []float64 {
	out, ok := o.chances[key]
	if ok {
		return out
	}
	if k, is := o.mostly(key); is {
		out = o.chancesOf(k, ends)
		o.chances[key] = out
		return out
	}
	share := wildShare(key)
	of := levels
	if len(o.doneOf(key, false)) > 1 {
		of = fewLevels
	}
	grid := o.grid(key, of)
	out = make([]float64, len(ends)+1)
	for _, c := range grid {
		for _, v := range c.all() {
			sigma := math.Hypot(math.Hypot(o.Sigma, o.slack(v)), c.worn)
			if o.Quantity == Ohms {
				v = logOhms(Exactly(v)).Lo
			}
			below := 0.0
			for k, end := range ends {
				if o.Quantity == Ohms {
					end = logOhms(Exactly(end)).Lo
				}
				p := math.Erfc(-(end-v)/(sigma*math.Sqrt2)) / 2
				out[k] += (p - below) / float64(len(c.all())*len(grid))
				below = p
			}
			out[len(ends)] += (1 - below) / float64(len(c.all())*len(grid))
		}
	}
	for k := range out {
		out[k] = (1-outlier)*((1-share)*out[k]+share/float64(len(out))) + outlier/float64(len(out))
	}
	o.chances[key] = out
	return out
}
