package circuit_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestClearingTakesAwayWhatHides: readings on a feed that is well rule out that a wire of it
// is open, but not that it is and there is a short to the supply behind it. Volts there
// with the circuit switched off do, and come before the drop over a contact of it, which
// does not.
func TestClearingTakesAwayWhatHides(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Wiring, circuit.Contact, circuit.Wiring, circuit.Lamp, circuit.Ground)
	const wire, contact, behind = 2, 3, 4
	lamp, cost := c.Elements[behind].To, suspect.Cost{Minutes: 5}
	on := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	off := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	off.Position[1] = circuit.Open
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.02}, {Part: suspect.NotAsDrawn, Prior: 0.005}}}
	for k, e := range c.Elements {
		for _, m := range e.Kind.Modes() {
			p.Faults = append(p.Faults, suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: m.Mode, Prior: 0.01 * m.Share})
		}
	}
	read := func(setup circuit.Setup, red, black int) {
		id := fmt.Sprint("reading ", len(p.Evidence))
		r := circuit.Reading{ID: id, Setup: id, Red: []int{red}, Black: []int{black}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
		seen := c.Observe(setup, r, parts(c)).Foretold(nil)
		r.Shown = circuit.Exactly((seen.Lo + seen.Hi) / 2)
		p.Evidence = append(p.Evidence, c.Observe(setup, r, parts(c)))
	}
	open := func() bool {
		proofs, _ := suspect.Judge(p).Proofs()
		return !slices.ContainsFunc(proofs, func(p suspect.Proof) bool { return p.Part.Key == c.Elements[wire].Key && p.Mode == suspect.Open })
	}
	read(on, 1, lamp)
	read(on, lamp, 0)
	read(on, c.Elements[contact].To, 0)
	require.True(t, open(), "a short to the supply hides it")
	dark := c.Candidate(off, lamp, 0, contact, suspect.Volts, cost, parts(c))
	drop := c.Candidate(on, c.Elements[contact].From, c.Elements[contact].To, contact, suspect.Drop, cost, parts(c))
	hidden := suspect.Hypothesis{
		{Part: suspect.Part{Key: c.Elements[wire].Key}, Mode: suspect.Open},
		{Part: suspect.Part{Key: c.Elements[behind].Key}, Mode: suspect.ShortToPower},
	}
	require.True(t, dark.Tells(nil, hidden))
	require.False(t, drop.Tells(nil, hidden))
	ranked := suspect.Judge(p).Clearing([]suspect.Candidate{drop, dark}, "", 2)
	require.NotEmpty(t, ranked)
	require.Equal(t, suspect.Candidate(dark), ranked[0].Candidate)
	read(off, lamp, 0)
	read(off, c.Elements[contact].To, 0)
	require.False(t, open())
}

// TestClearingTakesWhatProvesMost: with the contact of one branch known to have a high
// resistance, the drop from the positive post to the far end of another branch's feed
// rules out more than the same to its beginning.
func TestClearingTakesWhatProvesMost(t *testing.T) {
	t.Parallel()
	p, c := judged(0)
	e := c.Elements[10]
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	truth := vehicle()
	truth.Elements[10].Ohms = circuit.Exactly(1)
	for k, at := range [][2]int{{e.From, e.To}, {e.From, 0}, {e.To, 0}} {
		id := fmt.Sprint("reading ", k)
		r := circuit.Reading{ID: id, Setup: id, Red: at[:1], Black: at[1:], Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
		seen := truth.Observe(setup, r, parts(c)).Foretold(nil)
		r.Shown = circuit.Exactly((seen.Lo + seen.Hi) / 2)
		p.Evidence = append(p.Evidence, c.Observe(setup, r, parts(c)))
	}
	j := suspect.Judge(p)
	require.Greater(t, j.Probability(suspect.Part{Key: e.Key}), 0.8)
	cost := suspect.Cost{Minutes: 5}
	feed := func(at int) *circuit.Candidate {
		return c.Candidate(setup, 1, c.Elements[at].To, at, suspect.Volts, cost, parts(c))
	}
	near, far := feed(0), feed(24)
	ranked := j.Clearing([]suspect.Candidate{near, far}, "", 2)
	require.Len(t, ranked, 2)
	require.Equal(t, suspect.Candidate(far), ranked[0].Candidate)
	require.Greater(t, ranked[0].Gain, ranked[1].Gain)
	// A fault it tells lies outside what can be shown; one elsewhere does not.
	known := suspect.Hypothesis{{Part: suspect.Part{Key: e.Key}, Mode: suspect.HighResistance}}
	with := func(k int) suspect.Hypothesis {
		return append(known[:1:1], suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: suspect.Open})
	}
	require.True(t, far.Tells(known, with(0)))
	require.False(t, far.Tells(known, with(60)))
}
