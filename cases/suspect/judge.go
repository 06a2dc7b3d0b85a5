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
// fault, every pair of faults in different parts, and more together where two
// explain nothing. It never changes; With makes another.
type Judgement struct {
	problem Problem
	faults  []Fault
	// scores are what the evidence without unknown parameters makes of each hypothesis,
	// drawn what the rest does.
	scores  scores
	drawn   drawn
	classes [][]int // of each piece of evidence the class of each fault; nil: each its own
	// contradicted says of each piece of evidence which pairs of classes it contradicts; nil
	// where it has no classes. 0: not asked yet, 1: it does not, 2: it does. What is once
	// asked holds for every judgement with the evidence.
	contradicted [][]byte
	paired       []int   // the faults held in pairs, ascending
	row          []int   // of a fault among paired, -1 when it is not
	wide         [][]int // hypotheses of three and more
	// asks holds, for each piece of evidence, the faults of which it makes one or
	// another likely; none when no fault is needed to explain it.
	asks []ask
	once *sync.Once
	mass *mass
}

// scores are log likelihoods. What is the same for all hypotheses is added to
// base.
type scores struct {
	base   float64
	none   float64
	single []float64
	pair   []float64 // of paired i < j at tri(i, j)
	wide   []float64
}

// tri is the place of the pair of rows i < j among m.
func tri(i, j, m int) int { return i*(2*m-i-1)/2 + j - i - 1 }

// Judge judges the problem from the start. It panics over a problem that names a
// fault twice or gives a prior outside (0, 1): the caller made it.
func Judge(p Problem) *Judgement {
	j := &Judgement{problem: p, faults: p.Faults, once: new(sync.Once)}
	seen := map[Fault]bool{}
	for _, f := range p.Faults {
		key := Fault{Part: f.Part, Mode: f.Mode}
		if seen[key] || !(f.Prior > 0 && f.Prior < 1) {
			panic(fmt.Sprintf("the fault %v (%v) is named twice or has the prior %g", f.Part, f.Mode, f.Prior))
		}
		seen[key] = true
	}
	for _, e := range p.Evidence {
		var class []int // none: each fault is its own
		if c, ok := e.(Classed); ok {
			class = classesOf(c, j.faults)
		}
		j.classes = append(j.classes, class)
		j.contradicted = append(j.contradicted, pairsOf(class))
	}
	j.choosePaired()
	m := len(j.paired)
	j.scores = scores{single: make([]float64, len(j.faults)), pair: make([]float64, m*(m-1)/2)}
	for n := range p.Evidence {
		j.take(n)
	}
	j.widen()
	j.split(0)
	j.settleDrawn()
	return j
}

// With is the judgement with one more piece of evidence. The faults stay: when
// the evidence speaks of others, judge the larger problem.
func (j *Judgement) With(e Evidence) *Judgement {
	out := *j
	out.problem.Evidence = append(slices.Clip(slices.Clone(j.problem.Evidence)), e)
	out.asks = slices.Clone(j.asks)
	var class []int
	if c, ok := e.(Classed); ok {
		class = classesOf(c, j.faults)
	}
	out.classes = append(slices.Clip(slices.Clone(j.classes)), class)
	out.contradicted = append(slices.Clip(j.contradicted), pairsOf(class))
	s := &out.scores
	s.single, s.wide = slices.Clone(s.single), slices.Clone(s.wide)
	if _, ok := e.(Drawn); !ok {
		s.pair = slices.Clone(s.pair)
	}
	out.once, out.mass = new(sync.Once), nil
	out.take(len(j.problem.Evidence))
	out.widen()
	out.split(len(j.drawn.evidence))
	out.settleDrawn()
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
		for n, e := range j.problem.Evidence {
			one := singleScores(e, j.faults, j.classes[n])
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

func singleScores(e Evidence, faults []Fault, class []int) singles {
	out := singles{none: likely(e, nil, [3]int{}), of: make([]float64, len(faults))}
	if class == nil {
		for i := range faults {
			out.of[i] = likely(e, faults[i:i+1], [3]int{})
		}
		return out
	}
	by := map[int]float64{0: out.none}
	for i, k := range class {
		l, met := by[k]
		if !met {
			l = likely(e, faults[i:i+1], [3]int{k})
			by[k] = l
		}
		out.of[i] = l
	}
	return out
}

// likely is what the evidence makes of a hypothesis of at most three faults of these
// classes; where it has unknown parameters, at most.
func likely(e Evidence, h Hypothesis, classes [3]int) float64 {
	switch e := e.(type) {
	case Drawn:
		return e.Within(classes, Everywhere).Most
	case Plain:
		return e.LogLik(h)
	}
	panic("evidence that says nothing of how likely it is")
}

func classesOf(c Classed, faults []Fault) []int {
	out := make([]int, len(faults))
	for i, f := range faults {
		out[i] = c.Class(f)
	}
	return out
}

// classCount is how many classes there are.
func classCount(class []int) int { return slices.Max(append(class, 0)) + 1 }

// pairsOf is room for each pair of classes; none where there are none.
func pairsOf(class []int) []byte {
	if class == nil {
		return nil
	}
	return make([]byte, classCount(class)*classCount(class))
}

// table holds what classed evidence says of each class and pair of classes.
type table struct {
	touched []int // the faults of another class than 0
	like    []int // a fault of each class, -1 where there is none
	two     [][]float64
}

// newTable asks for each pair of classes of which there are faults held in pairs.
func newTable(e Plain, faults []Fault, class []int) *table {
	t := new(table)
	n := 0
	for _, c := range class {
		n += min(c, 1)
	}
	t.touched = make([]int, 0, n)
	for i, c := range class {
		for len(t.like) <= c {
			t.like = append(t.like, -1)
		}
		if c != 0 {
			t.touched = append(t.touched, i)
		}
		t.like[c] = i
	}
	n = max(len(t.like), 1)
	t.two = make([][]float64, n)
	for a := range t.two {
		t.two[a] = make([]float64, n)
	}
	t.two[0][0] = e.LogLik(nil)
	for a := 1; a < n; a++ {
		if t.like[a] >= 0 {
			t.two[0][a] = e.LogLik(Hypothesis{faults[t.like[a]]})
			t.two[a][0] = t.two[0][a]
		}
	}
	for a := 1; a < n; a++ {
		for b := a; b < n; b++ {
			if t.like[a] >= 0 && t.like[b] >= 0 {
				t.two[a][b] = e.LogLik(Hypothesis{faults[t.like[a]], faults[t.like[b]]})
				t.two[b][a] = t.two[a][b]
			}
		}
	}
	return t
}

// take lets piece n of the evidence count.
func (j *Judgement) take(n int) {
	class := j.classes[n]
	one := singleScores(j.problem.Evidence[n], j.faults, class)
	switch e := j.problem.Evidence[n].(type) {
	case Drawn:
		j.takeDrawn(n, e, one)
	case Plain:
		if class == nil {
			j.takeEach(e, one)
		} else {
			j.takeClasses(e, class, one)
		}
	}
	j.asks = append(j.asks, j.asked(j.problem.Evidence[n], one))
}

// takeEach asks for every hypothesis by itself.
func (j *Judgement) takeEach(e Plain, one singles) {
	s, m := &j.scores, len(j.paired)
	for k, w := range j.wide {
		s.wide[k] += e.LogLik(j.hypothesis(w))
	}
	s.none += one.none
	h := make(Hypothesis, 2)
	for i := range j.faults {
		s.single[i] += one.of[i]
	}
	for a, i := range j.paired {
		h[0] = j.faults[i]
		for b := a + 1; b < m; b++ {
			if h[1] = j.faults[j.paired[b]]; h[0].Part != h[1].Part {
				s.pair[tri(a, b, m)] += e.LogLik(h)
			}
		}
	}
}

// takeClasses asks once for each pair of classes. Only what is touched differs from
// the rest.
func (j *Judgement) takeClasses(e Plain, class []int, one singles) {
	s, m := &j.scores, len(j.paired)
	t := newTable(e, j.faults, class)
	none := t.two[0][0]
	s.base += none
	for k, w := range j.wide {
		s.wide[k] += e.LogLik(j.hypothesis(w)) - none
	}
	for _, i := range t.touched {
		ci := class[i]
		s.single[i] += one.of[i] - none
		a := j.row[i]
		if a < 0 {
			continue
		}
		two := t.two[ci]
		for b, k := range j.paired {
			ck := class[k]
			switch {
			case b == a || ck != 0 && b < a: // itself, or done from the other side
			case b < a:
				s.pair[tri(b, a, m)] += two[ck] - none
			default:
				s.pair[tri(a, b, m)] += two[ck] - none
			}
		}
	}
}

var log3 = math.Log(3)

// ask is the faults of which a piece of evidence makes one or another three times
// likelier than no fault would.
type ask struct {
	faults []int
	// named: three times likelier than something not named would, too.
	named bool
}

// leaver is evidence that a fault may bear on by no more than what it left behind.
type leaver interface {
	// Left reports whether the fault was cut off when the evidence was taken, so that only
	// a fuse that it blew before shows it.
	Left(Fault) bool
}

func (j *Judgement) asked(e Evidence, one singles) ask {
	var out ask
	// What a part that is gone left behind is still there, and something there explains it.
	left, _ := e.(leaver)
	gone := func(i int) bool { return left != nil && j.faults[i].Ended && left.Left(j.faults[i]) }
	n := 0
	best, notNamed := one.none, one.none
	for i, l := range one.of {
		if j.faults[i].Part == NotNamed {
			notNamed = max(notNamed, l)
		} else {
			best = max(best, l)
		}
		if l-one.none > log3 && !gone(i) {
			n++
		}
	}
	out.faults = make([]int, 0, n)
	for i, l := range one.of {
		if l-one.none > log3 && !gone(i) {
			out.faults = append(out.faults, i)
		}
	}
	out.named = best-notNamed > log3
	return out
}

// conflicts are the sets of parts of which one at least must be bad, as far as
// tests tell the truth. Something not named is left out, and with it what nothing
// else explains; so is what a part that is gone may explain, unless ended asks for
// it too.
func (j *Judgement) conflicts(ended bool) [][]Part {
	number, of := map[Part]int{}, make([]int, len(j.faults))
	for i, f := range j.faults {
		n, ok := number[f.Part]
		if !ok {
			n = len(number)
			number[f.Part] = n
		}
		of[i] = n
	}
	var out [][]Part
	last := make([]int, len(number)) // the set that held a part last, from 1
	for n, ask := range j.asks {
		var set []Part
		if !ended && slices.ContainsFunc(ask.faults, func(i int) bool { return j.faults[i].Ended }) {
			continue
		}
		for _, i := range ask.faults {
			if p := j.faults[i].Part; p != NotNamed && last[of[i]] != n+1 {
				last[of[i]] = n + 1
				set = append(set, p)
			}
		}
		if len(set) > 0 {
			out = append(out, set)
		}
	}
	return out
}

const (
	// maxWide bounds how many hypotheses of three faults and more are looked at.
	maxWide = 200
	// maxAlone bounds how many parts that tests found each by itself are held to be
	// bad together.
	maxAlone = 16
)

// widen adds the triples that explain what no pair does; where no triple does, all
// that tests found each by itself, together.
func (j *Judgement) widen() {
	sets := j.conflicts(true)
	if len(sets) < 3 || len(MinimalHittingSets(sets, 2)) > 0 {
		return
	}
	all := j.hitting(sets)
	for _, parts := range all {
		if len(parts) >= 3 {
			j.addWide(parts)
		}
	}
	if len(all) != 1 || len(all[0]) <= 3 {
		return
	}
	// What nobody tested is neither likelier nor less likely for it.
	for _, f := range j.faults {
		if !slices.Contains(all[0], f.Part) {
			j.addWide(append(slices.Clip(all[0]), f.Part))
		}
	}
}

// hitting are the minimal sets of at most three parts that hit all the sets; where
// there are none, those of any number of parts that alone hit one, and three more.
// Readings of what is drawn are weighed for three faults at most.
func (j *Judgement) hitting(sets [][]Part) [][]Part {
	all := MinimalHittingSets(sets, 3)
	if len(all) > 0 || len(j.drawn.evidence) > 0 {
		return all
	}
	var alone []Part
	for _, s := range sets {
		if len(s) == 1 && !slices.Contains(alone, s[0]) {
			alone = append(alone, s[0])
		}
	}
	if len(alone) > maxAlone {
		return nil
	}
	var rest [][]Part
	for _, s := range sets {
		if !slices.ContainsFunc(s, func(p Part) bool { return slices.Contains(alone, p) }) {
			rest = append(rest, s)
		}
	}
	for _, parts := range MinimalHittingSets(rest, 3) {
		all = append(all, append(slices.Clip(slices.Clone(alone)), parts...))
	}
	return all
}

// addWide adds the likeliest faults of the parts together, unless they are there.
func (j *Judgement) addWide(parts []Part) {
	w := make([]int, len(parts))
	for k, p := range parts {
		w[k] = j.likeliest(p)
	}
	if len(j.wide) >= maxWide || slices.ContainsFunc(j.wide, func(have []int) bool { return slices.Equal(have, w) }) {
		return
	}
	j.wide = append(slices.Clip(j.wide), w)
	h := j.hypothesis(w)
	sum := -j.scores.base
	for _, e := range j.problem.Evidence {
		if e, ok := e.(Plain); ok {
			sum += e.LogLik(h)
		}
	}
	j.scores.wide = append(slices.Clip(j.scores.wide), sum)
}

func (j *Judgement) hypothesis(faults []int) Hypothesis {
	h := make(Hypothesis, len(faults))
	for k, i := range faults {
		h[k] = j.faults[i]
	}
	return h
}

// likeliest is the fault of the part that scores highest by itself.
func (j *Judgement) likeliest(p Part) int {
	best, at := math.Inf(-1), -1
	for i, f := range j.faults {
		if f.Part == p {
			if s := math.Log(f.Prior) + j.scores.single[i] + j.aloneMost(i); s > best {
				best, at = s, i
			}
		}
	}
	return at
}
