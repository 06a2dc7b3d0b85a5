package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
)

// TestACurrentInALoopMayFlowEitherWay: between two branches that are fed alike a clamp
// says how much flows and not which way. What can be shown at all is either, whichever way
// the meter happened to show.
func TestACurrentInALoopMayFlowEitherWay(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "a", "b"}}
	for _, e := range []circuit.Element{
		{Key: "feed a", Kind: circuit.Wiring, From: 1, To: 2, Ohms: circuit.Span{Lo: 0.02, Hi: 0.1}},
		{Key: "feed b", Kind: circuit.Wiring, From: 1, To: 3, Ohms: circuit.Span{Lo: 0.02, Hi: 0.1}},
		{Key: "between", Kind: circuit.Contact, From: 2, To: 3, Ohms: circuit.Span{Lo: 0.01, Hi: 0.02}},
		{Key: "load a", Kind: circuit.Load, From: 2, To: 0, Ohms: circuit.About(2, 0.15)},
		{Key: "load b", Kind: circuit.Load, From: 3, To: 0, Ohms: circuit.About(2, 0.15)},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	for _, shown := range []float64{-0.01, 0.01} {
		can := c.Observe(off(c), circuit.Reading{
			ID: "r", Red: []int{2}, Black: []int{3}, Shown: circuit.Exactly(shown), Sigma: 0.03, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
			Through: circuit.Span{Lo: 0.4, Hi: 0.6},
		}, parts(c)).Expect(nil)
		require.Less(t, can.Lo, -0.003)
		require.Greater(t, can.Hi, 0.003)
	}
}
