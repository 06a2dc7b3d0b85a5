package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// A drop that was read together with its current: a short may have blown the fuse the
// leads were at, and then all of the supply lies over it with no current at all.
func TestDropOverAFuseThatMayHaveBlown(t *testing.T) {
	t.Parallel()
	c := chain(fan)
	k := index(t, c, "fuse")
	o := c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
		ID: "1", Setup: "1", Red: []int{c.Elements[k].From}, Black: []int{c.Elements[k].To}, Shown: circuit.Exactly(12.5),
		Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Through: circuit.Span{Lo: 0, Hi: 0.03},
	}, parts(c))
	require.Zero(t, o.Beyond(fault("load", suspect.Shorted)))
	require.Zero(t, o.Beyond(fault("w3", suspect.ShortToGround)))
	require.GreaterOrEqual(t, o.Beyond(nil), 3.0, "a fuse that holds drops next to nothing")
}

// A clamp tells how much flows and not which way: between two branches that share two
// grounds it may be either, and the drop has either sign.
func TestDropInALoopOfEitherSign(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "under one", "under two"}}
	add := func(key string, k circuit.Kind, from, to int, ohms circuit.Span) {
		c.Elements = append(c.Elements, circuit.Element{Key: key, Kind: k, From: from, To: to, Ohms: ohms, Follows: -1})
	}
	add("one", circuit.Resistor, 1, 2, circuit.Span{Lo: 0.9, Hi: 1.1})
	add("two", circuit.Resistor, 1, 3, circuit.Span{Lo: 0.9, Hi: 1.1})
	add("bridge", circuit.Resistor, 2, 3, circuit.Span{Lo: 0.01, Hi: 0.02})
	add("ground one", circuit.Ground, 2, 0, circuit.Usual(circuit.Ground, 0))
	add("ground two", circuit.Ground, 3, 0, circuit.Usual(circuit.Ground, 0))
	c.Compile()
	for _, shown := range []float64{0.035, -0.035} {
		o := c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
			ID: "1", Setup: "1", Red: []int{2}, Black: []int{3}, Shown: circuit.Exactly(shown),
			Sigma: 0.01, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Through: circuit.Span{Lo: 2.8, Hi: 3.2},
		}, parts(c))
		require.Zero(t, o.Beyond(nil), "%g V", shown)
	}
	// Before a load the voltage has one sign, and the current with it.
	c = chain(fan)
	k := index(t, c, "pin1")
	o := c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
		ID: "1", Setup: "1", Red: []int{c.Elements[k].From}, Black: []int{c.Elements[k].To}, Shown: circuit.Exactly(-0.5),
		Sigma: 0.01, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1), Through: circuit.Span{Lo: 9, Hi: 11},
	}, parts(c))
	require.GreaterOrEqual(t, o.Beyond(nil), 3.0)
}

// Two branches that a wire joins behind their fuse and their contact: with the contact
// open all flows through the fuse, which may then have blown.
func TestOpenInALoopMayBlowAFuse(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "behind the fuse", "behind the contact"}}
	add := func(key string, k circuit.Kind, from, to int, ohms circuit.Span, rating float64) {
		c.Elements = append(c.Elements, circuit.Element{Key: key, Kind: k, From: from, To: to, Ohms: ohms, Rating: rating, Follows: -1})
	}
	add("fuse", circuit.Fuse, 1, 2, circuit.Usual(circuit.Fuse, 7.5), 7.5)
	add("contact", circuit.Contact, 1, 3, circuit.Usual(circuit.Contact, 0), 0)
	add("wire", circuit.Wiring, 2, 3, circuit.Wire(1, 1), 0)
	add("lamp", circuit.Lamp, 2, 0, circuit.About(3, 0.15), 0)
	add("heater", circuit.Load, 3, 0, circuit.About(0.9, 0.15), 0)
	c.Compile()
	o := c.Observe(circuit.Setup{Posts: posts()}, circuit.Reading{
		ID: "1", Setup: "1", Red: []int{3}, Black: []int{0}, Shown: circuit.Exactly(0), Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
	}, parts(c))
	require.Zero(t, o.Beyond(fault("contact", suspect.Open)))
	require.GreaterOrEqual(t, o.Beyond(nil), 3.0)
}

// An ohmmeter shows its leads as well, unless somebody took them off: 0.3 ohm with the fuse
// out may be a dead short.
func TestOhmsHoldTheLeads(t *testing.T) {
	t.Parallel()
	c := chain(fan)
	k := index(t, c, "fuse")
	setup, ok := c.Dead(circuit.Setup{Posts: posts()})
	require.True(t, ok)
	read := func(ohms float64) *circuit.Observation {
		return c.Observe(setup, circuit.Reading{
			ID: "1", Setup: "1", Quantity: circuit.Ohms, Red: []int{c.Elements[k].To}, Black: []int{0}, Shown: circuit.Exactly(ohms), Sigma: 0.05,
		}, parts(c))
	}
	short := fault("w3", suspect.ShortToGround)
	for _, ohms := range []float64{0.1, 0.2, 0.3, 0.5} {
		require.Zero(t, read(ohms).Beyond(short), "%g ohm", ohms)
	}
	require.GreaterOrEqual(t, read(5).Beyond(short), 3.0, "no leads have five ohms")
}
