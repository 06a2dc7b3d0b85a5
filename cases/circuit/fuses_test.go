package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestTheWeakestFuseInTheWayOfAShortBlows: behind a main fuse and a branch fuse a short to
// ground is likely to leave the main fuse whole, and what hangs on it live.
func TestTheWeakestFuseInTheWayOfAShortBlows(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "main out", "branch out", "lamp in"}}
	for _, e := range []circuit.Element{
		{Key: "main", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 25), Rating: 25},
		{Key: "branch", Kind: circuit.Fuse, From: 2, To: 3, Ohms: circuit.Usual(circuit.Fuse, 3), Rating: 3},
		{Key: "wire", Kind: circuit.Wiring, From: 3, To: 4, Ohms: circuit.Wire(2, 1)},
		{Key: "lamp", Kind: circuit.Lamp, From: 4, To: 0, Ohms: circuit.About(20, 0.15)},
		{Key: "heater", Kind: circuit.Load, From: 2, To: 0, Ohms: circuit.About(1, 0.15)},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	volts := func(n int) circuit.Span {
		return c.Observe(off(c), circuit.Reading{
			ID: "r", Red: []int{n}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
		}, parts(c)).Foretold(being("wire", suspect.ShortToGround))
	}
	require.Greater(t, volts(2).Lo, 11.0, "the main fuse holds")
	require.Less(t, volts(3).Hi, 0.1, "the branch fuse is blown")
}
