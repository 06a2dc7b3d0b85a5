package suspect

import "math"

// single is what a reading makes of one fault at most, and how much the fault bears on it.
type single struct {
	most  float64
	bears bearing
}

// bearing is how much a fault bears on a reading: much, next to nothing, or nothing.
type bearing uint8

const (
	much bearing = iota
	slight
	idle
)

// either is what reading k makes of two faults at most by what it makes of either; true
// where that explains it, or nothing could be made of both together either.
func (d *drawn) either(k int, a, b single) (most float64, known bool) {
	switch {
	case a.bears < b.bears: // what the other alone explains it explains no more beside it
		most = a.most
	case b.bears < a.bears:
		most = b.most
	case a.bears < idle:
		most = max(d.none[k], a.most, b.most)
	default:
		if most = d.none[k]; d.apart[k] {
			return most, true
		}
	}
	return most, most >= d.peaks[k]-explains
}

// together is what reading k makes of two groups at most: what it makes of either, unless
// neither explains it.
func (j *Judgement) together(k, x, y int) float64 {
	a, b := j.drawn.like[x], j.drawn.like[y]
	l, known := j.drawn.either(k, j.drawn.singles[x][k], j.drawn.singles[y][k])
	if !known {
		l = j.within(k, []int{a, b}, Everywhere).Most
	}
	return l
}

// narrowed is what the readings make of two groups at most, with the parameter of either
// the same in all of them, as far as it was weighed alone.
func (j *Judgement) narrowed(x, y int) float64 {
	d := &j.drawn
	at := x*len(d.like) + y
	for _, g := range [2][2]int{{x, y}, {y, x}} {
		if len(d.one[g[0]].blocks) < 2 {
			continue
		}
		most := math.Inf(-1)
		for _, of := range j.inBlocks(g[0]) {
			sum := 0.0
			for k, inBlock := range of {
				l := inBlock.Most
				if inBlock.Spread == ([2]float64{}) {
					l = inBlock.Mean // of one that cannot be parted, on the whole
				}
				one, other := d.singles[g[0]][k], d.singles[g[1]][k]
				if _, known := d.either(k, one, other); known {
					one.most = l
					l, _ = d.either(k, one, other)
				} else {
					l = d.peaks[k]
				}
				sum += l
			}
			most = max(most, sum)
		}
		d.most[at] = min(d.most[at], most)
	}
	return d.most[at]
}

// inBlocks is what each reading makes of a group in each of the blocks that it was parted
// into; of a block that cannot be parted further it does not matter where in it.
func (j *Judgement) inBlocks(g int) [][]Likely {
	d := &j.drawn
	if d.blocks[g] == nil {
		for _, b := range d.one[g].blocks {
			of := make([]Likely, len(d.evidence))
			for k := range of {
				of[k] = j.within(k, d.like[g:g+1], b.box)
				if b.box[0].To-b.box[0].From < 2 {
					of[k].Spread = [2]float64{}
				}
			}
			d.blocks[g] = append(d.blocks[g], of)
		}
	}
	return d.blocks[g]
}

// sift asks the readings that neither of two groups explains what they make of both,
// until all were asked or what all make of them is less than least.
func (j *Judgement) sift(x, y int, least float64) (most float64) {
	d := &j.drawn
	at, by := x*len(d.like)+y, d.begin.by
	for ; d.sifted[at] < len(by) && d.most[at] >= least; d.sifted[at]++ {
		k := by[d.sifted[at]]
		if _, known := d.either(k, d.singles[x][k], d.singles[y][k]); !known {
			d.most[at] += j.together(k, x, y) - d.peaks[k]
		}
	}
	return d.most[at]
}

// begun is where the weighing of two faults begins: with the blocks that the one of
// them came to alone that was parted more, since what is wrong by itself at some values
// is mostly so beside another fault; and with what the readings make of it in those to
// which the other is nothing.
func (j *Judgement) begun(x, y int) *weighing {
	d := &j.drawn
	g, other, axis := x, y, 0
	if len(d.one[y].blocks) > len(d.one[x].blocks) {
		g, other, axis = y, x, 1
	}
	var by, rest []int
	for _, k := range inTurn(d.begin.by, j.telling(x), j.telling(y)) {
		if d.singles[other][k].bears == idle && d.singles[g][k].most >= d.peaks[k]-explains && j.beside(k, g, other) {
			by = append(by, k)
		} else {
			rest = append(rest, k)
		}
	}
	most := func(k int) float64 { return j.together(k, x, y) }
	blocks := make([]block, len(d.one[g].blocks))
	for n := range blocks {
		b := &blocks[n]
		b.box, b.asked = Everywhere, len(by)
		b.box[axis] = d.one[g].blocks[n].box[0]
		for i, k := range by {
			l := j.inBlocks(g)[n][k]
			h := held{n: i, most: l.Most, mean: l.Mean}
			if h.spread[axis] = l.Spread[0]; l.Most < d.peaks[k]-explains {
				// Not explained: both are asked about together.
				h = held{n: i, most: most(k), mean: most(k)}
				b.again = append(b.again, len(b.held))
			} else {
				b.likely.Spread[axis] += l.Spread[0]
			}
			b.likely.Most += h.most
			b.likely.Mean += h.mean
			if h.spread[axis] > idly || len(b.again) > 0 && b.again[len(b.again)-1] == len(b.held) {
				b.held = append(b.held, h)
			}
		}
	}
	return ordered(append(by, rest...), most, blocks)
}

// beside reports whether the second of two groups is nothing to a reading beside the first.
func (j *Judgement) beside(k, g, other int) bool {
	n := j.drawn.evidence[k]
	class := j.classes[n].dense
	return j.problem.Evidence[n].(Drawn).Beside([3]int{class[j.drawn.like[g]], class[j.drawn.like[other]]})
}

// telling are the readings in the order of how much the parameter of a group matters to
// them.
func (j *Judgement) telling(g int) []int {
	d := &j.drawn
	if d.tells[g] == nil {
		spread := make([]float64, len(d.evidence))
		for k, n := range d.evidence {
			spread[k] = j.problem.Evidence[n].(Drawn).Within([3]int{j.classes[n].dense[d.like[g]]}, Everywhere).Spread[0]
		}
		d.tells[g] = sorted(func(k int) float64 { return -spread[k] }, len(spread))
	}
	return d.tells[g]
}

// inTurn takes from each of the lists, which hold the same, what is next and was not
// taken yet.
func inTurn(lists ...[]int) []int {
	out := make([]int, 0, len(lists[0]))
	taken := make([]bool, len(lists[0]))
	for n := range lists[0] {
		for _, l := range lists {
			if k := l[n]; !taken[k] {
				taken[k] = true
				out = append(out, k)
			}
		}
	}
	return out
}
