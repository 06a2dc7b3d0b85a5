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
		return o.unnamed(h, func(rest suspect.Hypothesis) float64 { return o.Most(rest) })
	}
	return o.mixed(key, o.result(key).most, o.result([3]int{}).most)
}

func (o *Observation) result(key [3]int) result {
	key = ordered(key)
	r, ok := o.memo[key]
	if !ok {
		off := o.nearest(o.doneOf(key))
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
	drawnBad  = 0.3
)

// unnamed is the log likelihood under a hypothesis that holds something not named,
// which mostly leaves what is drawn as it is, or a drawing that is wrong, which does
// not. rest gives that of the others alone.
func (o *Observation) unnamed(h suspect.Hypothesis, rest func(suspect.Hypothesis) float64) float64 {
	var others suspect.Hypothesis
	share := takesPart
	for _, f := range h {
		switch f.Part {
		case suspect.NotAsDrawn:
			share = drawnBad
		case suspect.NotNamed:
		default:
			others = append(others, f)
		}
	}
	return math.Log(share*math.Exp(o.wild()) + (1-share)*math.Exp(rest(others)))
}

// mixed allows for the fault not having been there.
func (o *Observation) mixed(key [3]int, with, without float64) float64 {
	if o.Absent <= 0 || key == ([3]int{}) {
		return with
	}
	return math.Log((1-o.Absent)*math.Exp(with) + o.Absent*math.Exp(without))
}

// levels is how many values an unknown resistance takes in the draws, fewLevels in
// a first look at two of them.
const (
	levels    = 16
	fewLevels = 5
)

// Draws is how many draws of the unknown parameters judgements use: each value of
// the one fault's resistance with each of the other's. FewDraws are those of a first
// look.
const (
	Draws    = levels * levels
	FewDraws = fewLevels * fewLevels
)

// LogLik implements suspect.Evidence.
func (o *Observation) LogLik(h suspect.Hypothesis, draw int) float64 {
	return o.LogLiks(h, Draws)[draw]
}

// LogLiks implements suspect.Drawn: LogLik of Draws or of FewDraws draws.
func (o *Observation) LogLiks(h suspect.Hypothesis, n int) []float64 {
	key, isWild := o.key(h)
	at := drawKey{key, n}
	out, ok := o.draws[at]
	if ok {
		return out
	}
	out = make([]float64, n)
	o.draws[at] = out
	switch {
	case isWild:
		var others suspect.Hypothesis
		for _, f := range h {
			if f.Part != suspect.NotNamed && f.Part != suspect.NotAsDrawn {
				others = append(others, f)
			}
		}
		rest := o.LogLiks(others, n)
		for d := range out {
			out[d] = o.unnamed(h, func(suspect.Hypothesis) float64 { return rest[d] })
		}
	default:
		o.fill(out, o.doneOf(key))
		if o.Absent > 0 && key != ([3]int{}) {
			without := o.LogLiks(nil, n)
			for d := range out {
				out[d] = o.mixed(key, out[d], without[d])
			}
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
func (o *Observation) fill(out []float64, faults []done) {
	of := levels
	if len(out) < Draws {
		of = fewLevels
	}
	rows, cols := spread2(faults, of)
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
		out[d] = l[min(d/of, rows-1)*cols+min(d%of, cols-1)]
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

func spread2(faults []done, of int) (rows, cols int) {
	rows, cols = 1, 1
	if len(faults) > 0 && faults[0].varies() {
		rows = of
	}
	if len(faults) > 1 && faults[1].varies() {
		cols = of
	}
	return rows, cols
}

// grid is what would be shown at each value of the unknown resistances.
func (o *Observation) grid(faults []done, of int) []cell {
	rows, cols := spread2(faults, of)
	out := make([]cell, 0, rows*cols)
	for i := range rows {
		for j := range cols {
			at := [2]int{i, j}
			loose := o.model.loose
			for k, f := range faults {
				loose = loose || f.does == series && (!f.varies() || level(f.ohms, at[min(k, 1)], of) > floats) || f.does == toMinus
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
func (o *Observation) point(faults []done, at [2]int, of int, leaks, loads float64) float64 {
	choose := func(what share, s Span) Span {
		switch what {
		case ofFault, ofFault + 1, ofFault + 2:
			k := int(what - ofFault)
			if k < len(faults) && faults[k].varies() {
				return Exactly(level(s, at[min(k, 1)], of))
			}
		case ofLeakPlus:
			return Exactly(s.at(1 - leaks))
		case ofLeakMinus:
			return Exactly(s.at(leaks))
		}
		return Exactly(s.at(0.5))
	}
	x := assumed{faults: faults, before: true, choose: choose, usual: o.model.usually(loads)}
	x.loads, x.bulbs = o.model.loadsIn(x)
	best := math.NaN()
	for _, s := range o.spans(x) {
		// Of several places the one that fits best: somebody had the lead on one of them.
		if v := s.Lo; math.IsNaN(best) || o.off(Exactly(v)) < o.off(Exactly(best)) {
			best = v
		}
	}
	return best
}

// Foretold is what a reading is likely to show under the hypothesis, with what is
// not known as it usually is. Expect bounds what it can be at all.
func (o *Observation) Foretold(h suspect.Hypothesis) Span {
	key, _ := o.key(h)
	faults := o.doneOf(key)
	first := true
	var out Span
	for _, g := range o.grid(faults, levels) {
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
	out, ok := o.chances[key]
	if ok {
		return out
	}
	share := 0.0
	for _, f := range h {
		switch f.Part {
		case suspect.NotAsDrawn:
			share = drawnBad
		case suspect.NotNamed:
			share = max(share, takesPart)
		}
	}
	of := levels
	if len(o.doneOf(key)) > 1 {
		of = fewLevels
	}
	grid := o.grid(o.doneOf(key), of)
	out = make([]float64, len(ends)+1)
	for _, c := range grid {
		for _, v := range c.seen {
			sigma := math.Hypot(o.Sigma, o.slack(v))
			below := 0.0
			for k, end := range ends {
				p := math.Erfc(-(end-v)/(sigma*math.Sqrt2)) / 2
				out[k] += (p - below) / float64(len(c.seen)*len(grid))
				below = p
			}
			out[len(ends)] += (1 - below) / float64(len(c.seen)*len(grid))
		}
	}
	for k := range out {
		out[k] = (1-outlier)*((1-share)*out[k]+share/float64(len(out))) + outlier/float64(len(out))
	}
	o.chances[key] = out
	return out
}
