package circuit

import (
	"math"
	"slices"

	"knowngood.example/cases/suspect"
)

// levels is how many values an unknown resistance takes where what a reading is likely
// to show is foretold, fewLevels where two are unknown.
const (
	levels    = 16
	fewLevels = 5
)

// posed are faults, of each of which axis tells the parameter that is its own: the first's
// or the others'.
type posed struct {
	faults []done
	axis   [maxFaults]uint8
}

func (p *posed) add(d done, axis int) {
	p.axis[len(p.faults)] = uint8(axis)
	p.faults = append(p.faults, d)
}

// varies reports whether what the fault does is unknown by decades.
func (d done) varies() bool {
	return !d.vague && d.ohms.Lo > 0 && d.ohms.Hi > 30*d.ohms.Lo && !math.IsInf(d.ohms.Hi, 1)
}

// level is the unknown resistance that a share of all is below. Half of the lower three
// decades and the rest: what is bad is mostly not very bad (assumed).
func level(s Span, share float64) float64 {
	const lower, most = 3, 10. / 16
	decades := math.Log10(s.Hi / s.Lo)
	switch {
	case decades <= lower+1:
		return s.at(share)
	case share < most:
		return s.Lo * math.Pow(10, lower*share/most)
	}
	return s.Lo * math.Pow(10, lower+(decades-lower)*(share-most)/(1-most))
}

// cell is what would be shown at one value of each unknown resistance.
type cell struct {
	// seen is, in the middle, what is likeliest. Where it floats, or loads draw nobody knows
	// how much, it is wide: with leaks or loads one way before, the other way behind it.
	seen [3]float64
	wide bool
	// worn is how much less or more it would be with what conducts worn; of ohms, in
	// decades, with a short elsewhere along its stretch.
	worn float64
	// floats: what is seen differs by leaks, and is mostly next to nothing.
	floats bool
}

func (c *cell) all() []float64 {
	if c.wide {
		return c.seen[:]
	}
	return c.seen[1:2]
}

// like is the log likelihood of what was shown in a cell.
func (o *Observation) like(c cell, wide float64) float64 {
	v := c.seen[1]
	wide = math.Hypot(wide, c.worn)
	sigma := math.Hypot(math.Hypot(o.Sigma, wide), o.slack(v))
	d := normal(o.off(Exactly(v)), sigma, o.width())
	if c.wide {
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
			apart := hi - lo
			if o.Quantity == Ohms { // which are told apart by decades
				s := logOhms(between)
				apart = s.Hi - s.Lo
			}
			flat = math.Min(flat, 1) * math.Min(flat*o.Sigma*math.Sqrt(2*math.Pi), 1) / math.Max(apart, 3*math.Hypot(o.Sigma, o.slack((lo+hi)/2)))
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
	dropped, posts := o.dropped(v)
	return math.Hypot(0.1*dropped, posts/2)
}

// dropped is how much of the supply is dropped before or behind v, whichever is less, and
// how much more or less than v it may be because the supply is not known.
func (o *Observation) dropped(v float64) (volts, posts float64) {
	full := math.Max((o.setup.Posts.Lo+o.setup.Posts.Hi)/2, 1e-6) // and with no battery
	return math.Min(math.Abs(v), math.Abs(full-math.Abs(v))), (o.setup.Posts.Hi - o.setup.Posts.Lo) / 2 * math.Abs(v) / full
}

// spreads is over how many values each of the two parameters is spread.
func (p *posed) spreads(of int) (rows, cols int) {
	n := [2]int{1, 1}
	for i := range p.faults {
		if p.faults[i].varies() {
			n[p.axis[i]] = of
		}
	}
	return n[0], n[1]
}

// grid is what would be shown at each value of the unknown resistances. What is shown
// rises or falls all the way as a resistance grows, so that where it is next to the same
// at the corners of a block of values it is so within.
func (o *Observation) grid(key [3]int, of int) []cell {
	t := o.take(key)
	rows, cols := t.spreads(of)
	out, met := make([]cell, rows*cols), make([]bool, rows*cols)
	at := func(i, j int) *cell {
		n := i*cols + j
		if !met[n] {
			out[n], met[n] = o.spot(t, [2]uint8{middle(i, rows), middle(j, cols)}), true
		}
		return &out[n]
	}
	steady := o.steady(key, 0) && o.steady(key, 1)
	var fill func(top, left, bottom, right int)
	fill = func(top, left, bottom, right int) {
		first, a, b, c := at(top, left), at(top, right), at(bottom, left), at(bottom, right)
		if (steady || bottom-top < rows-1 || right-left < cols-1) && o.alike(first, a, roughly) && o.alike(first, b, roughly) && o.alike(first, c, roughly) {
			for i := top; i <= bottom; i++ {
				for j := left; j <= right; j++ {
					if n := i*cols + j; !met[n] {
						out[n], met[n] = *first, true
					}
				}
			}
			return
		}
		switch {
		case bottom-top > 1 && bottom-top >= right-left:
			middle := (top + bottom) / 2
			fill(top, left, middle, right)
			fill(middle, left, bottom, right)
		case right-left > 1:
			middle := (left + right) / 2
			fill(top, left, bottom, middle)
			fill(top, middle, bottom, right)
		}
	}
	fill(0, 0, rows-1, cols-1)
	return out
}

// middle is the middle, in Fine parts, of the i-th of some parts of all that a parameter
// may be; of one part alone it does not matter.
func middle(i, of int) uint8 {
	if of == 1 {
		return 0
	}
	return uint8((2*i + 1) * suspect.Fine / (2 * of))
}

// steady reports whether what is shown surely goes one way as the unknown resistance along
// an axis grows.
func (o *Observation) steady(key [3]int, axis int) bool {
	for i, k := range key {
		if k -= firstEffect; k >= 0 && min(i, 1) == axis && o.turning[k] {
			return false
		}
	}
	return true
}

// turns reports whether what is shown may turn round as the unknown resistance of a fault
// grows: that it blows other fuses when it is little than when it is much. What it blows at
// both ends it blows between.
func (m *model) turns(d done) bool {
	if !d.varies() || d.does != toMinus && d.does != instead {
		return false
	}
	in := m.c.allClosed()
	d = m.moved(d, in)
	out, met := in.turning[d]
	if !met {
		little, much := d, d
		little.ohms, much.ohms = Exactly(d.ohms.Lo), Exactly(d.ohms.Hi)
		out = len(in.overloads(little)) != len(in.overloads(much))
		in.turning[d] = out
	}
	return out
}

// How far apart two cells may be to be the same, by the meter's standard deviation: to
// what no meter tells, and where nothing more is asked than which figures come about how
// often.
const (
	exactly = 1. / 20
	roughly = 1. / 2
)

// alike reports whether two cells are the same but for so much.
func (o *Observation) alike(a, b *cell, but float64) bool {
	if a.wide != b.wide || a.floats != b.floats {
		return false
	}
	for k, v := range a.seen {
		w := b.seen[k]
		if o.Quantity == Ohms {
			v, w = logOhms(Exactly(v)).Lo, logOhms(Exactly(w)).Lo
		}
		if !(math.Abs(v-w) <= o.Sigma*but) {
			return false
		}
	}
	return math.Abs(a.worn-b.worn) <= max(o.Sigma/4, o.Sigma*but)
}

// spot is what would be shown with the unknown parameters known.
func (o *Observation) spot(t *taken, at [2]uint8) cell {
	alone := isAlone(t.key)
	if !alone { // what the survey keeps is not kept twice
		if c, ok := o.surveyed(t, at); ok {
			return c
		}
	}
	c, ok := o.met(t, at)
	if ok {
		return c
	}
	if alone {
		c, ok = o.surveyed(t, at)
	}
	if !ok {
		c = o.drawn(t, at)
	}
	if alone {
		t.spots = append(t.spots, spotted{at[0], c})
	} else {
		o.cells[spotOf(t.key, at)] = c
	}
	return c
}

// met is the spot if it was worked out already.
func (o *Observation) met(t *taken, at [2]uint8) (cell, bool) {
	if !isAlone(t.key) {
		if t.surveyed && o.survey.seen[spotOf(t.numbers, at)] != nil {
			if c, ok := o.surveyed(t, at); ok {
				return c, true
			}
		}
		c, ok := o.cells[spotOf(t.key, at)]
		return c, ok
	}
	for k := range t.spots {
		if t.spots[k].at == at[0] {
			return t.spots[k].cell, true
		}
	}
	return cell{}, false
}

// drawn is spot of a reading by itself.
func (o *Observation) drawn(t *taken, at [2]uint8) cell {
	v := o.point(&t.posed, at, 0.5, 0.5, false)
	c := cell{seen: [3]float64{v, v, v}}
	loose := o.model.stiff*o.setup.Posts.Hi/Leak.Lo > o.Sigma/4
	switch o.Quantity {
	case Volts:
		c.worn = o.worn(t, at, func() float64 { return o.point(&t.posed, at, 0.5, 0.5, true) }, v)
	case Ohms:
		c.worn = o.along(&t.posed, at, v)
	}
	if o.model.unknown {
		lo, hi := o.point(&t.posed, at, 0.5, 0.15, false), o.point(&t.posed, at, 0.5, 0.85, false)
		c.between(lo, hi, o.Sigma)
	}
	if loose && o.Quantity != Ohms && !c.wide {
		lo, hi := o.point(&t.posed, at, 0, 0.5, false), o.point(&t.posed, at, 1, 0.5, false)
		c.between(lo, hi, o.Sigma)
		c.floats = c.wide
	}
	return c
}

// between makes it wide where what lies on either side differs by what a meter tells.
func (c *cell) between(lo, hi, sigma float64) {
	if math.Abs(hi-lo) > sigma/2 {
		c.seen[0], c.seen[2], c.wide = lo, hi, true
	}
}

// along is how much it matters, in decades of ohms and one standard deviation, that a short
// may lie anywhere along its stretch. Volts there mostly go by the fuse that it blew.
func (o *Observation) along(p *posed, at [2]uint8, v float64) float64 {
	const far = 0.9 // of the stretch: four tenths on, and all of it is 0.29 about the middle
	most := 0.0
	for i, f := range p.faults {
		if f.does == toMinus || f.does == toPlus {
			moved := posed{slices.Clone(p.faults), p.axis}
			moved.faults[i].along = far
			w := o.point(&moved, at, 0.5, 0.5, false)
			most = math.Max(most, math.Abs(logOhms(Exactly(w)).Lo-logOhms(Exactly(v)).Lo)*0.29/(far-0.5))
		}
	}
	return most
}

// worn is how much less or more than v would be shown with what conducts worn.
func (o *Observation) worn(t *taken, at [2]uint8, shown func() float64, v float64) float64 {
	most := math.Inf(1)
	varies, less := false, len(t.faults) > 0
	for _, f := range t.faults {
		varies, less = varies || f.varies(), less && f.does == series
	}
	if varies || less {
		most = o.well().worn
	}
	if less && most < o.Sigma/4 {
		return 0 // less flows than with nothing wrong
	}
	if varies && len(t.faults) > 1 { // and no more than with one of them
		for axis, k := range t.key {
			if k >= firstEffect {
				most = math.Min(most, o.single(k, at[min(axis, 1)]).worn)
			}
		}
		return most
	}
	worn := math.Abs(shown() - v)
	if varies { // its size makes up for what more or less there is of the rest
		worn = math.Min(worn, most)
	}
	return worn
}

// single is what would be shown with one fault by itself, well with none.
func (o *Observation) single(class int, at uint8) cell {
	t := o.take([3]int{class})
	if rows, _ := t.spreads(2); rows == 1 {
		at = 0
	}
	return o.spot(t, [2]uint8{at})
}

func (o *Observation) well() cell { return o.spot(o.take([3]int{}), [2]uint8{}) }

// point is what would be shown with what is not known as it is chosen.
func (o *Observation) point(p *posed, at [2]uint8, leaks, loads float64, worn bool) float64 {
	x := assumed{posed: *p, before: true, at: at, leaks: leaks, little: loads, worn: worn, warm: worn || leaks != 0.5 || loads != 0.5}
	if len(o.Red) == 1 && len(o.Black) == 1 && o.idle == nil && o.Quantity != Amps {
		return o.at(o.model, x, o.model.node[o.Red[0]], o.model.node[o.Black[0]]).Lo
	}
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
	first := true
	var out Span
	for _, g := range o.grid(key, levels) {
		for _, v := range g.all() {
			if first {
				out, first = Exactly(v), false
			}
			out = out.with(Exactly(v))
		}
	}
	middle := (out.Lo + out.Hi) / 2
	slack := o.slack(middle) / 2
	switch o.Quantity {
	case Ohms:
		return Span{out.Lo * 0.9, out.Hi * 1.1}
	case Volts: // all that the supply may be
		dropped, posts := o.dropped(middle)
		slack = 0.05*dropped + posts
	}
	return Span{out.Lo - slack, out.Hi + slack}
}
