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
	of      map[Part][]int // the faults of each part, ascending
	first   []int          // of each fault the first of its part
	classes []classes      // of each piece of evidence
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
	pair   []float64 // of paired i < j at tri(i, j); of many, only what it is beyond either alone
	wide   []float64
}

// manyPaired is from how many faults on of a pair only that is held which it is beyond
// either of its faults alone: most evidence touches few faults, and then few pairs change.
// Of fewer the whole is held, to the last digit as it is added up.
const manyPaired = 300

// two is the score of the paired faults a < b, without base.
func (j *Judgement) two(a, b int) float64 {
	s, m := &j.scores, len(j.paired)
	score := s.pair[tri(a, b, m)]
	if m > manyPaired {
		score += s.single[j.paired[a]] + s.single[j.paired[b]] - s.none
	}
	return score
}

// tri is the place of the pair of rows i < j among m.
func tri(i, j, m int) int { return i*(2*m-i-1)/2 + j - i - 1 }

// Judge judges the problem from the start. It panics over a problem that names a
// fault twice or gives a prior outside (0, 1): the caller made it.
func Judge(p Problem) *Judgement {
	j := &Judgement{problem: p, faults: p.Faults, of: make(map[Part][]int, len(p.Faults)), once: new(sync.Once)}
	for i, f := range p.Faults {
		twice := slices.ContainsFunc(j.of[f.Part], func(k int) bool { return p.Faults[k].Mode == f.Mode })
		if twice || !(f.Prior > 0 && f.Prior < 1) {
			panic(fmt.Sprintf("the fault %v (%v) is named twice or has the prior %g", f.Part, f.Mode, f.Prior))
		}
		j.of[f.Part] = append(j.of[f.Part], i)
		j.first = append(j.first, j.of[f.Part][0])
	}
	j.classes = make([]classes, len(p.Evidence))
	j.contradicted = make([][]byte, len(p.Evidence))
	for n, e := range p.Evidence {
		j.classes[n] = j.classesOf(e)
		j.contradicted[n] = j.classes[n].pairs()
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
	class := j.classesOf(e)
	out.classes = append(slices.Clip(j.classes), class)
	out.contradicted = append(slices.Clip(j.contradicted), class.pairs())
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
		for n := range j.problem.Evidence {
			one := j.alone(n)
			touched := one.class.touched
			for i := range singles {
				switch {
				case len(touched) > 0 && touched[0].fault == i:
					singles[i] += one.by[touched[0].class]
					touched = touched[1:]
				case one.class.n > 0 && one.class.dense == nil:
					singles[i] += one.none
				default:
					singles[i] += one.of(i)
				}
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

func (j *Judgement) asked(e Evidence, one alone) ask {
	var out ask
	// What a part that is gone left behind is still there, and something there explains it.
	left, _ := e.(leaver)
	gone := func(i int) bool { return left != nil && j.faults[i].Ended && left.Left(j.faults[i]) }
	best, notNamed := one.none, one.none
	one.each(len(j.faults), func(i int, l float64) {
		if j.faults[i].Part == NotNamed {
			notNamed = max(notNamed, l)
		} else {
			best = max(best, l)
		}
		if l-one.none > log3 && !gone(i) {
			out.faults = append(out.faults, i)
		}
	})
	out.named = best-notNamed > log3
	return out
}

// conflicts are the sets of parts of which one at least must be bad, as far as
// tests tell the truth. Something not named is left out, and with it what nothing
// else explains; so is what a part that is gone may explain, unless ended asks for
// it too.
func (j *Judgement) conflicts(ended bool) [][]Part {
	var out [][]Part
	last := make([]int, len(j.faults)) // the set that held a part last, from 1, at its first fault
	for n, ask := range j.asks {
		var set []Part
		if !ended && slices.ContainsFunc(ask.faults, func(i int) bool { return j.faults[i].Ended }) {
			continue
		}
		for _, i := range ask.faults {
			if p := j.faults[i].Part; p != NotNamed && last[j.first[i]] != n+1 {
				last[j.first[i]] = n + 1
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
