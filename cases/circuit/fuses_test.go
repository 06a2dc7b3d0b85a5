package circuit_test

import (
	"slices"
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

// TestAJumperFromAFeedToAGroundStarvesWhatSharesIt: beside a dead short the jumper lifts the
// motor's ground by volts, and a motor that stands still takes more than one that runs, so that
// its fuse may be blown.
func TestAJumperFromAFeedToAGroundStarvesWhatSharesIt(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "feed", "fuse out", "ground", "motor out"}}
	for _, e := range []circuit.Element{
		{Key: "cable", Kind: circuit.Splice, From: 1, To: 2, Ohms: circuit.Span{Lo: 0.005, Hi: 0.3}},
		{Key: "starter", Kind: circuit.Motor, From: 2, To: 0, Ohms: circuit.Usual(circuit.Motor, 0)},
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 3, Ohms: circuit.Usual(circuit.Fuse, 60), Rating: 60},
		{Key: "fan", Kind: circuit.Motor, From: 3, To: 5, Ohms: circuit.Usual(circuit.Motor, 0)},
		{Key: "wire", Kind: circuit.Wiring, From: 5, To: 4, Ohms: circuit.Wire(1, 1)},
		{Key: "strap", Kind: circuit.Wiring, From: 4, To: 0, Ohms: circuit.Span{Lo: 0.006, Hi: 0.016}},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	setup := off(c)
	read := circuit.Reading{ID: "r", Red: []int{0}, Black: []int{3}, Shown: circuit.Exactly(-1.47), Sigma: 0.05, Lead: circuit.Span{Lo: 15, Hi: 70}, Duty: circuit.Exactly(1)}
	beyond := func() float64 { return c.Observe(setup, read, parts(c)).Beyond(being("starter", suspect.Shorted)) }
	require.Greater(t, beyond(), 3.0, "without a jumper the fuse holds")
	setup.Bridges = []circuit.Bridge{{A: 2, B: 4, Ohms: circuit.Span{Lo: 0.005, Hi: 0.1}}}
	require.Zero(t, beyond())
}

// TestAShortMayBlowAFuseThatItIsNotBehind: a motor whose ground is open finds it again by a
// short to ground, there or where another motor is fed that shares the ground. Starved by that
// it stands still and takes more than one that runs, so that the fuse before it and a heater may
// be blown. By what nothing but the posts joins to it, none is.
func TestAShortMayBlowAFuseThatItIsNotBehind(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "fuse out", "motor out", "ground", "second fuse out", "lamp in", "third fuse out", "horn in"}}
	for _, e := range []circuit.Element{
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 60), Rating: 60},
		{Key: "heater", Kind: circuit.Load, From: 2, To: 0, Ohms: circuit.About(1, 0.2)},
		{Key: "motor", Kind: circuit.Motor, From: 2, To: 3, Ohms: circuit.Usual(circuit.Motor, 0)},
		{Key: "wire", Kind: circuit.Wiring, From: 3, To: 4, Ohms: circuit.Wire(1, 1)},
		{Key: "switch", Kind: circuit.Switch, From: 4, To: 0, Ohms: circuit.Usual(circuit.Switch, 0)},
		{Key: "second fuse", Kind: circuit.Fuse, From: 1, To: 5, Ohms: circuit.Usual(circuit.Fuse, 60), Rating: 60},
		{Key: "second motor", Kind: circuit.Motor, From: 5, To: 4, Ohms: circuit.Usual(circuit.Motor, 0)},
		{Key: "lamp wire", Kind: circuit.Wiring, From: 5, To: 6, Ohms: circuit.Wire(1, 1)},
		{Key: "lamp", Kind: circuit.Lamp, From: 6, To: 0, Ohms: circuit.About(12, 0.2)},
		{Key: "third fuse", Kind: circuit.Fuse, From: 1, To: 7, Ohms: circuit.Usual(circuit.Fuse, 60), Rating: 60},
		{Key: "horn wire", Kind: circuit.Wiring, From: 7, To: 8, Ohms: circuit.Wire(1, 1)},
		{Key: "horn", Kind: circuit.Load, From: 8, To: 0, Ohms: circuit.About(2, 0.2)},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	setup := off(c)
	beyond := func(p circuit.Position, h ...suspect.Hypothesis) float64 {
		c.Compile()
		setup.Position[4] = p
		read := circuit.Reading{ID: "r", Red: []int{2}, Black: []int{0}, Shown: circuit.Exactly(0), Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1)}
		return c.Observe(setup, read, parts(c)).Beyond(slices.Concat(h...))
	}
	lost, elsewhere := being("switch", suspect.Open), being("horn wire", suspect.ShortToGround)
	for _, p := range []circuit.Position{circuit.Closed, circuit.Open, circuit.Either} {
		for _, key := range []string{"wire", "lamp wire"} {
			short := being(key, suspect.ShortToGround)
			require.Zero(t, beyond(p, short), "%v, %s", p, key)
			require.Zero(t, beyond(p, lost, short), "%v, %s", p, key)
		}
		require.Greater(t, beyond(p), 3.0, "nothing draws too much: %v", p)
		require.Greater(t, beyond(p, elsewhere), 3.0, "%v", p)
	}
	setup.Bridges = []circuit.Bridge{{A: 3, B: 8, Ohms: circuit.Span{Lo: 0.005, Hi: 0.1}}}
	require.Zero(t, beyond(circuit.Open, elsewhere), "a jumper joins them")
	setup.Bridges = nil
	c.Elements = append(c.Elements, circuit.Element{Key: "coil", Kind: circuit.Coil, From: 8, To: 0, Ohms: circuit.Usual(circuit.Coil, 0), Follows: -1})
	setup.Position = append(setup.Position, circuit.Closed)
	require.Greater(t, beyond(circuit.Closed, elsewhere), 3.0)
	c.Elements[4].Follows = 12
	require.Zero(t, beyond(circuit.Closed, elsewhere), "a coil moves the switch")
}
