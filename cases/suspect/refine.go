package suspect

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
)

// alike names the hypotheses that all evidence takes for the same: the groups of
// their faults, -1 where there are fewer.
type alike [3]int

const (
	// running is how far below the best, in logs, a hypothesis is out of the running:
	// it holds less than a ten-thousandth of the mass of the best.
	running = 9
	// nearBest is how near to the best, in logs, a pair must be to be asked for all draws.
	nearBest = 3
	// maxExact bounds how many different hypotheses are asked for their draws. Of the
	// others the most counts, which favours them: a judgement is then less sure, never
	// surer.
	maxExact = 1500
)

// groups numbers the faults so that those which every piece of evidence puts into
// the same class have the same number.
func (j *Judgement) groups() []int {
	out := make([]int, len(j.faults))
	met := map[string]int{}
	var key []byte
	for i := range j.faults {
		key = key[:0]
		for _, class := range j.classes {
			c := i + 1<<30 // evidence without classes tells every fault from every other
			if class != nil {
				c = class[i]
			}
			key = binary.AppendVarint(key, int64(c))
		}
		n, ok := met[string(key)]
		if !ok {
			n = len(met)
			met[string(key)] = n
		}
		out[i] = n
	}
	return out
}

func (j *Judgement) alike(group []int, faults []int) alike {
	out := alike{-1, -1, -1}
	for k, i := range faults {
		out[k] = group[i]
	}
	return out
}

// refine puts the mean over the draws in the place of the most, for the hypotheses
// that may hold some of the probability. A mean of products, not a product of
// means: an unknown resistance is the same in every reading.
func (j *Judgement) refine() {
	j.exact = nil
	if j.problem.Draws < 2 || len(j.drawn.evidence) == 0 {
		return
	}
	r := &refining{Judgement: j, lowest: math.Inf(1), exact: map[alike]float64{}, coarse: map[alike]bool{}, prior: map[alike]float64{}, faults: map[alike][]int{}, best: math.Inf(-1)}
	j.group = j.groups()
	// Single faults first: they say how likely a pair must be to matter.
	s := &j.scores
	few := []candidate{{s.base + s.none, nil}}
	logPrior := j.logPriors()
	for i := range j.faults {
		few = append(few, candidate{s.base + logPrior[i] + s.single[i], []int{i}})
	}
	r.take(few)
	j.pairsFrom(r.best - negligible)
	var all []candidate
	j.each(func(score float64, faults ...int) {
		if score >= r.best-running {
			all = append(all, candidate{score, slices.Clone(faults)})
		}
	})
	r.take(all)
	j.exact, j.least = r.exact, r.lowest-1e-6
}

// candidate is a hypothesis that may be asked for its draws.
type candidate struct {
	score  float64
	faults []int
}

type refining struct {
	*Judgement
	exact  map[alike]float64
	coarse map[alike]bool // those asked for few draws
	prior  map[alike]float64
	faults map[alike][]int
	best   float64 // the highest score by draws
	lowest float64 // the least, by the most and without priors, of those asked
}

// take asks the candidates for their draws, the likeliest first, as long as they are in
// the running.
func (r *refining) take(all []candidate) {
	best := map[alike]candidate{} // the likeliest of those alike
	for _, c := range all {
		k := r.alike(r.group, c.faults)
		if have, ok := best[k]; !ok || c.score > have.score {
			best[k] = c
		}
	}
	all = all[:0]
	for k, c := range best {
		if _, ok := r.exact[k]; !ok {
			all = append(all, c)
		}
	}
	slices.SortFunc(all, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(b.score, a.score), slices.Compare(a.faults, b.faults))
	})
	for again := true; again; {
		again = false
		for len(all) > 0 && len(r.exact) < maxExact && all[0].score >= r.best-running {
			c := all[0]
			all = all[1:]
			k, n := r.alike(r.group, c.faults), r.drawsOf(len(c.faults))
			r.coarse[k] = n == r.problem.FewDraws
			r.exact[k], r.prior[k], r.faults[k] = r.mean(c.faults, n), r.logPrior(c.faults), c.faults
			r.best = max(r.best, r.exact[k]+r.prior[k])
			r.lowest = min(r.lowest, c.score-r.prior[k])
			again = true
		}
		// Few draws may say too much as well as too little: what looks best is asked for
		// all, and with it who is in the running may change.
		for k, coarse := range r.coarse {
			if coarse && r.exact[k]+r.prior[k] > r.best-nearBest {
				r.exact[k] = r.mean(r.faults[k], r.problem.Draws)
				r.coarse[k] = false
				again = true
			}
		}
		if again {
			r.best = math.Inf(-1)
			for k, mean := range r.exact {
				r.best = max(r.best, mean+r.prior[k])
			}
		}
	}
}

func (j *Judgement) logPrior(faults []int) float64 {
	sum := 0.0
	for _, i := range faults {
		sum += math.Log(j.faults[i].Prior)
	}
	return sum
}

// mean is the log of the mean over n draws of the likelihood of everything.
func (j *Judgement) mean(faults []int, n int) float64 {
	h := make(Hypothesis, len(faults))
	for k, i := range faults {
		h[k] = j.faults[i]
	}
	sums, same := make([]float64, n), 0.0
	for _, e := range j.problem.Evidence {
		d, ok := e.(Drawn)
		if !ok {
			same += e.LogLik(h, 0)
			continue
		}
		for k, l := range d.LogLiks(h, n)[:n] {
			sums[k] += l
		}
	}
	highest, total := slices.Max(sums), 0.0
	for _, s := range sums {
		total += math.Exp(s - highest)
	}
	return same + highest + math.Log(total/float64(n))
}
