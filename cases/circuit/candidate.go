package circuit

import (
	"strings"

	"knowngood.example/cases/suspect"
)

// Moving is what going on in the same manner or at the same component saves, in
// minutes: the meter is in hand. Assumed.
const Moving = 2

// InLoom is what it costs more, in minutes, to get at a splice, or at the bare end
// of a wire, than at a contact. Assumed.
const InLoom = 12

// Candidate is a reading in volts that could be taken next.
type Candidate struct {
	*Observation
	// Manner is Volts, to the negative post, or Drop, across one element.
	Manner suspect.Manner
	// At is the key of the component that the red lead is at, or that lies between
	// the leads.
	At string
	// Minutes it costs, risk included, when the meter is not in hand.
	Minutes float64
	ends    []float64
}

// Candidate makes a reading that could be taken in the state; at is the element
// that it gets at and parts says what is in the place of each.
func (c *Circuit) Candidate(setup Setup, red, black, at int, m suspect.Manner, cost suspect.Cost, parts []suspect.Part) *Candidate {
	e := &c.Elements[at]
	f := &Candidate{Manner: m, At: e.Key, Minutes: cost.Minutes + cost.Risk}
	if e.Kind == Splice {
		f.Minutes += InLoom
	}
	f.Observation = c.Observe(setup, Reading{
		ID: "next", Setup: c.Points[red] + " " + c.Points[black], Red: []int{red}, Black: []int{black},
		Shown: Exactly(0), Sigma: 0.05, Lead: Exactly(MeterOhms), Duty: Exactly(1),
	}, parts)
	full := (setup.Posts.Lo + setup.Posts.Hi) / 2
	f.ends = []float64{0.02 * full, 0.15 * full, 0.5 * full, 0.85 * full, 0.96 * full}
	if m == suspect.Drop {
		f.ends = []float64{0.1, 0.3, 1, 0.5 * full}
	}
	return f
}

// Setup implements suspect.Candidate.
func (f *Candidate) Setup() string { return f.Manner.String() + " " + f.At }

// Cost implements suspect.Candidate.
func (f *Candidate) Cost(from string) float64 {
	manner, at, _ := strings.Cut(from, " ")
	if manner == suspect.Volts.String() || manner == suspect.Drop.String() || at == f.At {
		return max(f.Minutes-Moving, 1)
	}
	return f.Minutes
}

// Outcomes implements suspect.Candidate: that the reading lies below the first of
// a few voltages, between two neighbours of them, or above the last.
func (f *Candidate) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	p := f.Chances(h, f.ends)
	out := make([]suspect.Chance, len(p))
	for k := range p {
		out[k].P = p[k]
	}
	return out
}
