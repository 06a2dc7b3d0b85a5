package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// levels is how many values an unknown resistance takes in the draws, fewLevels in
// a first look at two of them.
const (
	levels    = 16
	fewLevels = 5
)

// Draws is how many draws of the unknown parameters judgements use: each value of
// the one fault's resistance with each of the other's. FewDraws are those of a first
// look, OneDraws those of one fault.
const (
	Draws    = levels * levels
	FewDraws = fewLevels * fewLevels
	OneDraws = levels
)

// LogLik implements suspect.Evidence.
func (o *Observation) LogLik(h suspect.Hypothesis, draw int) float64 {
	return o.LogLiks(h, Draws)[draw]
}

// LogLiks implements suspect.Drawn: LogLik of Draws, of FewDraws or of OneDraws draws.
func (o *Observation) LogLiks(h suspect.Hypothesis, n int) []float64 {
	key, isWild := o.key(h)
	at := drawKey{key, n}
	out, ok := o.draws[at]
	if ok {
		return out
	}
	out = o.likely(onlyNamed(key), n)
	if isWild { // the others keep their places, and with them their parameters
		rest := out
		out = make([]float64, n)
		for d := range out {
			out[d] = o.unnamed(h, func(suspect.Hypothesis) float64 { return rest[d] })
		}
	}
	o.draws[at] = out
	return out
}

// onlyNamed is the key without what is not named and what is not as drawn.
func onlyNamed(key [3]int) [3]int {
	for i, k := range key {
		if k < firstEffect {
			key[i] = noEffect
		}
	}
	return key
}

// likely is how likely the reading is in each of n draws with the faults in their
// places.
func (o *Observation) likely(key [3]int, n int) []float64 {
	at := drawKey{key, n}
	if out, ok := o.draws[at]; ok {
		return out
	}
	out := make([]float64, n)
	o.draws[at] = out
	o.fill(out, o.inPlace(key))
	if o.Absent > 0 && key != ([3]int{}) {
		without := o.likely([3]int{}, n)
		for d := range out {
			out[d] = o.mixed(key, out[d], without[d])
		}
	}
	return out
}

// placed is a fault with the parameter that is its own: the first's or the second's.
type placed struct {
	done
	axis int
}

// inPlace are the faults of a key, each with its parameter.
func (o *Observation) inPlace(key [3]int) []placed {
	var out []placed
	for i, k := range key {
		if k >= firstEffect {
			out = append(out, placed{o.effects[k-firstEffect], min(i, 1)})
		}
	}
	return out
}

// varies reports whether what the fault does is unknown by decades.
func (d done) varies() bool {
	return d.ohms.Lo > 0 && d.ohms.Hi > 30*d.ohms.Lo && !math.IsInf(d.ohms.Hi, 1)
}

// level is one of the values of an unknown resistance. Half of the lower three
// decades and the rest: what is bad is mostly not very bad (assumed).
func level(s Span, i, of int) float64 {
	decades := math.Log10(s.Hi / s.Lo)
	if decades <= 4 {
		return s.at((float64(i) + 0.5) / float64(of))
	}
	low := of * 10 / levels
	if i < low {
		return s.Lo * math.Pow(10, 3*(float64(i)+0.5)/float64(low))
	}
	return s.Lo * math.Pow(10, 3+(decades-3)*(float64(i-low)+0.5)/float64(of-low))
}

// cell is what would be shown at one value of each unknown resistance: once, or,
// where it floats, with its leaks one way, as they may be, and the other way.
type cell struct {
	seen []float64
	// floats: what is seen differs by leaks, and is mostly next to nothing.
	floats bool
}

// fill works out the draws. What lies between one value of a resistance and the
// next is as likely as either, so a cell is as wide as its neighbours are apart.
func (o *Observation) fill(out []float64, faults []placed) {
	of := levels
	if len(out) == FewDraws {
		of = fewLevels
	}
	rows, cols := spreads(faults, of)
	grid := o.grid(faults, of)
	middle := func(i, j int) float64 { s := grid[i*cols+j].seen; return s[len(s)/2] }
	apart := func(a, b float64) float64 {
		if o.Quantity == Ohms {
			a, b = logOhms(Exactly(a)).Lo, logOhms(Exactly(b)).Lo
		}
		return (a - b) / 4
	}
	l := make([]float64, rows*cols)
	for i := range rows {
		for j := range cols {
			wide := 0.0
			if rows > 1 {
				wide = apart(middle(min(i+1, rows-1), j), middle(max(i-1, 0), j))
			}
			if cols > 1 {
				wide = math.Hypot(wide, apart(middle(i, min(j+1, cols-1)), middle(i, max(j-1, 0))))
			}
			l[i*cols+j] = o.like(grid[i*cols+j], math.Abs(wide))
		}
	}
	for d := range out {
		row, col := d/of, d%of
		if len(out) == OneDraws {
			row, col = d, 0
		}
		out[d] = l[min(row, rows-1)*cols+min(col, cols-1)]
	}
}

// like is the log likelihood of what was shown in a cell.
func (o *Observation) like(c cell, wide float64) float64 {
	v := c.seen[len(c.seen)/2]
	sigma := math.Hypot(math.Hypot(o.Sigma, wide), o.slack(v))
	d := normal(o.off(Exactly(v)), sigma, o.width())
	if len(c.seen) > 1 {
		// It floats: near nothing as a rule, else anywhere the leaks may leave it.
		lo, hi := math.Min(c.seen[0], c.seen[2]), math.Max(c.seen[0], c.seen[2])
		if !c.floats {
			sum := 0.0
			for _, v := range c.seen {
				sum += normal(o.off(Exactly(v)), math.Hypot(math.Hypot(o.Sigma, wide), o.slack(v)), o.width())
			}
			d = sum / float64(len(c.seen))
		}
		between := Span{lo, hi}
		flat := normal(o.off(between), o.Sigma, o.width())
		if o.width() <= 0 {
			flat = math.Min(flat, 1) * math.Min(flat*o.Sigma*math.Sqrt(2*math.Pi), 1) / math.Max(hi-lo, 3*o.Sigma)
		}
		if c.floats {
			d = normal(o.off(Exactly(lo)), math.Hypot(o.Sigma, wide), o.width())
		}
		d = 0.5*d + 0.5*flat
	}
	return o.robust(d)
}

// slack is how far what is shown may be off what is foretold because loads, wires
// and contacts are as they are and the supply is what it is: a tenth of what is
// dropped. Assumed.
func (o *Observation) slack(v float64) float64 {
	switch o.Quantity {
	case Ohms:
		return 0.05 // of a decade
	case Amps:
		return 0.06 * math.Abs(v)
	case Shine:
		return 0.05
	}
	full := math.Max((o.setup.Posts.Lo+o.setup.Posts.Hi)/2, 1e-6) // and with no battery
	posts := (o.setup.Posts.Hi - o.setup.Posts.Lo) / 4 * math.Abs(v) / full
	return math.Hypot(0.1*math.Min(math.Abs(v), math.Abs(full-math.Abs(v))), posts)
}

// floats is the resistance from which leaks count.
const floats = 1e5

// spreads is over how many values each of the two parameters is spread.
func spreads(faults []placed, of int) (rows, cols int) {
	n := [2]int{1, 1}
	for _, f := range faults {
		if f.varies() {
			n[f.axis] = of
		}
	}
	return n[0], n[1]
}

// grid is what would be shown at each value of the unknown resistances.
func (o *Observation) grid(faults []placed, of int) []cell {
	rows, cols := spreads(faults, of)
	out := make([]cell, 0, rows*cols)
	for i := range rows {
		for j := range cols {
			at := [2]int{i, j}
			loose := o.model.loose
			for _, f := range faults {
				loose = loose || f.does == series && (!f.varies() || level(f.ohms, at[f.axis], of) > floats) || f.does == toMinus
			}
			c := cell{seen: []float64{o.point(faults, at, of, 0.5, 0.5)}}
			if o.model.unknown {
				lo, hi := o.point(faults, at, of, 0.5, 0.15), o.point(faults, at, of, 0.5, 0.85)
				if math.Abs(hi-lo) > o.Sigma/2 {
					c.seen = []float64{lo, c.seen[0], hi}
				}
			}
			if loose && o.Quantity != Ohms && len(c.seen) == 1 {
				lo, hi := o.point(faults, at, of, 0, 0.5), o.point(faults, at, of, 1, 0.5)
				if math.Abs(hi-lo) > o.Sigma/2 {
					c.seen, c.floats = []float64{lo, c.seen[0], hi}, true
				}
			}
			out = append(out, c)
		}
	}
	return out
}

// point is what would be shown with the unknown resistances at their levels, and
// the leaks a share of the way from all to ground to all to the supply; loads of
// which nobody knows what they draw a share of the way from much to little.
func (o *Observation) point(faults []placed, at [2]int, of int, leaks, loads float64) float64 {
	choose := func(what unknown, s Span) Span {
		switch what {
		case ofFault, ofFault + 1, ofFault + 2:
			k := int(what - ofFault)
			if k < len(faults) && faults[k].varies() {
				return Exactly(level(s, at[faults[k].axis], of))
			}
		case ofLeakPlus:
			return Exactly(s.at(1 - leaks))
		case ofLeakMinus:
			return Exactly(s.at(leaks))
		}
		return Exactly(s.at(0.5))
	}
	x := assumed{faults: only(faults), before: true, choose: choose, little: loads}
	best := math.NaN()
	for _, s := range o.spans(x) {
		// Of several places the one that fits best: somebody had the lead on one of them.
		if v := s.Lo; math.IsNaN(best) || o.off(Exactly(v)) < o.off(Exactly(best)) {
			best = v
		}
	}
	return best
}

func only(faults []placed) []done {
	out := make([]done, len(faults))
	for k, f := range faults {
		out[k] = f.done
	}
	return out
}

// Foretold is what a reading is likely to show under the hypothesis, with what is
// not known as it usually is. Expect bounds what it can be at all.
func (o *Observation) Foretold(h suspect.Hypothesis) Span {
	key, _ := o.key(h)
	first := true
	var out Span
	for _, g := range o.grid(o.inPlace(key), levels) {
		for _, v := range g.seen {
			if first {
				out, first = Exactly(v), false
			}
			out = out.with(Exactly(v))
		}
	}
	slack := o.slack((out.Lo+out.Hi)/2) / 2
	if o.Quantity == Ohms {
		return Span{out.Lo * 0.9, out.Hi * 1.1}
	}
	return Span{out.Lo - slack, out.Hi + slack}
}
