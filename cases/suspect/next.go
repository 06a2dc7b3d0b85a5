package suspect

import (
	"cmp"
	"math"
	"slices"
)

// Candidate is a test that could be done next.
type Candidate interface {
	// Setup names the state the vehicle and the instruments are in for it.
	Setup() string
	// Cost in minutes, risk included, when the set-up is from: it is more when the
	// set-up must be changed. Positive.
	Cost(from string) float64
	// Outcomes lists what may come of it and how likely each is when h holds; the
	// same outcomes in the same order for every h, adding up to 1.
	Outcomes(h Hypothesis) []Chance
}

// Chance of one outcome.
type Chance struct {
	Outcome string
	P       float64
}

// Ranked is a candidate with what can be expected of it.
type Ranked struct {
	Candidate Candidate
	// Gain is the information over components that it is expected to bring, in bits
	// (C. E. Shannon, A mathematical theory of communication, 1948): mostly over which to go
	// to first, a little over what is wrong beside it too. Of one fault it is the same.
	Gain float64
	// Cost from the set-up that was given.
	Cost float64
	// Rate is bits for each minute: for the best few candidates of the two best steps
	// together and of this one, added up; for the others twice that of this one.
	Rate float64
	// Outcomes with how likely each is as things stand.
	Outcomes []Chance
}

const (
	// lookAhead is how many candidates are looked at two steps deep.
	lookAhead = 6
	// seconds is how many, the best by themselves, may come second in that.
	seconds = 16
	// maxStanding is how many hypotheses, the likeliest, carry the choice.
	maxStanding = 90
	// noGain is the information in bits below which a test tells nothing.
	noGain = 1e-3
	// besides is the share that information over all that is wrong has in the gain; the
	// rest is over which part to go to first. A search ends with the first, and what is
	// wrong beside it is told better once that is found. Assumed.
	besides = 0.1
)

// standing is a hypothesis that holds a share of the probability.
type standing struct {
	h     Hypothesis
	p     float64
	group int // hypotheses that blame the same parts
}

// nobody is to be gone to first where nothing is wrong but what is found already.
var nobody = Part{Life: -1}

// groups are the hypotheses that blame the same parts, by the number of the part that
// each of them blames first: of its parts that are not found already the likeliest.
type groups []int

// Next ranks the candidates, the best first, by expected information over
// components for each minute, with a look two steps ahead among the best few: the
// choice that looks one step ahead only is 31 % worse on a published example (see
// the tests). What a candidate tells at once counts beside what two steps tell,
// because a search often ends with it. Candidates that tell nothing are left out.
func (j *Judgement) Next(all []Candidate, from string) []Ranked {
	hs, groups := j.standing()
	if len(hs) == 0 {
		return nil
	}
	chances := make([][][]float64, len(all)) // candidate, hypothesis, outcome
	type ranked struct {
		Ranked
		at int // among all
	}
	var list []ranked
	p := weights(hs)
	var room joint
	for c, candidate := range all {
		var names []Chance
		var rows []float64
		chances[c] = make([][]float64, len(hs))
		for i := range hs {
			o := candidate.Outcomes(hs[i].h)
			if i == 0 {
				names, rows = slices.Clone(o), make([]float64, len(hs)*len(o))
			}
			row := rows[i*len(o):][:len(o)]
			for k := range o {
				row[k] = o[k].P
			}
			chances[c][i] = row
		}
		gain := room.information(hs, groups, p, chances[c])
		if gain < noGain {
			continue
		}
		for k := range names {
			names[k].P = 0
			for i := range hs {
				names[k].P += p[i] * chances[c][i][k]
			}
		}
		cost := candidate.Cost(from)
		list = append(list, ranked{Ranked{Candidate: candidate, Gain: gain, Cost: cost, Rate: 2 * gain / cost, Outcomes: names}, c})
	}
	// Rates within a thousandth of each other are alike: then the order given stays.
	alike := func(rate float64) float64 { return math.Round(1e3 * math.Log(max(rate, 1e-12))) }
	byRate := func(a, b ranked) int { return cmp.Compare(alike(b.Rate), alike(a.Rate)) }
	slices.SortStableFunc(list, byRate)
	few := list[:min(lookAhead, len(list))]
	for r := range few {
		first := &few[r]
		c := first.at
		gain, cost := first.Gain, first.Cost
		for k, o := range first.Outcomes {
			if o.P < 1e-9 {
				continue
			}
			p := weights(hs)
			for i := range p {
				p[i] *= chances[c][i][k] / o.P
			}
			best, g2, c2 := 0.0, 0.0, 0.0
			for _, second := range list[:min(seconds, len(list))] {
				g := room.information(hs, groups, p, chances[second.at])
				cost2 := second.Candidate.Cost(first.Candidate.Setup())
				if rate := g / cost2; g >= noGain && rate > best {
					best, g2, c2 = rate, g, cost2
				}
			}
			gain += o.P * g2
			cost += o.P * c2
		}
		first.Rate = gain/cost + first.Gain/first.Cost
	}
	slices.SortStableFunc(few, byRate)
	out := make([]Ranked, len(list))
	for r := range list {
		out[r] = list[r].Ranked
	}
	return out
}

func weights(hs []standing) []float64 {
	p := make([]float64, len(hs))
	for i := range hs {
		p[i] = hs[i].p
	}
	return p
}

// standing lists the hypotheses that hold the mass, and the groups of them that blame
// different parts.
func (j *Judgement) standing() (hs []standing, of groups) {
	w := j.masses()
	type one struct {
		score  float64
		faults []int
	}
	var all []one
	least := w.highest - 14 // a millionth of the best
	j.each(least, func(score float64, faults ...int) float64 {
		all = append(all, one{score, slices.Clone(faults)})
		return least
	})
	slices.SortStableFunc(all, func(a, b one) int { return cmp.Compare(b.score, a.score) })
	all = all[:min(maxStanding, len(all))]
	group, first := map[string]int{}, map[Part]int{}
	total := 0.0
	for _, o := range all {
		k := j.partsKey(o.faults)
		if _, ok := group[k]; !ok {
			group[k] = len(group)
			likeliest, most := nobody, 0.0
			for _, i := range o.faults {
				if p := j.faults[i].Part; w.parts[p] < narrowedTo && w.parts[p] > most {
					likeliest, most = p, w.parts[p]
				}
			}
			if _, ok := first[likeliest]; !ok {
				first[likeliest] = len(first)
			}
			of = append(of, first[likeliest])
		}
		s := standing{p: math.Exp(o.score - w.highest), group: group[k]}
		for _, i := range o.faults {
			s.h = append(s.h, j.faults[i])
		}
		total += s.p
		hs = append(hs, s)
	}
	for i := range hs {
		hs[i].p /= total
	}
	return hs, of
}

// joint is room for the probabilities of what is wrong, by rows, and what comes of a test,
// by columns, together: by which part to go to first, and by group.
type joint struct{ first, all, come []float64 }

// information is how many bits an outcome is expected to tell of which part is to go to
// first, and for a tenth of which group holds.
func (j *joint) information(hs []standing, of groups, p []float64, chances [][]float64) float64 {
	if len(hs) == 0 {
		return 0
	}
	outcomes := len(chances[0])
	j.first, j.all = zeros(j.first, len(of)*outcomes), zeros(j.all, len(of)*outcomes)
	for i := range hs {
		if p[i] > 0 {
			row := j.all[hs[i].group*outcomes:][:outcomes]
			for k, c := range chances[i] {
				row[k] += p[i] * c
			}
		}
	}
	for g, part := range of {
		row := j.first[part*outcomes:][:outcomes]
		for k, x := range j.all[g*outcomes:][:outcomes] {
			row[k] += x
		}
	}
	return (1-besides)*j.shared(j.first, outcomes) + besides*j.shared(j.all, outcomes)
}

// zeros are n of them, where there is room for them.
func zeros(room []float64, n int) []float64 {
	if cap(room) < n {
		return make([]float64, n)
	}
	clear(room[:n])
	return room[:n]
}

// shared is the mutual information in bits of the rows and the columns of joint
// probabilities.
func (j *joint) shared(p []float64, columns int) float64 {
	j.come = zeros(j.come, columns)
	// The sum of x log(x / (of come)) over all, each logarithm by itself.
	nats := 0.0
	for ; len(p) > 0; p = p[columns:] {
		of := 0.0
		for k, x := range p[:columns] {
			nats += xLogX(x)
			of += x
			j.come[k] += x
		}
		nats -= xLogX(of)
	}
	for _, x := range j.come {
		nats -= xLogX(x)
	}
	return max(nats/math.Ln2, 0)
}

func xLogX(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// Entropy of the probabilities, in bits.
func Entropy(p ...float64) float64 {
	bits := 0.0
	for _, x := range p {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return bits
}
