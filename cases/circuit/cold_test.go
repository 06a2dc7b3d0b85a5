package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestColdLoadOfWhichNobodyKnowsWhatItDraws: to an ohmmeter a filament is a tenth of what it
// is lit (common practice), so that 0.6 ohm over one may well be a lamp of four, and says no
// more for a short than for a fuse that is only open. What it draws is no better known cold.
func TestColdLoadOfWhichNobodyKnowsWhatItDraws(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "fuse out"}, Elements: []circuit.Element{
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 10), Rating: 10, Follows: -1},
		{Key: "lamp", Kind: circuit.Lamp, From: 2, To: 0, Ohms: circuit.Usual(circuit.Lamp, 0), Follows: -1},
	}}
	c.Compile()
	setup := circuit.Setup{Position: []circuit.Position{circuit.Gone, circuit.Closed}}
	for _, lit := range []float64{2.5, 4, 15} {
		o := c.Observe(setup, circuit.Reading{ID: "r", Quantity: circuit.Ohms, Red: []int{2}, Black: []int{0}, Sigma: 0.05, Shown: circuit.Exactly(lit/10 + 0.2)}, parts(c))
		well := o.Within([3]int{o.Class(fault("fuse", suspect.Open)[0])}, suspect.Everywhere).Mean
		for _, m := range []suspect.Mode{suspect.Shorted, suspect.DrawsTooMuch} {
			short := o.Within([3]int{o.Class(fault("lamp", m)[0])}, suspect.Everywhere).Mean
			require.Less(t, short-well, 1.0, "%g ohm lit, %v", lit, m)
		}
	}
}
