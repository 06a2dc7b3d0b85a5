package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// A load that does not work though it takes its current is told from nothing wrong by no
// reading: its odds against that stay what they were, whatever the load may take.
func TestReadingsTellNothingOfWhatChangesNothing(t *testing.T) {
	t.Parallel()
	c := chain(fan)
	k := index(t, c, "load")
	c.Elements[k].Ohms = circuit.Span{Lo: 0.3, Hi: 1000} // nobody knows
	c.Compile()
	const prior = 0.01
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.Part{Key: "load"}, Mode: suspect.Defective, Prior: prior}}}
	p.Evidence = append(p.Evidence, c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
		ID: "1", Setup: "1", Quantity: circuit.Amps, Along: k, Red: []int{c.Elements[k].From}, Black: []int{c.Elements[k].To},
		Shown: circuit.Exactly(3), Sigma: 0.1, Duty: circuit.Exactly(1),
	}, parts(c)))
	j := suspect.Judge(p)
	require.InEpsilon(t, prior, j.ProbabilityOf(suspect.Part{Key: "load"}, suspect.Defective)/j.NoFault(), 1e-9)
}
