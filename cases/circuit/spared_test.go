package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestFusesThatHold: what is fed past its fuse may blow another only where the loads beyond
// that one take more than it holds.
func TestFusesThatHold(t *testing.T) {
	t.Parallel()
	// A main fuse feeds a node with a fan, whose ground is a wire, a heater, and by way of a
	// small fuse a lamp.
	expect := func(main float64, switched circuit.Position, at int, faults ...suspect.Fault) circuit.Span {
		c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "main out", "node", "fan ground", "small out", "lamp in"}}
		for _, e := range []circuit.Element{
			{Key: "main", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 20), Rating: main},
			{Key: "switch", Kind: circuit.Switch, From: 2, To: 3, Ohms: circuit.Usual(circuit.Switch, 0)},
			{Key: "fan", Kind: circuit.Motor, From: 3, To: 4, Ohms: circuit.About(4, 0.1)},
			{Key: "fan ground", Kind: circuit.Wiring, From: 4, To: 0, Ohms: circuit.Wire(2, 1.5)},
			{Key: "heater", Kind: circuit.Load, From: 3, To: 0, Ohms: circuit.About(2, 0.1)},
			{Key: "small", Kind: circuit.Fuse, From: 3, To: 5, Ohms: circuit.Usual(circuit.Fuse, 3), Rating: 3},
			{Key: "lamp wire", Kind: circuit.Wiring, From: 5, To: 6, Ohms: circuit.Wire(2, 1.5)},
			{Key: "lamp", Kind: circuit.Lamp, From: 6, To: 0, Ohms: circuit.About(12, 0.1)},
		} {
			e.Follows = -1
			c.Elements = append(c.Elements, e)
		}
		c.Compile()
		s := circuit.Setup{Posts: circuit.Exactly(12), Position: make([]circuit.Position, len(c.Elements))}
		s.Position[1] = switched
		return c.Observe(s, circuit.Reading{
			ID: "r", Red: []int{at}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
		}, parts(c)).Expect(suspect.Hypothesis(faults))
	}
	fed, worn := fault("fan ground", suspect.ShortToPower)[0], fault("heater", suspect.Open)[0]
	require.Greater(t, expect(20, circuit.Closed, 3).Lo, 11.0)
	require.Greater(t, expect(20, circuit.Closed, 3, fed).Lo, 11.0, "fan, heater and lamp together are less than 20 A")
	require.Greater(t, expect(20, circuit.Closed, 3, fed, worn).Lo, 11.0)
	require.Less(t, expect(5, circuit.Closed, 3, fed).Lo, 0.1, "the loads take more than 5 A")
	require.Less(t, expect(0, circuit.Closed, 3, fed).Lo, 0.1, "nobody knows what it holds")
	// Fed past the small fuse, fan and heater are fed back through it while the switch is off.
	back := fault("lamp wire", suspect.ShortToPower)[0]
	require.Greater(t, expect(20, circuit.Open, 3, back).Hi, 11.0)
	require.Less(t, expect(20, circuit.Open, 3, back).Lo, 0.1, "which is more than it holds")
}

// TestShortedBetweenAResistorAndItsMotor: the resistor alone lets more through than its fuse
// holds, though it never does with the motor behind it. One that lets less through spares it.
func TestShortedBetweenAResistorAndItsMotor(t *testing.T) {
	t.Parallel()
	const fed, between = 2, 5
	expect := func(ohms float64, short int) circuit.Span {
		c := oneLamp(circuit.Wiring, circuit.Fuse, circuit.Contact, circuit.Wiring, circuit.Resistor, circuit.Wiring, circuit.Motor, circuit.Wiring, circuit.Ground)
		c.Elements[1].Rating = 20
		c.Elements[4].Ohms = circuit.About(ohms, 0.1)
		c.Elements[6].Ohms = circuit.About(1.5, 0.1)
		c.Compile()
		setup := circuit.Setup{Posts: circuit.Exactly(12.5), Position: make([]circuit.Position, len(c.Elements))}
		o := c.Observe(setup, circuit.Reading{ID: "r", Red: []int{c.Elements[fed].To}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}, parts(c))
		return o.Expect(suspect.Hypothesis{{Part: suspect.Part{Key: c.Elements[short].Key}, Mode: suspect.ShortToGround}})
	}
	require.Less(t, expect(0.3, between).Lo, 0.1, "40 A through a fuse of 20")
	require.Greater(t, expect(0.3, between).Hi, 6., "it may not have blown yet")
	require.Greater(t, expect(2, between).Lo, 6., "6 A")
}

// TestAJumperBehindAnotherFuse: what is shorted behind a resistor may take too much through a
// second fuse that feeds the same by way of a jumper.
func TestAJumperBehindAnotherFuse(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Wiring, circuit.Fuse, circuit.Contact, circuit.Resistor, circuit.Wiring, circuit.Lamp, circuit.Ground)
	c.Elements[1].Rating, c.Elements[3].Ohms = 10, circuit.About(0.35, 0.1)
	beside := len(c.Points)
	c.Points = append(c.Points, "beside")
	c.Elements = append(c.Elements, circuit.Element{Key: "second fuse", Kind: circuit.Fuse, From: 1, To: beside, Ohms: circuit.Usual(circuit.Fuse, 5), Rating: 5, Follows: -1})
	c.Compile()
	setup := circuit.Setup{Posts: circuit.Exactly(12.5), Position: make([]circuit.Position, len(c.Elements))}
	setup.Bridges = []circuit.Bridge{{A: beside, B: c.Elements[2].From, Ohms: circuit.Span{Lo: 0.005, Hi: 0.1}}}
	short := suspect.Hypothesis{{Part: suspect.Part{Key: c.Elements[4].Key}, Mode: suspect.ShortToGround}}
	amps := c.Observe(setup, circuit.Reading{ID: "r", Quantity: circuit.Amps, Along: len(c.Elements) - 1, Red: []int{1}, Black: []int{beside}, Sigma: 0.05}, parts(c))
	require.Less(t, amps.Expect(short).Lo, 0.1, "it may have blown")
	require.Greater(t, amps.Expect(short).Hi, 5.)
}
