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
	// finishing is how much more a fault counts of which less is missing: each of n that are
	// missing is worth n to the minus so much. With less of it readings prove a bit of
	// everything and nothing whole.
	finishing = 1.5
)

// Clearing ranks the candidates by how much of what is missing to prove the rest good
// (Proofs) each is expected to bring for each minute, once it is known what is wrong: each
// fault, by itself and beside each other, wants evidence of two set-ups that contradicts it.
// The first of them are returned, most at most; candidates that bring nothing are left out.
func (j *Judgement) Clearing(all []Candidate, from string, most int) []Ranked {
	if len(j.masses().best) > 2 {
		return nil
	}
	is := j.best()
	missing := j.missing()
	type looked struct {
		Ranked
		Telling
		alone []bool // of each fault whether it is told by itself
	}
	gain := func(l *looked, both func(i, k int) bool) (sum float64) {
		for _, m := range missing {
			n := 0
			if l.alone[m.fault] {
				n = m.alone
			}
			for _, k := range m.beside {
				if (l.alone[m.fault] || l.alone[k]) && both(m.fault, k) {
					n++
				}
			}
			if n > 0 {
				sum += float64(n) * m.worth
			}
		}
		return sum
	}
	// What rules two out rules the one or the other out, so that it is known what a candidate
	// brings at most, and the rest is asked only of those that may be among the first.
	var left []looked
	for _, c := range all {
		t, ok := c.(Telling)
		if !ok {
			continue
		}
		l := looked{Ranked{Candidate: c, Cost: c.Cost(from)}, t, make([]bool, len(j.faults))}
		for i := range j.faults {
			l.alone[i] = !j.outside(i) && t.Tells(is, j.faults[i:i+1])
		}
		l.Rate = gain(&l, func(int, int) bool { return true }) / l.Ranked.Cost
		left = append(left, l)
	}
	byRate := func(a, b Ranked) int { return cmp.Compare(b.Rate, a.Rate) }
	slices.SortStableFunc(left, func(a, b looked) int { return byRate(a.Ranked, b.Ranked) })
	var out []Ranked
	pair := make(Hypothesis, 2)
	for _, l := range left {
		if l.Rate == 0 || len(out) == most && l.Rate <= out[most-1].Rate {
			break
		}
		l.Gain = gain(&l, func(i, k int) bool {
			pair[0], pair[1] = j.faults[i], j.faults[k]
			return l.Tells(is, pair)
		})
		if l.Rate = l.Gain / l.Ranked.Cost; l.Gain > 0 {
			out = append(out, l.Ranked)
			slices.SortStableFunc(out, byRate)
			out = out[:min(len(out), most)]
		}
	}
	return out
}

// missing is what a fault wants to be proven not to be there: evidence of so many set-ups
// that contradicts it alone, and beside each of the others, which are named as often.
type missing struct {
	fault, alone int
	beside       []int
	worth        float64 // of each of them
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
		m := missing{fault: i, alone: r.wants(r.contra[i], func(int) bool { return true })}
		held := 0
		for _, k := range r.likely {
			if held == maxHeld {
				break
			}
			if j.outside(k) || j.faults[k].Part == f.Part {
				continue
			}
			n := r.wants(append(slices.Clip(r.contra[i]), r.contra[k]...), func(e int) bool { return r.contradicts(e, i, k) })
			for range n {
				m.beside = append(m.beside, k)
			}
			held += min(n, 1)
		}
		if n := m.alone + len(m.beside); n > 0 {
			m.worth = math.Pow(float64(n), -finishing)
			out = append(out, m)
		}
	}
	return out
}

// wants is of how many set-ups, two at most, evidence that is meant is missing.
func (r *ruler) wants(all []int, meant func(e int) bool) int {
	first := -1
	for _, e := range all {
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
