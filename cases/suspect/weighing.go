package suspect

import (
	"cmp"
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
	return logs[b[0].To-b[0].From] + logs[b[1].To-b[1].From]
}

// logs of how many of Fine parts.
var logs = func() (out [Fine + 1]float64) {
	for n := range out {
		out[n] = math.Log(float64(n) / Fine)
	}
	return out
}()

// Likely is how likely an observation is while the unknown parameters lie in a box, as
// logs: at most, and on the whole.
type Likely struct {
	Most, Mean float64
	// Spread is how much it matters, at most, where in the box each parameter lies.
	Spread [2]float64
	// Idle: the observation is to be expected as with nothing wrong. Slight: nearly so,
	// wherever in the box the parameter lies.
	Idle, Slight bool
}

// weighing is how far a hypothesis was weighed: what its unknown parameters may be,
// parted into blocks. The likelihood of it is the mean over all of them of the product
// over readings, not the product of means: an unknown resistance is the same in every
// reading. Only where the product may be large are blocks made smaller, and only until
// it is much the same all over a block. It never changes; weigh makes another.
type weighing struct {
	by     []int     // in which order the readings are asked, by their place among all drawn
	rest   []float64 // what those from each on make of it at most
	blocks []block
	// score is the log likelihood of the hypothesis; settled when it is worked out but for
	// what lies aside, else it is that at most.
	score   float64
	settled bool
	best    float64 // with what score it would be as likely as the best
}

// longer is the weighing with the readings that are not in it yet, of each of which most
// is what it makes of the hypothesis at most.
func (d *drawn) longer(w *weighing, most func(k int) float64) *weighing {
	out := &weighing{by: slices.Clip(w.by), rest: slices.Clone(w.rest), blocks: w.blocks}
	for k := len(w.by); k < len(d.evidence); k++ {
		out.by = append(out.by, k)
		l := most(k)
		for n := range out.rest {
			out.rest[n] += l
		}
		out.rest = append(out.rest, 0)
	}
	out.sum()
	return out
}

// ordered is a weighing of the blocks by the readings in an order.
func ordered(by []int, most func(k int) float64, blocks []block) *weighing {
	w := &weighing{by: by, rest: make([]float64, len(by)+1), blocks: blocks}
	for n := len(by) - 1; n >= 0; n-- {
		w.rest[n] = w.rest[n+1] + most(by[n])
	}
	w.sum()
	return w
}

// sorted are the numbers below n, those first of which by is least.
func sorted(by func(k int) float64, n int) []int {
	of := make([]int, n)
	for k := range of {
		of[k] = k
	}
	slices.SortStableFunc(of, func(a, b int) int { return cmp.Compare(by(a), by(b)) })
	return of
}

// block of parameters, and what the first readings make of it. A reading to which it does
// not matter where in a block the parameters lie says of a part of it what it said of the
// block, so that it is not asked again.
type block struct {
	box    Box
	asked  int    // of how many readings
	likely Likely // what they make of it; those to ask again, of the block that it was part of
	held   []held // of those to which it matters where it lies
	again  []int  // which of held to ask again, the last first
	own    bool   // whether held and again are not another weighing's too
}

// held is what one reading makes of a block.
type held struct {
	n          int // which, in the order they are asked
	most, mean float64
	spread     [2]float64
}

// idly is how little, in logs, it matters to a reading where a parameter lies for it not
// to be asked again: two hundred of them together are less than little.
const idly = 0.002

const (
	// little is what does not matter, in logs: how uneven a block may be that is as likely as
	// the best hypothesis. Further is how much less likely than that one is that may be more
	// uneven by as much again.
	little  = 1
	further = 3
	// stride is of how many readings a block is asked before it is looked at again.
	stride = 8
	// aside is how far below the rest together, in logs, a block does not matter.
	aside = 6
	// maxBlocks bounds them.
	maxBlocks = 64
)

// most of a block, with what readings not asked yet can make of anything.
func (w *weighing) most(b *block) float64 {
	return b.likely.Most + w.rest[b.asked] + b.box.logShare()
}

// large reports whether it is still to be parted: the less it can matter beside the best
// hypothesis, the more uneven it may be.
func (w *weighing) large(b *block) bool {
	if len(w.blocks) >= maxBlocks {
		return false
	}
	uneven := little * (1 + max(0, w.best-w.most(b))/further)
	return b.spread(0) > uneven || b.spread(1) > uneven
}

// whole reports whether the block is as small as it need be and every reading was asked.
func (w *weighing) whole(b *block) bool {
	return b.asked == len(w.by) && len(b.again) == 0 && !w.large(b)
}

// sum works the score out.
func (w *weighing) sum() {
	highest, whole, open := math.Inf(-1), math.Inf(-1), math.Inf(-1)
	of := make([]float64, len(w.blocks))
	for k := range w.blocks {
		b := &w.blocks[k]
		if w.whole(b) {
			of[k] = b.likely.Mean + b.box.logShare()
			whole = max(whole, of[k])
		} else {
			of[k] = w.most(b)
			open = max(open, of[k])
		}
		highest = max(highest, of[k])
	}
	w.settled = open < whole-aside
	sum := 0.0
	for _, l := range of {
		sum += math.Exp(l - highest)
	}
	w.score = highest + math.Log(sum)
}

// weigh asks the readings about the hypothesis, until its score is worked out or less
// than least; with that of best it would be as likely as the best.
func (j *Judgement) weigh(w *weighing, best, least float64, faults ...int) *weighing {
	w = &weighing{by: w.by, rest: w.rest, blocks: w.blocks, best: best}
	for asks := false; ; asks = true {
		// The block that may hold most is next; what is whole stands against it.
		next, highest, whole := -1, math.Inf(-1), math.Inf(-1)
		for k := range w.blocks {
			if b := &w.blocks[k]; w.whole(b) {
				whole = max(whole, b.likely.Mean+b.box.logShare())
			} else if l := w.most(b); l > highest {
				next, highest = k, l
			}
		}
		if next < 0 || highest < least || highest < whole-aside {
			w.sum()
			return w
		}
		if !asks {
			w.blocks = slices.Clone(w.blocks)
			for k := range w.blocks {
				w.blocks[k].own = false
			}
		}
		if b := &w.blocks[next]; w.large(b) {
			w.blocks = append(w.blocks, b.part())
		} else {
			for n := 0; n < stride && (b.asked < len(w.by) || len(b.again) > 0) && w.most(b) >= least; n++ {
				j.ask(w, b, faults)
			}
		}
	}
}

// ask one reading more about a block, or one again.
func (j *Judgement) ask(w *weighing, b *block, faults []int) {
	if !b.own {
		b.held, b.again, b.own = slices.Clone(b.held), slices.Clone(b.again), true
	}
	before := held{n: b.asked}
	last := len(b.again) - 1
	if last >= 0 {
		before = b.held[b.again[last]]
	}
	l := j.within(w.by[before.n], faults, b.box)
	b.likely.Most += l.Most - before.most
	b.likely.Mean += l.Mean - before.mean
	for axis := range b.likely.Spread {
		b.likely.Spread[axis] += l.Spread[axis]
	}
	now := held{before.n, l.Most, l.Mean, l.Spread}
	switch {
	case last >= 0:
		b.held[b.again[last]] = now
		b.again = b.again[:last]
		return
	case max(l.Spread[0], l.Spread[1]) > idly:
		b.held = append(b.held, now)
	}
	b.asked++
}

// within is what reading k makes of the faults. Where one of two alone explains it and
// the other, by itself, is nothing to it, they are not asked about together.
func (j *Judgement) within(k int, faults []int, b Box) Likely {
	d := &j.drawn
	n := d.evidence[k]
	class := j.classes[n].dense
	e := j.problem.Evidence[n].(Drawn)
	var classes [3]int
	for k, i := range faults[:min(len(faults), 3)] {
		classes[k] = class[i]
	}
	if len(faults) == 2 {
		for axis, c := range classes[:2] {
			if d.bears[k][classes[1-axis]] == idle {
				own := [3]int{}
				own[axis] = c
				if l := e.Within(own, b); l.Most >= d.peaks[k]-explains && e.Beside([3]int{c, classes[1-axis]}) {
					return l
				}
			}
		}
	}
	if len(faults) == 2 { // the first of each group says which comes first
		if _, turned := j.classes[n].inOrder(faults[0], faults[1]); turned {
			l := e.Within([3]int{classes[1], classes[0]}, Box{b[1], b[0]})
			l.Spread[0], l.Spread[1] = l.Spread[1], l.Spread[0]
			return l
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

// part parts a block along the parameter that matters more: it becomes the one half, the
// other is returned. Those to which that parameter matters are to be asked again, those
// last to which it matters least.
func (b *block) part() block {
	axis := 0
	if b.spread(1) > b.spread(0) {
		axis = 1
	}
	low := *b
	low.held, low.own = slices.Clone(b.held), true
	low.again = slices.Clone(b.again)
	from := len(low.again)
	for k := range low.held {
		h := &low.held[k]
		if h.spread[axis] > idly {
			low.again = append(low.again, k)
		}
	}
	slices.SortStableFunc(low.again[from:], func(x, y int) int {
		return cmp.Compare(low.held[x].spread[axis], low.held[y].spread[axis])
	})
	for _, k := range low.again[from:] {
		for axis, s := range low.held[k].spread {
			low.likely.Spread[axis] -= s
		}
		low.held[k].spread = [2]float64{}
	}
	high := low
	high.held, high.again = slices.Clone(low.held), slices.Clone(low.again)
	middle := (b.box[axis].From + b.box[axis].To) / 2
	low.box[axis].To, high.box[axis].From = middle, middle
	*b = low
	return high
}

// turned is the weighing of the same two faults in the other order.
func (w *weighing) turned() *weighing {
	out := *w
	out.blocks = slices.Clone(w.blocks)
	for k := range out.blocks {
		b := &out.blocks[k]
		b.box[0], b.box[1] = b.box[1], b.box[0]
		b.likely.Spread[0], b.likely.Spread[1] = b.likely.Spread[1], b.likely.Spread[0]
		b.held = slices.Clone(b.held)
		for n := range b.held {
			b.held[n].spread[0], b.held[n].spread[1] = b.held[n].spread[1], b.held[n].spread[0]
		}
	}
	return &out
}
