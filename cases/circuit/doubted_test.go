package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// oneLamp is a path of elements of the kinds, one behind the other; the last leads to the
// negative post.
func oneLamp(kinds ...circuit.Kind) *circuit.Circuit {
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}
	at := 1
	for k, kind := range kinds {
		e := circuit.Element{Key: fmt.Sprint("e", k), Kind: kind, From: at, Ohms: circuit.Usual(kind, 10), Follows: -1}
		if kind == circuit.Lamp {
			e.Ohms = circuit.About(3, 0.15)
		}
		if k < len(kinds)-1 {
			e.To = len(c.Points)
			c.Points = append(c.Points, fmt.Sprint("p", e.To))
		}
		c.Elements, at = append(c.Elements, e), e.To
	}
	c.Compile()
	return c
}

// TestDoubtedDrawingProvesNothing: what was proven is proven no longer once readings ask for
// a wrong drawing, since proofs take the drawing for what is there.
func TestDoubtedDrawingProvesNothing(t *testing.T) {
	t.Parallel()
	draw := func() *circuit.Circuit {
		return oneLamp(circuit.Fuse, circuit.Switch, circuit.Contact, circuit.Lamp, circuit.Ground)
	}
	c, truth := draw(), draw()
	truth.Elements[2].Ohms = circuit.Exactly(5)
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.02}, {Part: suspect.NotAsDrawn, Prior: 0.005}}}
	for k, e := range c.Elements {
		for _, m := range e.Kind.Modes() {
			p.Faults = append(p.Faults, suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: m.Mode, Prior: 0.01 * m.Share})
		}
	}
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	read := func(id string, red int, shown func(r circuit.Reading) float64) suspect.Evidence {
		r := circuit.Reading{ID: id, Setup: id, Red: []int{red}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
		r.Shown = circuit.Exactly(shown(r))
		return c.Observe(setup, r, parts(c))
	}
	for n := range 2 {
		for red := 2; red <= 5; red++ {
			p.Evidence = append(p.Evidence, read(fmt.Sprint(n, " at ", red), red, func(r circuit.Reading) float64 {
				seen := truth.Observe(setup, r, parts(c)).Foretold(nil)
				return math.Round(50*(seen.Lo+seen.Hi)) / 100
			}))
		}
	}
	j := suspect.Judge(p)
	proofs, again := j.Proofs()
	require.NotEmpty(t, proofs)
	require.Empty(t, again)
	require.False(t, j.Doubted())
	for n := range 4 { // six volts below the negative post, which nothing drawn leads to
		j = j.With(read(fmt.Sprint("below ", n), 2+n, func(circuit.Reading) float64 { return -6 }))
	}
	require.True(t, j.Doubted(), "%v", j.Probability(suspect.NotAsDrawn))
	proofs, again = j.Proofs()
	require.Empty(t, again, "a wrong drawing accounts for it")
	require.Empty(t, proofs)
}
