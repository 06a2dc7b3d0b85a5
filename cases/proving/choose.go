package proving

import (
	"math"
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// open are the options that are still to be had: of two that are the same done
// otherwise, neither once one is done.
func (p *player) open() []int {
	done := map[string]bool{}
	for k := range p.options {
		if p.times[k] > 0 && !p.tells[k] {
			done[p.options[k].same()] = true
		}
	}
	near := p.near()
	var out []int
	for k := range p.options {
		r, ok := p.options[k].(*reading)
		if !done[p.options[k].same()] && (!ok || r.plug < 0 || slices.Contains(near, r.plug)) {
			out = append(out, k)
		}
	}
	return out
}

// choose picks the next option, -1 when none tells anything.
func (p *player) choose(from string) int {
	left := p.open()
	switch {
	case len(left) == 0:
		return -1
	case p.strategy == Random:
		return left[p.random.IntN(len(left))]
	case p.strategy == Half:
		return p.half(left)
	}
	// Of two that tell as much, the one next to the likelier suspect.
	likely := map[string]float64{}
	for _, s := range p.judge.Suspects() {
		likely[s.Part.Key] = s.Probability
	}
	slices.SortStableFunc(left, func(a, b int) int {
		pa, pb := likely[p.options[a].name()], likely[p.options[b].name()]
		switch {
		case pa > pb:
			return -1
		case pa < pb:
			return 1
		}
		return 0
	})
	all := make([]suspect.Candidate, len(left))
	for i, k := range left {
		all[i] = p.options[k]
	}
	return p.first(p.judge.Next(all, from))
}

// clear picks the option that is expected to prove most, -1 when none proves anything.
func (p *player) clear(from string) int {
	var all []suspect.Candidate
	for _, k := range p.open() {
		all = append(all, p.options[k])
	}
	return p.first(p.judge.Clearing(all, from, 1))
}

// direct is the reading on what is probable enough by itself, -1 when there is none or it was
// taken.
func (p *player) direct() int {
	k := p.unproven()
	if k < 0 || p.Elements[k].From == p.Elements[k].To {
		return -1
	}
	e := &p.Elements[k]
	m := suspect.Drop
	if e.Kind >= circuit.Load {
		m = suspect.Volts
	}
	r := &reading{red: e.From, black: e.To, over: -1, plug: -1, jumper: -1, clamped: m == suspect.Drop}
	p.offer(r, m, k)
	last := len(p.options) - 1
	if at := slices.IndexFunc(p.options, func(o option) bool { return o.same() == r.same() }); at < last {
		p.options = p.options[:last]
		if p.times[at] > 0 {
			return -1
		}
		return at
	}
	p.times, p.tells = append(p.times, 0), append(p.tells, false)
	return last
}

// first is the option that is ranked first; -1: none is.
func (p *player) first(ranked []suspect.Ranked) int {
	if len(ranked) == 0 {
		return -1
	}
	return slices.IndexFunc(p.options, func(o option) bool { return suspect.Candidate(o) == ranked[0].Candidate })
}

// any picks one that was not done yet, by chance.
func (p *player) any() int {
	left := p.open()
	if len(left) == 0 {
		return -1
	}
	return left[p.random.IntN(len(left))]
}

// half picks the option that best halves the suspects, whatever it costs: see the
// package's description.
func (p *player) half(left []int) int {
	type mass struct {
		h suspect.Hypothesis
		p float64
	}
	var all []mass
	total := 0.0
	for _, s := range p.judge.Suspects() {
		if s.Probability < 1e-4 || s.Part == suspect.NotNamed || s.Part == suspect.NotAsDrawn || len(s.Modes) == 0 {
			continue
		}
		all = append(all, mass{suspect.Hypothesis{{Part: s.Part, Mode: s.Modes[0]}}, s.Probability})
		total += s.Probability
	}
	best, at := math.Inf(1), -1
	for _, k := range left {
		well, off := likeliest(p.options[k].Outcomes(nil)), 0.0
		for _, m := range all {
			if likeliest(p.options[k].Outcomes(m.h)) != well {
				off += m.p
			}
		}
		if away := math.Abs(off - total/2); off > 0 && off < total && away < best-1e-9 {
			best, at = away, k
		}
	}
	return at
}

func likeliest(all []suspect.Chance) int {
	at := 0
	for k := range all {
		if all[k].P > all[at].P {
			at = k
		}
	}
	return at
}
