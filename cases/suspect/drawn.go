package suspect

import (
	"cmp"
	"math"
	"slices"
)

// drawn is what all readings on what is drawn make of the hypotheses. To ask each
// reading about each pair of faults would take long, and hardly any pair is in the
// running, so that
//
//   - faults that all readings take for the same are of one group and asked about once;
//   - a hypothesis is asked about, the readings that surprise most first, until it is out
//     of the running (weighing);
//   - a pair is not asked about at all where one of the two alone explains every reading
//     and it can hold next to nothing.
type drawn struct {
	evidence []int        // which of all evidence it is
	peaks    []float64    // of each what it can make of anything
	none     []float64    // what each makes of no fault at most
	well     float64      // what all make of no fault
	alone    [][]float64  // of each what it can make of one fault at most, by class
	bears    [][]bearing  // of each how much one fault bears on it, by class
	apart    []bool       // of each whether two that are nothing to it are so together
	group    []int        // of each fault
	singles  [][]single   // of each group what each makes of it by itself
	like     []int        // a fault of each group, the first
	begin    *weighing    // of which nothing was asked, those first that surprise most with nothing wrong
	one      []*weighing  // of each group
	two      []*weighing  // of two groups, the lower first; nil where nobody asked
	tells    [][]int      // of each group the readings, those first that tell most of its parameter; nil: not worked out
	blocks   [][][]Likely // of each group what it makes of each reading in each of its blocks; nil: not worked out
	// most, open and sifted are of two groups: what the readings make of them at most by
	// what they make of either alone, how many that does not tell of, and how many, in the
	// order of begin, were looked through for those and asked.
	most   []float64
	open   []int
	sifted []int
	wide   []*weighing // of three faults and more
}

const (
	// explains is how far below its peak, in logs, a reading is explained.
	explains = 3
	// running is how far below the best, in logs, a hypothesis is out of the running: all
	// pairs of three hundred faults together then hold less than a thousandth of it.
	running = 18
	// matters is how far below the best a pair that one of the two explains may be to be
	// weighed.
	matters = 9
	// nothing is the share of the probability that pairs may have at most that are not
	// asked about to the end.
	nothing = 0.01
)

// takeDrawn lets a reading on what is drawn count.
func (j *Judgement) takeDrawn(n int, e Drawn, one alone) {
	d, class := &j.drawn, one.class
	by := make([]float64, class.n)
	bears := make([]bearing, len(by))
	bears[0] = idle
	for _, c := range class.dense {
		by[c] = one.by[c]
		if c != 0 {
			switch l := e.Within([3]int{c}, Everywhere); {
			case l.Idle:
				bears[c] = idle
			case l.Slight:
				bears[c] = slight
			}
		}
	}
	d.bears = append(slices.Clip(d.bears), bears)
	d.apart = append(slices.Clip(d.apart), e.Apart())
	d.evidence = append(slices.Clip(d.evidence), n)
	d.none = append(slices.Clip(d.none), one.none)
	d.well += e.Within([3]int{}, Everywhere).Mean
	d.alone = append(slices.Clip(d.alone), by)
	d.peaks = append(slices.Clip(d.peaks), e.Peak())
}

// split tells those faults of a group from each other that one of the readings from
// here on does, and lets those readings count.
func (j *Judgement) split(from int) {
	d := &j.drawn
	old := *d
	n := len(d.evidence)
	peak := func(k int) float64 { return d.peaks[k] }
	if old.begin == nil {
		d.begin = ordered(sorted(func(k int) float64 { return d.none[k] - d.peaks[k] }, n), peak, []block{{box: Everywhere}})
		old.group, old.like = make([]int, len(j.faults)), []int{0}
		old.singles = [][]single{nil}
		old.one, old.two, old.most, old.open, old.sifted = []*weighing{nil}, []*weighing{nil}, []float64{0}, []int{0}, []int{0}
	}
	d.begin = d.longer(d.begin, peak)
	d.wide = slices.Clone(d.wide)
	for k, w := range d.wide {
		d.wide[k] = d.longer(w, peak)
	}
	// A group is told by the group it was in and its classes since.
	type was struct{ group, class int }
	d.group, d.like = old.group, old.like
	parent := make([]int, len(old.like)) // of each group, in old
	for g := range parent {
		parent[g] = g
	}
	for k := from; k < n; k++ {
		met := map[was]int{}
		next, up := make([]int, len(j.faults)), []int(nil)
		d.like = nil
		for i, c := range j.classes[d.evidence[k]].dense {
			w := was{d.group[i], c}
			g, ok := met[w]
			if !ok {
				g = len(d.like)
				met[w] = g
				d.like, up = append(d.like, i), append(up, parent[d.group[i]])
			}
			next[i] = g
		}
		d.group, parent = next, up
	}
	m, width := len(d.like), len(old.like)
	d.one, d.two, d.tells = make([]*weighing, m), make([]*weighing, m*m), make([][]int, m)
	d.blocks = make([][][]Likely, m)
	d.most, d.open, d.sifted = make([]float64, m*m), make([]int, m*m), make([]int, m*m)
	d.singles = make([][]single, m)
	for x := range m {
		d.singles[x] = append(make([]single, 0, n), old.singles[parent[x]]...)
		for k := from; k < n; k++ {
			class := j.classes[d.evidence[k]].dense[d.like[x]]
			d.singles[x] = append(d.singles[x], single{d.alone[k][class], d.bears[k][class]})
		}
	}
	for x := range m {
		of := d.singles[x]
		alone := func(k int) float64 { return of[k].most }
		if w := old.one[parent[x]]; w != nil {
			d.one[x] = d.longer(w, alone)
		} else {
			d.one[x] = ordered(d.begin.by, alone, d.begin.blocks)
		}
		for y := x; y < m; y++ {
			a, b, at := parent[x], parent[y], x*m+y
			was := min(a, b)*width + max(a, b)
			d.most[at], d.open[at], d.sifted[at] = old.most[was], old.open[was], old.sifted[was]
			other := d.singles[y]
			for k := from; k < n; k++ {
				l, known := d.either(k, of[k], other[k])
				if !known {
					l = d.peaks[k]
					d.open[at]++
				}
				d.most[at] += l
			}
			if w := old.two[was]; w != nil {
				d.two[at] = d.longer(w, func(k int) float64 {
					if l, known := d.either(k, of[k], other[k]); known {
						return l
					}
					return d.peaks[k]
				})
				if a > b {
					d.two[at] = d.two[at].turned()
				}
			}
		}
	}
}

// settleDrawn asks about all that is in the running.
func (j *Judgement) settleDrawn() {
	d := &j.drawn
	if len(d.evidence) == 0 {
		return
	}
	s, m := &j.scores, len(d.like)
	best := s.base + s.none + j.drawn.well
	size := make([]int, m)
	for _, g := range d.group {
		size[g]++
	}
	// What all else makes of the likeliest fault of a group, and of two groups.
	one, two := make([]float64, m), make([]float64, m*m)
	for x := range one {
		one[x] = math.Inf(-1)
	}
	for at := range two {
		two[at] = math.Inf(-1)
	}
	logPrior := j.logPriors()
	for i := range j.faults {
		one[d.group[i]] = max(one[d.group[i]], s.base+logPrior[i]+s.single[i])
	}
	for a, i := range j.paired {
		for b := a + 1; b < len(j.paired); b++ {
			k := j.paired[b]
			if j.faults[i].Part != j.faults[k].Part {
				at := min(d.group[i], d.group[k])*m + max(d.group[i], d.group[k])
				two[at] = max(two[at], s.base+logPrior[i]+logPrior[k]+j.two(a, b))
			}
		}
	}
	type candidate struct {
		most float64
		at   int
	}
	likeliest := func(a, b candidate) int { return cmp.Or(cmp.Compare(b.most, a.most), cmp.Compare(a.at, b.at)) }
	var all []candidate
	for x := range m {
		all = append(all, candidate{one[x] + j.aloneMost(d.like[x]), x})
	}
	slices.SortFunc(all, likeliest)
	for _, c := range all {
		if c.most < best-running {
			break
		}
		w := j.weigh(d.one[c.at], best-one[c.at], best-running-one[c.at], d.like[c.at])
		d.one[c.at] = w
		if w.settled {
			best = max(best, one[c.at]+w.score)
		}
	}
	// Pairs are asked about until what is not known of them is next to nothing, those first
	// of which it takes least to find out.
	type asked struct {
		at, blocks int
		unknown    float64
	}
	for out := float64(matters); ; out += 3 {
		var some []asked
		unknown := 0.0
		for at, most := range d.most {
			blocks, settled := 0, false
			if w := d.two[at]; w != nil {
				if settled = w.settled; settled || w.score < most {
					most = w.score
				}
				blocks = len(w.blocks)
			}
			p := two[at] + most
			if d.two[at] == nil && p >= best-out && (d.open[at] > 0 || p >= best-matters) {
				most = j.narrowed(at/m, at%m)
				p = two[at] + most
			}
			if settled || p < best-running || d.open[at] == 0 && p < best-matters && d.two[at] == nil {
				continue
			}
			a := asked{at, blocks, float64(size[at/m]*size[at%m]) * math.Exp(p-best)}
			unknown += a.unknown
			if p >= best-out {
				some = append(some, a)
			}
		}
		if unknown < nothing || out > running {
			break
		}
		slices.SortFunc(some, func(a, b asked) int {
			return cmp.Or(cmp.Compare(b.unknown, a.unknown), cmp.Compare(a.at, b.at))
		})
		for _, a := range some {
			x, y := a.at/m, a.at%m
			if d.two[a.at] == nil {
				if most := j.sift(x, y, best-out-two[a.at]); two[a.at]+most < best-out {
					unknown += float64(size[x]*size[y])*math.Exp(two[a.at]+most-best) - a.unknown
					continue
				}
				d.two[a.at] = j.begun(x, y)
			}
			w := j.weigh(d.two[a.at], best-two[a.at], best-out-two[a.at], d.like[x], d.like[y])
			d.two[a.at] = w
			unknown -= a.unknown
			if w.settled {
				best = max(best, two[a.at]+w.score)
			} else {
				unknown += float64(size[x]*size[y]) * math.Exp(two[a.at]+w.score-best)
			}
			if unknown < nothing {
				break
			}
		}
	}
	for range j.wide[len(d.wide):] {
		d.wide = append(d.wide, d.begin)
	}
	for k, w := range j.wide {
		d.wide[k] = j.weigh(d.wide[k], math.Inf(-1), math.Inf(-1), w...)
	}
}

// aloneMost is what the readings can make of a fault alone, each by itself.
func (j *Judgement) aloneMost(i int) float64 {
	sum := 0.0
	for k, e := range j.drawn.evidence {
		sum += j.drawn.alone[k][j.classes[e].dense[i]]
	}
	return sum
}

// ofOne, ofTwo and ofWide are what the readings make of a hypothesis.
func (j *Judgement) ofOne(i int) float64 {
	d := &j.drawn
	if len(d.evidence) == 0 {
		return 0
	}
	w := d.one[d.group[i]]
	if w.settled {
		return w.score
	}
	return min(w.score, j.aloneMost(i))
}

func (j *Judgement) ofTwo(i, k int) float64 {
	d := &j.drawn
	if len(d.evidence) == 0 {
		return 0
	}
	at := min(d.group[i], d.group[k])*len(d.like) + max(d.group[i], d.group[k])
	if d.two[at] == nil {
		return d.most[at]
	}
	w := d.two[at]
	if w.settled {
		return w.score
	}
	return min(w.score, d.most[at])
}

func (j *Judgement) ofWide(k int) float64 {
	d := &j.drawn
	if len(d.evidence) == 0 {
		return 0
	}
	return d.wide[k].score
}

func (j *Judgement) logPriors() []float64 {
	out := make([]float64, len(j.faults))
	for i, f := range j.faults {
		out[i] = math.Log(f.Prior)
	}
	return out
}
