package suspect

import (
	"cmp"
	"math"
	"slices"
)

// mass is how the probability is spread.
type mass struct {
	highest float64   // log score
	best    []int     // the faults of the most probable hypothesis
	named   []int     // of the most probable that blames nothing but components
	total   float64   // of exp(score - highest)
	none    float64   // of those that hold nothing that is still there
	fault   []float64 // of each fault, in all hypotheses that hold it
	parts   map[Part]float64
}

// negligible is the score, below the highest, at which a hypothesis holds less
// than 1e-15 of the mass of the best.
const negligible = 35

// each calls f with every hypothesis whose log score is over least, and the score; f
// returns what least is from then on. The slice is f's until it returns.
func (j *Judgement) each(least float64, f func(score float64, faults ...int) (least float64)) {
	s := &j.scores
	base := s.base
	if score := base + s.none + j.drawn.well; score > least {
		least = f(score)
	}
	logPrior := j.logPriors()
	one := make([]int, 1)
	for i := range j.faults {
		if score := logPrior[i] + base + (s.single[i] + j.ofOne(i)); score > least {
			one[0] = i
			least = f(score, one...)
		}
	}
	m := len(j.paired)
	rest := make([]float64, m) // of each fault, what is not held with its pairs
	if m > manyPaired {
		for a, i := range j.paired {
			rest[a] = s.single[i] - s.none/2
		}
	}
	two, drawn := make([]int, 2), len(j.drawn.evidence) > 0
	for a, i := range j.paired {
		pairs := s.pair[tri(a, a+1, m):][:m-a-1]
		for n, most := range pairs {
			b := a + 1 + n
			k := j.paired[b]
			most += rest[a] + rest[b]
			if drawn {
				most += j.ofTwo(i, k)
			}
			score := logPrior[i] + logPrior[k] + base + most
			if score > least && j.faults[i].Part != j.faults[k].Part {
				two[0], two[1] = i, k
				least = f(score, two...)
			}
		}
	}
	for k, w := range j.wide {
		prior := 0.0
		for _, i := range w {
			prior += logPrior[i]
		}
		if score := prior + base + (s.wide[k] + j.ofWide(k)); score > least {
			least = f(score, w...)
		}
	}
}

func (j *Judgement) masses() *mass {
	j.once.Do(func() {
		w := &mass{highest: math.Inf(-1), fault: make([]float64, len(j.faults)), parts: map[Part]float64{}}
		j.each(w.highest, func(score float64, faults ...int) float64 {
			w.highest = score
			w.best = append(w.best[:0], faults...)
			return score
		})
		least, named := w.highest-negligible, math.Inf(-1)
		j.each(least, func(score float64, faults ...int) float64 {
			if score > named && !slices.ContainsFunc(faults, j.outside) {
				named = score
				w.named = append(w.named[:0], faults...)
			}
			p := math.Exp(score - w.highest)
			w.total += p
			if !slices.ContainsFunc(faults, func(i int) bool { return !j.faults[i].Ended }) {
				w.none += p
			}
			for _, i := range faults {
				w.fault[i] += p
			}
			return least
		})
		for i, f := range j.faults {
			w.parts[f.Part] += w.fault[i] / w.total
		}
		j.mass = w
	})
	return j.mass
}

// Probability that the part is bad, alone or with another. NotNamed asks for
// something not named.
func (j *Judgement) Probability(p Part) float64 { return min(j.masses().parts[p], 1) }

// ProbabilityOf one way of being bad.
func (j *Judgement) ProbabilityOf(p Part, m Mode) float64 {
	w := j.masses()
	for i, f := range j.faults {
		if f.Part == p && f.Mode == m {
			return min(w.fault[i]/w.total, 1)
		}
	}
	return 0
}

// NoFault is the probability that nothing that is still there is bad.
func (j *Judgement) NoFault() float64 { return j.masses().none / j.mass.total }

// Odds of a probability; at most 1e15.
func Odds(p float64) float64 { return min(p/max(1-p, 1e-15), 1e15) }

// IfPrior is what the probability of a part would be if its prior were so many
// times larger.
func IfPrior(p, times float64) float64 { return times * p / (times*p + 1 - p) }

// Suspect is a part with its probability.
type Suspect struct {
	Part        Part
	Probability float64
	// Modes that carry it, the likeliest first.
	Modes []Mode
}

// Suspects lists every part, the likeliest first.
func (j *Judgement) Suspects() []Suspect {
	w := j.masses()
	at := map[Part]int{}
	var out []Suspect
	var byMode [][]int
	for i, f := range j.faults {
		k, ok := at[f.Part]
		if !ok {
			k = len(out)
			at[f.Part] = k
			out = append(out, Suspect{Part: f.Part, Probability: j.Probability(f.Part)})
			byMode = append(byMode, nil)
		}
		byMode[k] = append(byMode[k], i)
	}
	for k, all := range byMode {
		slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(w.fault[b], w.fault[a]) })
		for _, i := range all {
			out[k].Modes = append(out[k].Modes, j.faults[i].Mode)
		}
	}
	slices.SortStableFunc(out, func(a, b Suspect) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), comparePart(a.Part, b.Part))
	})
	return out
}

// Explanation is a set of parts that, being bad together, accounts for every
// failing test, with none of them to spare.
type Explanation struct {
	Parts []Part
	// Probability that exactly these are bad; 0 for three where two explain as much,
	// since such threes are not weighed.
	Probability float64
}

// accounted is how likely an observation must be for a hypothesis to account for
// it.
const accounted = 0.2

// Explanations lists the minimal explanations of at most three parts, the most
// probable first: those under which nothing observed is a surprise. Something not
// named is always one, unless nothing asks for a fault.
func (j *Judgement) Explanations() []Explanation {
	if slices.ContainsFunc(j.problem.Evidence, func(e Evidence) bool { _, ok := e.(Drawn); return ok }) {
		return j.explanationsDrawn()
	}
	sets := j.conflicts(false)
	if len(sets) == 0 {
		return nil
	}
	out := []Explanation{{Parts: []Part{NotNamed}, Probability: j.held([]Part{NotNamed})}}
	for _, parts := range j.hitting(sets) {
		h := make(Hypothesis, len(parts))
		for k, p := range parts {
			h[k] = j.faults[j.likeliest(p)]
		}
		if j.accounts(h) {
			out = append(out, Explanation{Parts: parts, Probability: j.held(parts)})
		}
	}
	slices.SortStableFunc(out, func(a, b Explanation) int { return cmp.Compare(b.Probability, a.Probability) })
	return out
}

// held is the probability that exactly these parts are bad, of those hypotheses that are
// not negligible. No readings on what is drawn take part.
func (j *Judgement) held(parts []Part) float64 {
	w, s, sum := j.masses(), &j.scores, 0.0
	add := func(most float64, faults ...int) {
		prior := 0.0
		for _, i := range faults {
			prior += math.Log(j.faults[i].Prior)
		}
		if score := prior + s.base + most; score > w.highest-negligible {
			sum += math.Exp(score-w.highest) / w.total
		}
	}
	switch len(parts) {
	case 1:
		for _, i := range j.of[parts[0]] {
			add(s.single[i], i)
		}
	case 2:
		for _, i := range j.of[parts[0]] {
			for _, k := range j.of[parts[1]] {
				if a, b := j.row[i], j.row[k]; a >= 0 && b >= 0 {
					add(j.two(min(a, b), max(a, b)), i, k)
				}
			}
		}
	default:
		for k, faults := range j.wide {
			if j.partsKey(faults) == key(parts) {
				add(s.wide[k], faults...)
			}
		}
	}
	return sum
}

// maxExplaining is how far below the best, in logs, a hypothesis is looked at as an
// explanation.
const maxExplaining = 5

// explanationsDrawn are the explanations where readings take part, which foretell
// more than that something is bad: of the hypotheses that may be the answer, those
// that account for everything and hold no smaller one that does.
func (j *Judgement) explanationsDrawn() []Explanation {
	w := j.masses()
	held, sets := map[string]float64{}, map[string][]Part{}
	least := w.highest - negligible
	j.each(least, func(score float64, faults ...int) float64 {
		k := j.partsKey(faults)
		held[k] += math.Exp(score-w.highest) / w.total
		if score < w.highest-maxExplaining || sets[k] != nil || len(faults) > 1 && slices.ContainsFunc(faults, j.outside) {
			return least
		}
		h := make(Hypothesis, len(faults))
		for n, i := range faults {
			h[n] = j.faults[i]
		}
		if j.accounts(h) {
			var parts []Part
			for _, f := range h {
				parts = append(parts, f.Part)
			}
			sets[k] = append(parts, Part{})[:len(parts)]
		}
		return least
	})
	if sets[""] != nil {
		return nil // nothing asks for a fault
	}
	var out []Explanation
	for k, parts := range sets {
		if len(parts) == 0 || parts[0] == NotAsDrawn {
			continue
		}
		smaller := func(drop int) bool {
			rest := slices.Delete(slices.Clone(parts), drop, drop+1)
			return len(rest) > 0 && sets[key(rest)] != nil
		}
		if len(parts) == 2 && (smaller(0) || smaller(1)) || len(parts) == 3 && (smaller(0) || smaller(1) || smaller(2)) {
			continue
		}
		out = append(out, Explanation{Parts: parts, Probability: held[k]})
	}
	slices.SortFunc(out, func(a, b Explanation) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(key(a.Parts), key(b.Parts)))
	})
	return out
}

// accounts reports whether nothing observed of what is there now is a surprise
// under h.
func (j *Judgement) accounts(h Hypothesis) bool {
	for n, e := range j.problem.Evidence {
		if s, ok := e.(*Sighting); ok && s.Gone {
			continue // that it stayed away for a while is no test
		}
		past := slices.ContainsFunc(j.asks[n].faults, func(i int) bool { return j.faults[i].Ended })
		switch e := e.(type) {
		case Drawn:
			if !past && e.Beyond(h) >= beyondDoubt {
				return false
			}
		case Plain:
			if !past && e.LogLik(h) < math.Log(accounted) {
				return false
			}
		}
	}
	return true
}

func (j *Judgement) partsKey(faults []int) string {
	parts := make([]Part, len(faults))
	for k, i := range faults {
		parts[k] = j.faults[i].Part
	}
	return key(parts)
}

func key(parts []Part) string {
	parts = slices.Clone(parts)
	slices.SortFunc(parts, comparePart)
	var b []byte
	for _, p := range parts {
		b = append(b, p.Key...)
		b = append(b, 0, byte(p.Life>>8), byte(p.Life), 0)
	}
	return string(b)
}
