package suspect

import (
	"math"
	"slices"
)

// Fine is into how many stretches of like probability all that an unknown parameter
// may be is parted at most.
const Fine = 64

// Box is a block of the values of two unknown parameters, the first fault's and the
// others': of each those from From to To, in Fine parts.
type Box [2]struct{ From, To uint8 }

// Everywhere is all values.
var Everywhere = Box{{0, Fine}, {0, Fine}}

func (b Box) logShare() float64 {
	return math.Log(float64(b[0].To-b[0].From) * float64(b[1].To-b[1].From) / (Fine * Fine))
}

// Likely is how likely an observation is while the unknown parameters lie in a box, as
// logs: at most, and on the whole.
type Likely struct {
	Most, Mean float64
	// Spread is how much it matters, at most, where in the box each parameter lies.
	Spread [2]float64
	// Idle: the observation is to be expected as with nothing wrong.
	Idle bool
}

// weighing is how far a hypothesis was weighed: what its unknown parameters may be,
// parted into blocks. The likelihood of it is the mean over all of them of the product
// over readings, not the product of means: an unknown resistance is the same in every
// reading. Only where the product may be large are blocks made smaller, and only until
// it is much the same all over a block. It never changes; weigh makes another.
type weighing []block

// block of parameters, and what the first readings make of it.
type block struct {
	box    Box
	asked  int // of how many readings
	likely Likely
}

const (
	// little is what does not matter, in logs.
	little = 1
	// stride is of how many readings a block is asked before it is looked at again.
	stride = 8
	// aside is how far below the rest together, in logs, a block does not matter.
	aside = 6
	// maxBlocks bounds them.
	maxBlocks = 64
)

// most of a block, with what readings not asked yet can make of anything.
func (b *block) most(d *drawn) float64 { return b.likely.Most + d.rest[b.asked] + b.box.logShare() }

// large reports whether it is still to be parted.
func (w weighing) large(b *block) bool {
	return len(w) < maxBlocks && (b.spread(0) > little || b.spread(1) > little)
}

// whole reports whether the block is as small as it need be and every reading was asked.
func (w weighing) whole(b *block, d *drawn) bool { return b.asked == len(d.evidence) && !w.large(b) }

// score is the log likelihood of a hypothesis; settled when it is worked out, else it is
// that at most. Of what nobody asked about it is what readings can make of anything.
func (w weighing) score(d *drawn) (score float64, settled bool) {
	if len(w) == 0 {
		return d.rest[0], false
	}
	highest := math.Inf(-1)
	each := func(f func(l float64)) {
		for k := range w {
			if b := &w[k]; w.whole(b, d) {
				settled = true
				f(b.likely.Mean + b.box.logShare())
			} else {
				f(b.most(d))
			}
		}
	}
	each(func(l float64) { highest = max(highest, l) })
	sum := 0.0
	each(func(l float64) { sum += math.Exp(l - highest) })
	return highest + math.Log(sum), settled
}

// weigh asks the readings about the hypothesis, until its score is worked out or less
// than least.
func (j *Judgement) weigh(w weighing, least float64, faults ...int) weighing {
	d := &j.drawn
	if len(w) == 0 {
		w = weighing{{box: Everywhere}}
	} else {
		w = slices.Clone(w)
	}
	for {
		// The block that may hold most is next; what is whole stands against it.
		next, highest, whole := -1, math.Inf(-1), math.Inf(-1)
		for k := range w {
			if b := &w[k]; w.whole(b, d) {
				whole = max(whole, b.likely.Mean+b.box.logShare())
			} else if l := b.most(d); l > highest {
				next, highest = k, l
			}
		}
		if next < 0 || highest < least || highest < whole-aside {
			return w
		}
		if b := &w[next]; w.large(b) {
			w = append(w, b.part())
		} else {
			j.ask(b, least, faults)
		}
	}
}

// ask a few more readings about a block, as long as it may hold least.
func (j *Judgement) ask(b *block, least float64, faults []int) {
	d := &j.drawn
	for range stride {
		if b.asked == len(d.evidence) || b.most(d) < least {
			return
		}
		l := j.within(b.asked, faults, b.box)
		b.likely.Most += l.Most
		b.likely.Mean += l.Mean
		for k := range b.likely.Spread {
			b.likely.Spread[k] += l.Spread[k]
		}
		b.asked++
	}
}

// within is what reading k makes of the faults. Where one of two alone explains it and
// the other, by itself, is nothing to it, they are not asked about together.
func (j *Judgement) within(k int, faults []int, b Box) Likely {
	d := &j.drawn
	n := d.evidence[k]
	class := j.classes[n]
	e := j.problem.Evidence[n].(Drawn)
	var classes [3]int
	for k, i := range faults[:min(len(faults), 3)] {
		classes[k] = class[i]
	}
	if len(faults) == 2 {
		for axis, c := range classes[:2] {
			if d.idle[k][classes[1-axis]] {
				own := [3]int{}
				own[axis] = c
				if l := e.Within(own, b); l.Most >= d.peaks[k]-explains {
					return l
				}
			}
		}
	}
	return e.Within(classes, b)
}

// spread is how much it matters where along an axis the parameter lies, if the block can
// be parted there.
func (b *block) spread(axis int) float64 {
	if b.box[axis].To-b.box[axis].From < 2 {
		return 0
	}
	return b.likely.Spread[axis]
}

// part parts a block along the parameter that matters more:
// it becomes the one half, the other is returned. Both are to be asked about again.
func (b *block) part() block {
	axis := 0
	if b.spread(1) > b.spread(0) {
		axis = 1
	}
	low, high := block{box: b.box}, block{box: b.box}
	middle := (b.box[axis].From + b.box[axis].To) / 2
	low.box[axis].To, high.box[axis].From = middle, middle
	*b = low
	return high
}

// begun is where the weighing of two faults begins: with the blocks that the one of
// them came to alone that was parted more, since what is wrong by itself at some values
// is mostly so beside another fault.
func begun(x, y weighing) weighing {
	from, axis := x, 0
	if len(y) > len(x) {
		from, axis = y, 1
	}
	if len(from) < 2 {
		return nil
	}
	out := make(weighing, len(from))
	for k := range from {
		out[k].box = Everywhere
		out[k].box[axis] = from[k].box[0]
	}
	return out
}

// turned is the weighing of the same two faults in the other order.
func (w weighing) turned() weighing {
	out := slices.Clone(w)
	for k := range out {
		b := &out[k]
		b.box[0], b.box[1] = b.box[1], b.box[0]
		b.likely.Spread[0], b.likely.Spread[1] = b.likely.Spread[1], b.likely.Spread[0]
	}
	return out
}
