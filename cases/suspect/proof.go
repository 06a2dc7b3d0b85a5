package suspect

import (
	"cmp"
	"math"
	"slices"
)

// Proof says that one part is not bad in one way, as far as the evidence named
// reaches: under its conditions, since the part is what it is, and as long as the
// vehicle is as everybody takes it to be.
type Proof struct {
	Part Part
	Mode Mode
	// Entries are the ids of the evidence, of at least two set-ups.
	Entries []string
}

// Proofs lists what is proven good, mode by mode, and what must be read again
// first. A fault is proven not to be there when every hypothesis that holds it, in
// a pair too, is contradicted by evidence of two set-ups or more; so must it be together
// with every pair that may well be the answer and is likelier than either of its two
// alone. Where even the best hypothesis is contradicted, somebody read or wrote something
// wrong: the evidence is named, and until it is settled nothing counts as proven. Nor does
// anything while the drawing is doubted.
func (j *Judgement) Proofs() ([]Proof, []Again) {
	var proofs []Proof
	entries := make([][]string, len(j.faults))
	r := j.ruler()
	for i := range j.faults {
		if !j.outside(i) {
			entries[i], _ = r.proof(i)
		}
	}
	proven := make([]bool, len(j.faults))
	for i, f := range j.faults {
		if proven[i] = entries[i] != nil && !j.otherSide(i, entries); proven[i] {
			proofs = append(proofs, Proof{Part: f.Part, Mode: f.Mode, Entries: entries[i]})
		}
	}
	if again := j.readAgain(proven); again != nil || j.Doubted() {
		return nil, again
	}
	return proofs, nil
}

// ProvenGood reports whether every way of the part being bad is proven not to be there.
func (j *Judgement) ProvenGood(p Part) bool {
	r := j.ruler()
	for _, i := range j.of[p] {
		if entries, _ := r.proof(i); j.outside(i) || entries == nil {
			return false // most often so, and much sooner than all proofs
		}
	}
	proofs, _ := j.Proofs()
	n := 0
	for _, x := range proofs {
		if x.Part == p {
			n++
		}
	}
	return n > 0 && n == len(j.of[p])
}

// doubtful is the probability of its not being as drawn from which a drawing is doubted:
// proofs take it for what is there.
const doubtful = 0.1

// Doubted reports whether it may well not be as drawn.
func (j *Judgement) Doubted() bool { return j.Probability(NotAsDrawn) >= doubtful }

// otherSide reports whether a short to a neighbour is not ruled out as one of the
// neighbour to this part: it is the same, but the one is held against all else that may
// be wrong with this part too.
func (j *Judgement) otherSide(i int, ruledOut [][]string) bool {
	if _, is := j.faults[i].Mode.Neighbour(); !is {
		return false
	}
	for k, f := range j.faults {
		if _, is := f.Mode.Neighbour(); is && ruledOut[k] == nil && j.alike(i, k) {
			return true
		}
	}
	return false
}

// alike reports whether two faults are the same to all that was read on what is drawn.
func (j *Judgement) alike(i, k int) bool {
	for _, e := range j.drawn.evidence {
		if class := &j.classes[e]; class.fault(i) != class.fault(k) {
			return false
		}
	}
	return true
}

// ruler rules faults out.
type ruler struct {
	*Judgement
	setup   []int   // of each piece of evidence its set-up
	contra  [][]int // of each fault the evidence that contradicts it alone, ascending
	likely  []int   // the faults, those first that most likely stand against a proof; nil: not asked yet
	leading [][]int // pairs that may well be the answer
}

const (
	// maybe is how much less likely than the best a pair may be, in logs, to be held
	// against a proof: a thousandth.
	maybe = 7
	// maxLeading bounds how many, the likeliest first.
	maxLeading = 200
)

func (j *Judgement) ruler() *ruler {
	n := len(j.problem.Evidence)
	r := &ruler{Judgement: j, setup: make([]int, n), contra: make([][]int, len(j.faults))}
	names := map[string]int{}
	for e, evidence := range j.problem.Evidence {
		_, setup := evidence.Source()
		if _, ok := names[setup]; !ok {
			names[setup] = len(names)
		}
		r.setup[e] = names[setup]
		if !j.counts(evidence) {
			continue
		}
		// What counts contradicts nothing that it is not touched by, unless it is of what is
		// drawn: that may be contradicted by no fault at all.
		if class := &j.classes[e]; class.n > 0 && class.dense == nil {
			for _, t := range class.touched {
				if r.contradictsClass(e, t.fault, t.class, -1, 0, false) {
					r.contra[t.fault] = append(r.contra[t.fault], e)
				}
			}
			continue
		}
		for i := range j.faults {
			if r.contradicts(e, i, -1) {
				r.contra[i] = append(r.contra[i], e)
			}
		}
	}
	return r
}

// stand finds out what most likely stands against a proof.
func (r *ruler) stand() {
	if r.likely != nil {
		return
	}
	j := r.Judgement
	r.likely = sorted(func(i int) float64 { return -j.masses().fault[i] }, len(j.faults))
	type one struct {
		score float64
		pair  []int
	}
	var all []one
	alone := make([]float64, len(j.faults))
	least := j.masses().highest - maybe
	j.each(math.Inf(-1), func(score float64, faults ...int) float64 {
		switch len(faults) {
		case 0:
		case 1:
			alone[faults[0]] = score
			if faults[0] == len(alone)-1 {
				return least // all singles were here
			}
		case 2:
			if score > least && score > max(alone[faults[0]], alone[faults[1]]) && !slices.ContainsFunc(faults, j.outside) {
				all = append(all, one{score, slices.Clone(faults)})
			}
			return least
		}
		return math.Inf(-1)
	})
	slices.SortStableFunc(all, func(a, b one) int { return cmp.Compare(b.score, a.score) })
	for _, o := range all[:min(len(all), maxLeading)] {
		r.leading = append(r.leading, o.pair)
	}
}

// counts reports whether the evidence can rule out anything: that something is bad
// somewhere speaks for no part elsewhere, unless one fault or two explain it, with
// which every other can then be held against it. Tests that failed never do: the
// fault they found is theirs, and there may be more than two.
func (j *Judgement) counts(evidence Evidence) bool {
	if _, ok := evidence.(Drawn); ok && len(j.masses().best) <= 2 {
		return true
	}
	return evidence.Beyond(nil) < beyondDoubt
}

// outside reports whether the fault is one that no proof speaks of.
func (j *Judgement) outside(i int) bool {
	return j.faults[i].Part == NotNamed || j.faults[i].Part == NotAsDrawn
}

// contradicts reports whether the evidence contradicts the faults, of which there
// are one or two.
func (r *ruler) contradicts(e, i, k int) bool {
	if r.contradicted[e] == nil {
		h := Hypothesis{r.faults[i]}
		if k >= 0 {
			h = append(h, r.faults[k])
		}
		return r.problem.Evidence[e].Beyond(h) >= beyondDoubt
	}
	class := &r.classes[e]
	if k < 0 {
		return r.contradictsClass(e, i, class.fault(i), k, 0, false)
	}
	inOrder, turned := class.inOrder(i, k)
	if turned {
		i, k = k, i
	}
	return r.contradictsClass(e, i, class.fault(i), k, class.fault(k), inOrder)
}

// contradictsClass is contradicts where the evidence has classes: a and b are those of
// the faults.
func (r *ruler) contradictsClass(e, i, a, k, b int, inOrder bool) bool {
	n := r.classes[e].n
	at := &r.contradicted[e][a*n+b]
	if inOrder {
		at = &r.contradicted[e][(n+a)*n+b]
	}
	if *at == 0 {
		off := 0.0
		if drawn, ok := r.problem.Evidence[e].(Drawn); ok {
			off = drawn.Outside([3]int{a, b}, inOrder)
		} else {
			h := Hypothesis{r.faults[i]}
			if k >= 0 {
				h = append(h, r.faults[k])
			}
			off = r.problem.Evidence[e].Beyond(h)
		}
		*at = 1
		if off >= beyondDoubt {
			*at = 2
		}
	}
	return *at == 2
}

// proof returns the ids of the evidence that rules the fault out. Where it is not ruled
// out, and only because another may be there too, mask is the other; else -1.
func (r *ruler) proof(i int) (entries []string, mask int) {
	turn := slices.Clone(r.contra[i])
	if !r.setups(turn, func(int) bool { return true }) {
		return nil, -1
	}
	r.stand()
	rests := slices.Clone(r.contra[i]) // what the proof rests on
	// Beside another it may be that what speaks against the other rules the two out.
	beside := func(others []int, meant func(e int) bool) bool {
		if r.setups(turn, meant) {
			return true
		}
		all := slices.Clone(turn)
		for _, k := range others {
			all = append(all, r.contra[k]...)
		}
		if !r.setups(all, meant) {
			return false
		}
		for _, e := range all[:2] {
			if !slices.Contains(rests, e) {
				rests = append(rests, e)
			}
		}
		return true
	}
	for n, k := range r.likely {
		if r.faults[k].Part != r.faults[i].Part && !r.outside(k) && !beside(r.likely[n:n+1], func(e int) bool { return r.contradicts(e, i, k) }) {
			copy(r.likely[1:], r.likely[:n]) // it may well stand against the next one too
			r.likely[0] = k
			return nil, k
		}
	}
	for _, pair := range r.leading {
		h := Hypothesis{r.faults[i]}
		for _, k := range pair {
			if r.faults[k].Part != r.faults[i].Part {
				h = append(h, r.faults[k])
			}
		}
		if len(h) == 3 && !beside(pair, func(e int) bool { return r.problem.Evidence[e].Beyond(h) >= beyondDoubt }) {
			return nil, -1
		}
	}
	for _, w := range r.wide {
		if !slices.Contains(w, i) {
			continue
		}
		h := r.hypothesis(w)
		if !beside(w, func(e int) bool { return r.problem.Evidence[e].Beyond(h) >= beyondDoubt }) {
			return nil, -1
		}
	}
	slices.Sort(rests)
	for _, e := range rests {
		id, _ := r.problem.Evidence[e].Source()
		entries = append(entries, id)
	}
	return entries, -1
}

// setups reports whether the evidence that is meant is of two set-ups at least: two
// must contradict a fault before it is proven not to be there. Common practice, and
// what keeps one slip of the hand from calling a faulty thing good. What was meant moves
// to the front: it may well be so the next time.
func (r *ruler) setups(all []int, meant func(int) bool) bool {
	first := -1
	for n, e := range all {
		if first >= 0 && r.setup[e] == r.setup[all[0]] || !meant(e) {
			continue
		}
		first++
		copy(all[first+1:], all[first:n])
		if all[first] = e; first > 0 {
			return true
		}
	}
	return false
}
