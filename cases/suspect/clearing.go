package suspect

import (
	"cmp"
	"math"
	"slices"
)

// Telling is a candidate that can say whether it would surely show one hypothesis from
// another.
type Telling interface {
	Candidate
	// Tells reports whether what it shows with is lies beyond doubt off what it can show with
	// other, whatever the size of what is unknown there.
	Tells(is, other Hypothesis) bool
}

const (
	// maxHeld is how many others are held against a fault that is not proven yet, the
	// likeliest first.
	maxHeld = 32
	// finishing is how much more a fault counts of which less is missing: a reading counts
	// for one of n that are missing as n to the minus so much. Tried: with none of it the
	// readings prove a bit of everything and nothing whole.
	finishing = 1.5
)

// Clearing ranks the candidates by how much of what is missing to prove the rest good
// (Proofs) each is expected to bring for each minute, once it is known what is wrong: each
// fault, by itself and beside each other, wants evidence of two set-ups that contradicts it.
// Candidates that bring nothing are left out.
func (j *Judgement) Clearing(all []Candidate, from string) []Ranked {
	if len(j.masses().best) > 2 {
		return nil
	}
	is := j.best()
	missing := j.missing()
	var out []Ranked
	for _, c := range all {
		t, ok := c.(Telling)
		if !ok {
			continue
		}
		rank := Ranked{Candidate: c, Cost: c.Cost(from)}
		for _, m := range missing {
			f := j.faults[m.fault]
			if !t.Tells(is, Hypothesis{f}) {
				continue
			}
			n := m.alone
			for _, k := range m.beside {
				if t.Tells(is, Hypothesis{f, j.faults[k]}) {
					n++
				}
			}
			rank.Gain += float64(n) * math.Pow(float64(m.alone+len(m.beside)), -finishing)
		}
		if rank.Rate = rank.Gain / rank.Cost; rank.Gain > 0 {
			out = append(out, rank)
		}
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(b.Rate, a.Rate) })
	return out
}

// missing is what a fault wants to be proven not to be there: evidence of so many set-ups
// that contradicts it alone, and beside each of the others, which are named as often.
type missing struct {
	fault, alone int
	beside       []int
}

// missing lists what is missing of the faults that are not in what is known to be wrong.
func (j *Judgement) missing() (out []missing) {
	r := j.ruler()
	r.stand()
	is := j.best()
	for i, f := range j.faults {
		if j.outside(i) || slices.ContainsFunc(is, func(b Fault) bool { return b.Part == f.Part }) {
			continue
		}
		m := missing{fault: i, alone: r.wants(i, func(int) bool { return true })}
		held := 0
		for _, k := range r.likely {
			if held == maxHeld {
				break
			}
			if j.outside(k) || j.faults[k].Part == f.Part {
				continue
			}
			n := r.wants(i, func(e int) bool { return r.contradicts(e, i, k) })
			for range n {
				m.beside = append(m.beside, k)
			}
			held += min(n, 1)
		}
		if m.alone+len(m.beside) > 0 {
			out = append(out, m)
		}
	}
	return out
}

// wants is of how many set-ups, two at most, evidence is missing that is meant of all that
// contradicts the fault.
func (r *ruler) wants(i int, meant func(e int) bool) int {
	first := -1
	for _, e := range r.contra[i] {
		if r.setup[e] == first || !meant(e) {
			continue
		}
		if first >= 0 {
			return 0
		}
		first = r.setup[e]
	}
	if first >= 0 {
		return 1
	}
	return 2
}
