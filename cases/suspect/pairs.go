package suspect

import (
	"cmp"
	"math"
	"slices"
)

// drawnPairs is what all readings on what is drawn together can make of two faults. It
// costs much to ask each reading about each pair, and hardly any pair is in the running:
// where one of the two alone explains a reading, or none does, the reading makes of both
// what it makes of the better; a pair is asked about the others until it is out of
// the running, those first that the two explain least.
type drawnPairs struct {
	evidence []int       // which of all evidence it is
	alone    [][]float64 // of each of those what it makes of one fault, by class
	peaks    []float64   // of each what it can make of anything
	group    []int       // of each fault; those of one group are alike to all of them
	like     []int       // a fault of each group
	// most of two groups, at most; of so many readings, from the first, it is known to the
	// end.
	most  []float64
	whole []int
}

// explains is how far below its peak, in logs, a reading is explained.
const explains = 3

// takeDrawn lets a reading on what is drawn count for no fault, for single faults and
// for three; of two faults it only says what it can make of anything.
func (j *Judgement) takeDrawn(e Drawn, class []int) singles {
	s, d := &j.scores, &j.drawn
	by := make([]float64, slices.Max(append(class, 0))+1)
	met := make([]bool, len(by))
	one := singles{none: j.alone(e, nil), of: make([]float64, len(class))}
	by[0], met[0] = one.none, true
	for i, c := range class {
		if !met[c] {
			by[c], met[c] = j.alone(e, j.faults[i:i+1]), true
		}
		one.of[i] = by[c]
		s.single[i] += one.of[i]
	}
	s.none += one.none
	for k, w := range j.wide {
		s.wide[k] += most(e, j.hypothesis(w))
	}
	d.evidence = append(slices.Clip(d.evidence), len(j.asks))
	d.alone = append(slices.Clip(d.alone), by)
	d.peaks = append(slices.Clip(d.peaks), e.Peak())
	d.split(class, e.Peak())
	return one
}

// alone is what a reading makes of a fault alone, or of none, in the best of draws; what
// it does not come near to explaining need not be drawn.
func (j *Judgement) alone(e Drawn, h Hypothesis) float64 {
	most := e.Most(h)
	draws := j.drawsOf(len(h))
	if draws == 0 || most < e.Peak()-explains {
		return most
	}
	return slices.Max(e.LogLiks(h, draws))
}

// drawsOf a hypothesis of so many faults.
func (j *Judgement) drawsOf(faults int) int {
	switch p := &j.problem; {
	case faults <= 1 && p.OneDraws > 0:
		return p.OneDraws
	case faults > 1 && p.FewDraws > 0:
		return p.FewDraws
	}
	return j.problem.Draws
}

// split tells those faults of a group from each other that the reading does.
func (d *drawnPairs) split(class []int, peak float64) {
	type was struct{ group, class int }
	old := *d
	d.group, d.like = make([]int, len(class)), nil
	met := map[was]int{}
	var from []int
	for i, c := range class {
		w := was{0, c}
		if old.group != nil {
			w.group = old.group[i]
		}
		g, ok := met[w]
		if !ok {
			g = len(d.like)
			met[w] = g
			d.like, from = append(d.like, i), append(from, w.group)
		}
		d.group[i] = g
	}
	n, m := len(d.like), len(old.like)
	d.most, d.whole = make([]float64, n*n), make([]int, n*n)
	for a := range n {
		for b := range n {
			d.most[a*n+b] = peak
			if old.group != nil {
				d.most[a*n+b] += old.most[from[a]*m+from[b]]
				d.whole[a*n+b] = old.whole[from[a]*m+from[b]]
			}
		}
	}
}

// of two faults.
func (d *drawnPairs) of(i, k int) float64 {
	if len(d.like) == 0 {
		return 0
	}
	return d.most[d.group[i]*len(d.like)+d.group[k]]
}

// pairsFrom asks about all pairs that may reach a score.
func (j *Judgement) pairsFrom(least float64) {
	d := &j.drawn
	n, m := len(d.like), len(j.paired)
	// What the rest makes of the likeliest pair of two groups.
	rest := make([]float64, n*n)
	for i := range rest {
		rest[i] = math.Inf(-1)
	}
	logPrior := j.logPriors()
	for a, i := range j.paired {
		for b := a + 1; b < m; b++ {
			k := j.paired[b]
			if j.faults[i].Part != j.faults[k].Part {
				at := min(d.group[i], d.group[k])*n + max(d.group[i], d.group[k])
				rest[at] = max(rest[at], logPrior[i]+logPrior[k]+j.scores.pair[tri(a, b, m)])
			}
		}
	}
	a := asking{Judgement: j}
	for x := range n {
		for y := x; y < n; y++ {
			at := x*n + y
			if d.whole[at] < len(d.evidence) && j.scores.base+rest[at]+d.most[at] >= least {
				d.most[at], d.whole[at] = a.pair(x, y, d.whole[at], least-j.scores.base-rest[at])
				d.most[y*n+x], d.whole[y*n+x] = d.most[at], d.whole[at]
			}
		}
	}
}

// asking is room for the questions about one pair.
type asking struct {
	*Judgement
	open []question
}

type question struct {
	evidence int
	alone    float64 // what it makes of the better of the two, below its peak
}

// pair is the most of a pair of groups, as far as it takes to see that it is less than
// what is asked for, and of how many readings from the first it is known to the end.
// known says of how many it is so already.
func (a *asking) pair(x, y, known int, least float64) (float64, int) {
	d := &a.drawn
	i, k := d.like[x], d.like[y]
	a.open = a.open[:0]
	sum := 0.0
	if known == len(d.evidence)-1 && known > 0 { // all but the last
		sum = d.most[x*len(d.like)+y] - d.peaks[known]
	} else {
		known = 0
	}
	for n := known; n < len(d.evidence); n++ {
		class := a.classes[d.evidence[n]]
		alone := max(d.alone[n][class[i]], d.alone[n][class[k]], d.alone[n][0])
		if alone < d.peaks[n]-explains {
			a.open = append(a.open, question{d.evidence[n], alone - d.peaks[n]})
			alone = d.peaks[n]
		}
		sum += alone
	}
	slices.SortFunc(a.open, func(p, q question) int { return cmp.Compare(p.alone, q.alone) })
	h := Hypothesis{a.faults[i], a.faults[k]}
	for _, q := range a.open {
		if sum < least {
			return sum, 0
		}
		e := a.problem.Evidence[q.evidence].(Drawn)
		sum += e.Most(h) - e.Peak()
	}
	return sum, len(d.evidence)
}

func (j *Judgement) logPriors() []float64 {
	out := make([]float64, len(j.faults))
	for i, f := range j.faults {
		out[i] = math.Log(f.Prior)
	}
	return out
}
