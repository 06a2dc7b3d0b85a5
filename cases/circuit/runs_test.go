package circuit_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestClamps: over the feed whole, to its last but one and from its second part, over the load
// alone and with what is on either side, and over the return; with a jumper over the plug the
// feed ends there, and what is switched off carries nothing.
func TestClamps(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Wiring, circuit.Contact, circuit.Lamp, circuit.Wiring, circuit.Ground)
	named := func(s circuit.Setup) (out []string) {
		for _, r := range c.Clamps(&s) {
			out = append(out, fmt.Sprintf("%s to %s, %s", c.Points[r.Red], c.Points[r.Black], c.Elements[r.At].Key))
		}
		return out
	}
	require.Equal(t, []string{
		"batt+ to p5, e2", "batt+ to p4, e2", "p2 to p5, e2",
		"p5 to p6, e4", "p4 to p6, e3", "p5 to p7, e5",
		"p6 to batt-, e5", "p6 to p7, e5", "p7 to batt-, e6",
	}, named(circuit.Setup{}))
	require.ElementsMatch(t, []string{
		"batt+ to p4, e2", "batt+ to p3, e0", "p2 to p4, e2",
		"p5 to p6, e4", "p5 to p7, e5",
		"p6 to batt-, e5", "p6 to p7, e5", "p7 to batt-, e6",
	}, named(circuit.Setup{Bridges: []circuit.Bridge{{A: 4, B: 5, Ohms: circuit.Span{Lo: 0.01, Hi: 0.1}}}}))
	off := circuit.Setup{Position: make([]circuit.Position, len(c.Elements))}
	off.Position[1] = circuit.Open
	require.Contains(t, named(off), "p3 to p5, e2")
	require.NotContains(t, named(off), "batt+ to p5, e2")
}

// TestALoadHasWhatItHasAtTheVoltsOverIt: twelve volts and four amperes over a motor of three
// ohms are no seized one and none that draws too much, though starved it may have a sixth of
// that; and starved it does.
func TestALoadHasWhatItHasAtTheVoltsOverIt(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Wiring, circuit.Contact, circuit.Motor, circuit.Wiring, circuit.Ground)
	c.Elements[3].Ohms = circuit.About(3, 0.1)
	c.Compile()
	beyond := func(red, black int, volts, amps float64, h suspect.Hypothesis) float64 {
		return c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
			ID: "r", Red: []int{red}, Black: []int{black}, Shown: circuit.Exactly(volts), Sigma: 0.03 + 0.005*volts,
			Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Through: circuit.Flows(amps),
		}, parts(c)).Beyond(h)
	}
	for _, red := range []int{3, 4} { // with its contact, and by itself
		require.Zero(t, beyond(red, 5, 12, 4, nil))
		require.Greater(t, beyond(red, 5, 12, 4, fault("e3", suspect.DrawsTooMuch)), 3.0)
		require.Greater(t, beyond(red, 5, 12, 4, fault("e3", suspect.Seized)), 3.0)
		require.Zero(t, beyond(red, 5, 12, 8, fault("e3", suspect.DrawsTooMuch)))
		require.Greater(t, beyond(red, 5, 12, 8, nil), 3.0)
		require.Zero(t, beyond(red, 5, 2, 3.3, fault("e1", suspect.HighResistance)), "it stands still")
	}
	// A jumper over both takes what no clamp round them tells.
	o := c.Observe(circuit.Setup{Posts: posts(), Bridges: []circuit.Bridge{{A: 3, B: 4, Ohms: circuit.Span{Lo: 0.005, Hi: 0.1}}}}, circuit.Reading{
		ID: "r", Red: []int{3}, Black: []int{4}, Shown: circuit.Exactly(0.2), Sigma: 0.03,
		Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Through: circuit.Flows(4),
	}, parts(c))
	require.Zero(t, o.Beyond(fault("e2", suspect.HighResistance)))
}

// TestAClampWasSomewhereOnTheWay: with a contact shorted to ground behind its fuse, current
// comes to the short from the other side too, through the lamp and from what another load lifts
// its ground to. A clamp behind the short shows it, and one at the fuse nothing.
func TestAClampWasSomewhereOnTheWay(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "fuse out", "contact out", "lamp in", "ground"}}
	for _, e := range []circuit.Element{
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 3), Rating: 3},
		{Key: "contact", Kind: circuit.Contact, From: 2, To: 3, Ohms: circuit.Usual(circuit.Contact, 0)},
		{Key: "wire", Kind: circuit.Wiring, From: 3, To: 4, Ohms: circuit.Wire(2, 1)},
		{Key: "lamp", Kind: circuit.Lamp, From: 4, To: 5, Ohms: circuit.About(8, 0.15)},
		{Key: "heater", Kind: circuit.Load, From: 1, To: 5, Ohms: circuit.About(1.5, 0.15)},
		{Key: "ground wire", Kind: circuit.Wiring, From: 5, To: 0, Ohms: circuit.Wire(2, 1)},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	along, ok := c.Only(off(c), []int{1}, []int{4})
	require.True(t, ok)
	beyond := func(amps float64, h suspect.Hypothesis) float64 {
		return c.Observe(off(c), circuit.Reading{
			ID: "r", Red: []int{1}, Black: []int{4}, Quantity: circuit.Amps, Along: along, Shown: circuit.Exactly(amps), Sigma: 0.05, Duty: circuit.Exactly(1),
		}, parts(c)).Beyond(h)
	}
	require.Zero(t, beyond(0.3, fault("contact", suspect.ShortToGround)))
	require.Greater(t, beyond(0.3, fault("wire", suspect.Open)), 3.0)
	require.Zero(t, beyond(1.5, nil))
}
