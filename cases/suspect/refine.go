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
	// far is how far below the best by the most, in logs, a hypothesis is not looked at:
	// the most of the best may be far above its mean.
	far = 50
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
	draws := j.problem.Draws
	if draws < 2 || !slices.ContainsFunc(j.problem.Evidence, func(e Evidence) bool { _, ok := e.(Drawn); return ok }) {
		return
	}
	group := j.groups()
	type one struct {
		score  float64
		faults []int
	}
	best := map[alike]one{} // the likeliest of those alike
	top := math.Inf(-1)
	j.each(func(score float64, faults ...int) {
		top = max(top, score)
		if score < top-far {
			return
		}
		k := j.alike(group, faults)
		if have, ok := best[k]; !ok || score > have.score {
			best[k] = one{score, slices.Clone(faults)}
		}
	})
	all := make([]one, 0, len(best))
	for _, o := range best {
		all = append(all, o)
	}
	slices.SortFunc(all, func(a, b one) int {
		return cmp.Or(cmp.Compare(b.score, a.score), slices.Compare(a.faults, b.faults))
	})
	exact := map[alike]float64{}
	coarse := map[alike]bool{}
	prior, of := map[alike]float64{}, map[alike][]int{}
	next := 0
	for again := true; again; {
		again = false
		best := math.Inf(-1)
		for k, mean := range exact {
			best = max(best, mean+prior[k])
		}
		for ; next < min(len(all), maxExact); next++ {
			o := all[next]
			if o.score < best-running {
				break
			}
			k, n := j.alike(group, o.faults), draws
			if len(o.faults) > 1 && j.problem.FewDraws > 0 {
				n = j.problem.FewDraws
				coarse[k] = true
			}
			exact[k], prior[k], of[k] = j.mean(o.faults, n), j.logPrior(o.faults), o.faults
			best = max(best, exact[k]+prior[k])
			again = true
		}
		// Few draws may say too much as well as too little: what looks best is asked for
		// all, and with it who is in the running may change.
		for k := range coarse {
			if exact[k]+prior[k] > best-nearBest {
				exact[k] = j.mean(of[k], draws)
				delete(coarse, k)
				again = true
			}
		}
	}
	j.exact, j.group = exact, group
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
