package suspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sync"
)

// maxPaired is how many faults are held against each other in pairs. Of more,
// those that the evidence makes most likely one by one are taken; the others
// count singly.
const maxPaired = 700

// Judgement is what the evidence makes of the hypotheses: no fault, every single
// fault, every pair of faults in different parts, and triples where two explain
// nothing. It never changes; With makes another.
type Judgement struct {
	problem Problem
	faults  []Fault
	draws   []scores // one for each draw of the unknown parameters
	paired  []int    // the faults held in pairs, ascending
	row     []int    // of a fault among paired, -1 when it is not
	triples [][3]int
	// asks holds, for each piece of evidence, the faults of which it makes one or
	// another likely; none when no fault is needed to explain it.
	asks []ask
	once *sync.Once
	mass *mass
}

// scores are log likelihoods under one draw. What is the same for all hypotheses
// is added to base.
type scores struct {
	base    float64
	none    float64
	single  []float64
	pair    []float64 // of paired i < j at tri(i, j)
	triples []float64
}

// tri is the place of the pair of rows i < j among m.
func tri(i, j, m int) int { return i*(2*m-i-1)/2 + j - i - 1 }

// Judge judges the problem from the start. It panics over a problem that names a
// fault twice or gives a prior outside (0, 1): the caller made it.
func Judge(p Problem) *Judgement {
	p.Draws = max(p.Draws, 1)
	j := &Judgement{problem: p, faults: p.Faults, once: new(sync.Once)}
	seen := map[Fault]bool{}
	for _, f := range p.Faults {
		key := Fault{Part: f.Part, Mode: f.Mode}
		if seen[key] || !(f.Prior > 0 && f.Prior < 1) {
			panic(fmt.Sprintf("the fault %v (%v) is named twice or has the prior %g", f.Part, f.Mode, f.Prior))
		}
		seen[key] = true
	}
	j.choosePaired()
	m := len(j.paired)
	j.draws = make([]scores, p.Draws)
	for d := range j.draws {
		j.draws[d] = scores{single: make([]float64, len(j.faults)), pair: make([]float64, m*(m-1)/2)}
	}
	for _, e := range p.Evidence {
		j.take(e)
	}
	j.widen()
	return j
}

// With is the judgement with one more piece of evidence. The faults stay: when
// the evidence speaks of others, judge the larger problem.
func (j *Judgement) With(e Evidence) *Judgement {
	out := *j
	out.problem.Evidence = append(slices.Clip(slices.Clone(j.problem.Evidence)), e)
	out.asks = slices.Clone(j.asks)
	out.draws = make([]scores, len(j.draws))
	for d, s := range j.draws {
		s.single, s.pair, s.triples = slices.Clone(s.single), slices.Clone(s.pair), slices.Clone(s.triples)
		out.draws[d] = s
	}
	out.once, out.mass = new(sync.Once), nil
	out.take(e)
	out.widen()
	return &out
}

// choosePaired takes all faults, or when there are too many those that score
// highest singly.
func (j *Judgement) choosePaired() {
	j.row = make([]int, len(j.faults))
	for i := range j.faults {
		j.paired = append(j.paired, i)
	}
	if len(j.faults) > maxPaired {
		singles := make([]float64, len(j.faults))
		for i, f := range j.faults {
			singles[i] = math.Log(f.Prior)
		}
		for _, e := range j.problem.Evidence {
			one := singleScores(e, j.faults, 0)
			for i := range singles {
				singles[i] += one.of[i]
			}
		}
		slices.SortStableFunc(j.paired, func(a, b int) int { return cmp.Compare(singles[b], singles[a]) })
		j.paired = j.paired[:maxPaired]
		slices.Sort(j.paired)
	}
	for i := range j.row {
		j.row[i] = -1
	}
	for r, i := range j.paired {
		j.row[i] = r
	}
}

// single scores of one piece of evidence.
type singles struct {
	none float64
	of   []float64
}

func singleScores(e Evidence, faults []Fault, draw int) singles {
	out := singles{none: e.LogLik(nil, draw), of: make([]float64, len(faults))}
	if c, ok := e.(Classed); ok {
		t := newTable(c, faults, draw)
		for i, class := range t.class {
			out.of[i] = t.one[class]
		}
		return out
	}
	for i := range faults {
		out.of[i] = e.LogLik(faults[i:i+1], draw)
	}
	return out
}

// table holds what classed evidence says of each class and pair of classes.
type table struct {
	class   []int
	touched []int
	one     [maxClasses]float64
	two     [maxClasses][maxClasses]float64
}

func newTable(e Classed, faults []Fault, draw int) *table {
	t := &table{class: make([]int, len(faults))}
	var like [maxClasses]int // a fault of each class
	for c := range like {
		like[c] = -1
	}
	for i, f := range faults {
		c := e.Class(f)
		t.class[i] = c
		if c != 0 {
			t.touched = append(t.touched, i)
			like[c] = i
		}
	}
	none := e.LogLik(nil, draw)
	t.one[0] = none
	for a := 1; a < maxClasses; a++ {
		if like[a] < 0 {
			continue
		}
		fa := faults[like[a]]
		t.one[a] = e.LogLik(Hypothesis{fa}, draw)
		t.two[0][a], t.two[a][0] = t.one[a], t.one[a]
		for b := a; b < maxClasses; b++ {
			if like[b] < 0 {
				continue
			}
			t.two[a][b] = e.LogLik(Hypothesis{fa, faults[like[b]]}, draw)
			t.two[b][a] = t.two[a][b]
		}
	}
	t.two[0][0] = none
	return t
}

// take lets one piece of evidence count.
func (j *Judgement) take(e Evidence) {
	for d := range j.draws {
		one := j.draws[d].take(e, d, j)
		if d == 0 {
			j.asks = append(j.asks, j.asked(one))
		}
	}
}

func (s *scores) take(e Evidence, draw int, j *Judgement) singles {
	m := len(j.paired)
	for t, tr := range j.triples {
		s.triples[t] += e.LogLik(Hypothesis{j.faults[tr[0]], j.faults[tr[1]], j.faults[tr[2]]}, draw)
	}
	c, ok := e.(Classed)
	if !ok {
		one := singleScores(e, j.faults, draw)
		s.none += one.none
		h := make(Hypothesis, 2)
		for i := range j.faults {
			s.single[i] += one.of[i]
		}
		for a, i := range j.paired {
			h[0] = j.faults[i]
			for b := a + 1; b < m; b++ {
				if h[1] = j.faults[j.paired[b]]; h[0].Part != h[1].Part {
					s.pair[tri(a, b, m)] += e.LogLik(h, draw)
				}
			}
		}
		return one
	}
	t := newTable(c, j.faults, draw)
	one := singles{none: t.one[0], of: make([]float64, len(j.faults))}
	for i, class := range t.class {
		one.of[i] = t.one[class]
	}
	// Only what is touched differs from the rest.
	none := t.one[0]
	s.base += none
	for k := range s.triples {
		s.triples[k] -= none
	}
	for _, i := range t.touched {
		ci := t.class[i]
		s.single[i] += t.one[ci] - none
		a := j.row[i]
		if a < 0 {
			continue
		}
		two := &t.two[ci]
		for b, k := range j.paired {
			ck := t.class[k]
			switch {
			case b == a || ck != 0 && b < a: // itself, or done from the other side
			case b < a:
				s.pair[tri(b, a, m)] += two[ck] - none
			default:
				s.pair[tri(a, b, m)] += two[ck] - none
			}
		}
	}
	return one
}

// ask is the faults of which a piece of evidence makes one or another three times
// likelier than no fault would.
type ask struct {
	faults []int
	// named: three times likelier than something not named would, too.
	named bool
}

func (j *Judgement) asked(one singles) ask {
	var out ask
	best, notNamed := one.none, one.none
	for i, l := range one.of {
		if j.faults[i].Part == NotNamed {
			notNamed = max(notNamed, l)
		} else {
			best = max(best, l)
		}
		if l-one.none > math.Log(3) {
			out.faults = append(out.faults, i)
		}
	}
	out.named = best-notNamed > math.Log(3)
	return out
}

// conflicts are the sets of parts of which one at least must be bad, as far as
// tests tell the truth. Something not named is left out, and with it what nothing
// else explains; so is what a part that is gone may explain, unless ended asks for
// it too.
func (j *Judgement) conflicts(ended bool) [][]Part {
	var out [][]Part
	for _, ask := range j.asks {
		var set []Part
		if !ended && slices.ContainsFunc(ask.faults, func(i int) bool { return j.faults[i].Ended }) {
			continue
		}
		for _, i := range ask.faults {
			if p := j.faults[i].Part; p != NotNamed && !slices.Contains(set, p) {
				set = append(set, p)
			}
		}
		if len(set) > 0 {
			out = append(out, set)
		}
	}
	return out
}

// maxTriples bounds how many triples are looked at.
const maxTriples = 200

// widen adds the triples that explain what no pair does.
func (j *Judgement) widen() {
	sets := j.conflicts(true)
	if len(sets) < 3 || len(MinimalHittingSets(sets, 2)) > 0 {
		return
	}
	for _, parts := range MinimalHittingSets(sets, 3) {
		if len(parts) != 3 || len(j.triples) >= maxTriples {
			continue
		}
		var t [3]int
		for k, p := range parts {
			t[k] = j.likeliest(p)
		}
		if slices.Contains(j.triples, t) {
			continue
		}
		j.triples = append(slices.Clip(j.triples), t)
		h := Hypothesis{j.faults[t[0]], j.faults[t[1]], j.faults[t[2]]}
		for d := range j.draws {
			sum := -j.draws[d].base
			for _, e := range j.problem.Evidence {
				sum += e.LogLik(h, d)
			}
			j.draws[d].triples = append(slices.Clip(j.draws[d].triples), sum)
		}
	}
}

// likeliest is the fault of the part that scores highest by itself.
func (j *Judgement) likeliest(p Part) int {
	best, at := math.Inf(-1), -1
	for i, f := range j.faults {
		if f.Part == p {
			if s := j.score(math.Log(f.Prior), func(s *scores) float64 { return s.single[i] }); s > best {
				best, at = s, i
			}
		}
	}
	return at
}

// score is the log of the prior times the mean likelihood over the draws.
func (j *Judgement) score(logPrior float64, of func(*scores) float64) float64 {
	if len(j.draws) == 1 {
		return logPrior + j.draws[0].base + of(&j.draws[0])
	}
	highest := math.Inf(-1)
	for d := range j.draws {
		highest = max(highest, j.draws[d].base+of(&j.draws[d]))
	}
	sum := 0.0
	for d := range j.draws {
		sum += math.Exp(j.draws[d].base + of(&j.draws[d]) - highest)
	}
	return logPrior + highest + math.Log(sum/float64(len(j.draws)))
}
