package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

// TestDiodeAtTheCurrentOfAShort: a diode across a coil the wrong way round, with a jumper
// over its fuse, has more over it than at any current that it is made for. Solved by the
// second solver.
func TestDiodeAtTheCurrentOfAShort(t *testing.T) {
	t.Parallel()
	for _, diode := range []plain.Element{{Value: 0.74, Slope: 0.033}, {Value: 0.84, Slope: 0.045}} {
		diode.Kind, diode.A, diode.B = plain.Diode, 2, 0
		s, err := (&plain.Circuit{Nodes: 3, Elements: []plain.Element{
			{Kind: plain.Voltage, A: 1, Value: 12.6}, {A: 1, B: 2, Value: 0.03}, diode, {A: 2, Value: 80},
		}}).Solve()
		require.NoError(t, err)
		c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "fuse out", "coil in"}}
		for _, e := range []circuit.Element{
			{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 10), Rating: 10},
			{Key: "wire", Kind: circuit.Wiring, From: 2, To: 3, Ohms: circuit.Wire(3, 1.5)},
			{Key: "coil", Kind: circuit.Coil, From: 3, To: 0, Ohms: circuit.About(80, 0.1)},
			{Key: "diode", Kind: circuit.Diode, From: 0, To: 3, Ohms: circuit.Usual(circuit.Diode, 0)},
		} {
			e.Follows = -1
			c.Elements = append(c.Elements, e)
		}
		c.Compile()
		setup := circuit.Setup{Posts: circuit.Exactly(12.6), Position: make([]circuit.Position, 4), Bridges: []circuit.Bridge{{A: 1, B: 2, Ohms: circuit.Span{Lo: 0.01, Hi: 0.05}}}}
		o := c.Observe(setup, circuit.Reading{
			ID: "r", Red: []int{3}, Black: []int{0}, Sigma: 0.01, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Shown: circuit.Exactly(s.Volts[2]),
		}, parts(c))
		require.Zero(t, o.Beyond(fault("diode", suspect.WrongPart)), "%g V over it", s.Volts[2])
		require.GreaterOrEqual(t, o.Beyond(nil), 3.0)
		require.Less(t, o.Expect(fault("diode", suspect.WrongPart)).Hi, 1.3)
	}
}
