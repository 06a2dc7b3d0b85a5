package circuit

import (
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/suspect"
)

// Moving is what going on in the same manner or at the same component saves, in
// minutes: the meter is in hand. Assumed.
const Moving = 2

// InLoom is what it costs more, in minutes, to get at a splice, or at the bare end
// of a wire, than at a contact. Assumed.
const InLoom = 12

// Candidate is a reading that could be taken next.
type Candidate struct {
	*Observation
	// Manner is Volts, to the negative post; Drop, across one element; Amps, through one;
	// or Ohms; or one of those with a plug off.
	Manner suspect.Manner
	// At is the key of the component that the red lead is at, or that lies between
	// the leads, or in the clamp.
	At string
	// Minutes it costs, risk included, when the meter is not in hand.
	Minutes float64
	ends    []float64
	would   *Observation // with what it would show as things stand; nil: not asked yet
	flow    *Candidate   // what the clamp is on; nil: there is none
}

// CandidateClamped makes a drop that is read together with what flows through an element.
func (c *Circuit) CandidateClamped(setup Setup, r Clamped, cost suspect.Cost, parts []suspect.Part) *Candidate {
	f := c.Candidate(setup, r.Red, r.Black, r.At, suspect.Drop, cost, parts)
	f.flow = c.Candidate(setup, c.Elements[r.At].From, c.Elements[r.At].To, r.At, suspect.Amps, cost, parts)
	return f
}

// Candidate makes a reading that could be taken in the state; at is the element that it
// gets at, or that is in the clamp, and parts says what is in the place of each.
func (c *Circuit) Candidate(setup Setup, red, black, at int, m suspect.Manner, cost suspect.Cost, parts []suspect.Part) *Candidate {
	e := &c.Elements[at]
	f := &Candidate{Manner: m, At: e.Key, Minutes: cost.Minutes + cost.Risk}
	if e.Kind == Splice {
		f.Minutes += InLoom
	}
	r := Reading{
		ID: "next", Setup: c.Points[red] + " " + c.Points[black], Red: []int{red}, Black: []int{black},
		Shown: Exactly(0), Sigma: 0.05, Lead: Exactly(MeterOhms), Duty: Exactly(1),
	}
	switch m {
	case suspect.Amps:
		r.Quantity, r.Along, r.Lead = Amps, at, Span{}
	case suspect.Ohms, suspect.OhmsUnplugged:
		r.Quantity, r.Lead = Ohms, Span{}
	}
	f.Observation = c.Observe(setup, r, parts)
	full := (setup.Posts.Lo + setup.Posts.Hi) / 2
	switch m {
	case suspect.Drop:
		f.ends = []float64{0.1, 0.3, 1, 0.5 * full}
	case suspect.Amps:
		usual := f.Foretold(nil)
		about := math.Max((usual.Lo+usual.Hi)/2, 0.2)
		f.ends = []float64{0.1 * about, 0.5 * about, 0.8 * about, 1.25 * about, 2.5 * about}
	case suspect.Ohms, suspect.OhmsUnplugged:
		f.ends = []float64{0.5, 3, 20, 200, 1e5}
	default:
		f.ends = []float64{0.02 * full, 0.15 * full, 0.5 * full, 0.85 * full, 0.96 * full}
	}
	return f
}

// Dead is the state with every fuse and breaker taken out, as ohms are read in it; false
// where there is none to take out.
func (c *Circuit) Dead(s Setup) (Setup, bool) {
	s.Position = append(make([]Position, 0, len(c.Elements)), s.Position...)
	for len(s.Position) < len(c.Elements) {
		s.Position = append(s.Position, Closed)
	}
	found := false
	for k := range c.Elements {
		if c.fuses(k) {
			s.Position[k], found = Gone, true
		}
	}
	return s, found
}

func (c *Circuit) fuses(k int) bool {
	return c.Elements[k].Kind == Fuse || c.Elements[k].Kind == Breaker
}

// Live reports whether the positive post reaches one of the nodes through anything that
// is closed or may be.
func (c *Circuit) Live(setup *Setup, nodes ...int) bool {
	reached := c.reached(setup, plus, func(Kind) bool { return true })
	return slices.ContainsFunc(nodes, func(n int) bool { return reached[n] && n != minus })
}

// reached are the nodes that a post reaches through what is closed or may be, and of the
// kinds, or through what bridges the circuit, but not through the other post.
func (c *Circuit) reached(setup *Setup, post int, through func(Kind) bool) []bool {
	out := make([]bool, len(c.Points))
	out[post] = true
	for again := true; again; {
		again = false
		for i, e := range c.Elements {
			if i < len(setup.Position) && (setup.Position[i] == Open || setup.Position[i] == Gone) || !through(e.Kind) {
				continue
			}
			again = reach(out, e.From, e.To, plus+minus-post) || again
		}
		for _, b := range setup.Bridges {
			again = reach(out, b.A, b.B, plus+minus-post) || again
		}
	}
	return out
}

// Resistances are the pairs of nodes, with the element that each gets at, between which
// ohms tell most once the fuses are out: from what a fuse feeds to the negative post, and
// over each load.
func (c *Circuit) Resistances(dead *Setup) (out [][3]int) {
	met := map[[2]int]bool{}
	add := func(red, black, at int) {
		if red != black && !met[[2]int{red, black}] && !c.Live(dead, red, black) {
			met[[2]int{red, black}] = true
			out = append(out, [3]int{red, black, at})
		}
	}
	for k, e := range c.Elements {
		if c.fuses(k) {
			for _, n := range []int{e.To, e.From} {
				add(n, minus, k)
			}
		}
	}
	for k, e := range c.Elements {
		if e.Kind >= Load && e.Kind != Diode {
			add(e.From, e.To, k)
		}
	}
	return out
}

// Setup implements suspect.Candidate.
func (f *Candidate) Setup() string { return f.Manner.String() + " " + f.At }

// Cost implements suspect.Candidate.
func (f *Candidate) Cost(from string) float64 {
	manner, at, _ := strings.Cut(from, " ")
	if at == f.At && f.Manner.PlugOff() && slices.ContainsFunc(suspect.PlugsOff, func(m suspect.Manner) bool { return m.String() == manner }) {
		return max(f.Minutes-Replugging, 1)
	}
	if manner == suspect.Volts.String() || manner == suspect.Drop.String() || at == f.At {
		return max(f.Minutes-Moving, 1)
	}
	return f.Minutes
}

// Outcomes implements suspect.Candidate: that the reading lies below the first of
// a few values, between two neighbours of them, or above the last.
func (f *Candidate) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	p := f.Chances(h, f.ends)
	out := make([]suspect.Chance, len(p))
	for k := range p {
		out[k].P = p[k]
	}
	return out
}

// Tells implements suspect.Telling.
func (f *Candidate) Tells(is, other suspect.Hypothesis) bool {
	o := f.Observation
	a, _ := o.key(is)
	b, inOrder := o.key(other)
	if wildShare(b) > 0 {
		return false
	}
	const usual = suspect.Fine / 4 // of the sizes of what is known to be wrong
	was := o.spot(o.take(a), [2]uint8{usual, usual})
	if was.floats {
		return false
	}
	v, through := Exactly(was.seen[1]), Span{}
	if f.flow != nil {
		if f.flow.Tells(is, other) {
			return true
		}
		k, _ := f.flow.key(is)
		through = Flows(f.flow.spot(f.flow.take(k), [2]uint8{usual, usual}).seen[1])
	}
	if f.would == nil {
		f.would = &Observation{}
	}
	memo := f.would.memo
	if memo == nil || f.would.Shown != v || f.would.Through != through {
		memo = map[asked]float64{}
	}
	*f.would = *o
	f.would.Shown, f.would.Through, f.would.memo = v, through, memo
	return f.would.Outside(b, inOrder) >= 3.5
}
