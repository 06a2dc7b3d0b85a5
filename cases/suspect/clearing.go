package suspect

import (
	"cmp"
	"slices"
)

// Telling is a candidate that can say whether it would surely show one hypothesis from
// another.
type Telling interface {
	Candidate
	// Tells reports whether what it shows with all of with, whatever the size of what is
	// unknown, lies beyond doubt off what it shows with less, its first faults.
	Tells(less, with Hypothesis) bool
}

// Clearing ranks the candidates by how many faults each is expected to rule out for
// each minute, once it is known what is wrong: beside that, since what is wrong there may
// hide what else is. A fault is counted as often as it wants evidence of another set-up
// to be proven not to be there (Proofs), and once more for each other that cannot be
// proven before it is. Candidates that rule out nothing are left out.
func (j *Judgement) Clearing(all []Candidate, from string) []Ranked {
	r := j.ruler()
	best := j.masses().best
	less := j.best()
	if len(best) > 2 {
		return nil
	}
	wants := make([]float64, len(j.faults))
	for i, f := range j.faults {
		if j.outside(i) || slices.ContainsFunc(less, func(b Fault) bool { return b.Part == f.Part }) {
			continue
		}
		wants[i] += 1 - float64(r.against(i, best))/2
		if entries, mask := r.proof(i); entries == nil && mask >= 0 {
			wants[mask]++
		}
	}
	var out []Ranked
	for _, c := range all {
		t, ok := c.(Telling)
		if !ok {
			continue
		}
		rank := Ranked{Candidate: c, Cost: c.Cost(from)}
		for i, f := range j.faults {
			if wants[i] > 0 && !slices.ContainsFunc(less, func(b Fault) bool { return b.Part == f.Part }) && t.Tells(less, append(slices.Clip(less), f)) {
				rank.Gain += wants[i]
			}
		}
		if rank.Rate = rank.Gain / rank.Cost; rank.Gain > 0 {
			out = append(out, rank)
		}
	}
	slices.SortStableFunc(out, func(a, b Ranked) int { return cmp.Compare(b.Rate, a.Rate) })
	return out
}

// against is of how many set-ups, two at most, evidence contradicts the fault beside
// others.
func (r *ruler) against(i int, others []int) int {
	first := -1
	for _, e := range r.contra[i] {
		if r.setup[e] == first {
			continue
		}
		if !slices.ContainsFunc(others, func(k int) bool { return !r.contradicts(e, i, k) }) {
			if first >= 0 {
				return 2
			}
			first = r.setup[e]
		}
	}
	if first >= 0 {
		return 1
	}
	return 0
}
