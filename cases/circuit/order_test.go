package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestTwoInOnePathLieInOrder: a lamp that is fed in spite of an open wire may be so by a
// short to the supply behind it, and not by one before it; the one as the other, whichever is
// named first.
func TestTwoInOnePathLieInOrder(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Wiring, circuit.Contact, circuit.Wiring, circuit.Lamp, circuit.Ground)
	const first, second = 2, 4
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	read := func(v float64) *circuit.Observation {
		return c.Observe(setup, circuit.Reading{
			ID: "r", Setup: "r", Red: []int{c.Elements[second].To}, Black: []int{0}, Shown: circuit.Exactly(v), Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms),
		}, parts(c))
	}
	fault := func(k int, m suspect.Mode) suspect.Fault {
		return suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: m}
	}
	behind := suspect.Hypothesis{fault(first, suspect.Open), fault(second, suspect.ShortToPower)}
	before := suspect.Hypothesis{fault(first, suspect.ShortToPower), fault(second, suspect.Open)}
	fed, dark := read(12.4), read(0)
	for range 2 {
		require.Zero(t, fed.Beyond(behind))
		require.Greater(t, fed.Beyond(before), 3.)
		require.Greater(t, dark.Beyond(behind), 3.)
		require.Zero(t, dark.Beyond(before))
		require.Greater(t, fed.Foretold(behind).Lo, 11.)
		require.Less(t, fed.Foretold(before).Hi, 1.)
		behind[0], behind[1] = behind[1], behind[0]
		before[0], before[1] = before[1], before[0]
	}
}

// TestTwoInOnePathAreWeighedInOrder: a lamp is fed and nothing flows through its fuse. With a
// wire open and one behind it fed by a short that is so, with the short before the open one it
// is not, however they are listed.
func TestTwoInOnePathAreWeighedInOrder(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Wiring, circuit.Contact, circuit.Wiring, circuit.Lamp, circuit.Ground)
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	fault := func(k int, m suspect.Mode) suspect.Fault {
		return suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: m, Prior: 0.01}
	}
	probability := func(faults ...suspect.Fault) float64 {
		p := suspect.Problem{Faults: append(faults, suspect.Fault{Part: suspect.NotNamed, Prior: 0.001})}
		for _, r := range []circuit.Reading{
			{ID: "lamp", Red: []int{6}, Black: []int{0}, Shown: circuit.Exactly(12.4), Lead: circuit.Exactly(circuit.MeterOhms)},
			{ID: "clamp", Quantity: circuit.Amps, Along: 0, Red: []int{1}, Black: []int{2}, Shown: circuit.Exactly(0)},
		} {
			r.Setup, r.Sigma = r.ID, 0.05
			p.Evidence = append(p.Evidence, c.Observe(setup, r, parts(c)))
		}
		return suspect.Judge(p).Probability(suspect.Part{Key: "e2"})
	}
	require.Greater(t, probability(fault(2, suspect.Open), fault(4, suspect.ShortToPower)), 0.5)
	require.Greater(t, probability(fault(4, suspect.ShortToPower), fault(2, suspect.Open)), 0.5)
	require.Less(t, probability(fault(2, suspect.ShortToPower), fault(4, suspect.Open)), 0.1)
	require.Less(t, probability(fault(4, suspect.Open), fault(2, suspect.ShortToPower)), 0.1)
}

// TestAHighResistanceBeforeAShortSparesTheFuse: behind it a short draws little, and what is
// read between the two says so, whatever the leads part the path into.
func TestAHighResistanceBeforeAShortSparesTheFuse(t *testing.T) {
	t.Parallel()
	for _, turned := range []bool{false, true} {
		c := oneLamp(circuit.Fuse, circuit.Contact, circuit.Wiring, circuit.Contact, circuit.Wiring, circuit.Lamp, circuit.Ground)
		c.Elements[0].Rating = 10
		if turned { // a path runs as it was drawn, or the other way
			for k := range c.Elements[1:5] {
				e := &c.Elements[1+k]
				e.From, e.To = e.To, e.From
			}
		}
		c.Compile()
		setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
		for red := 2; red <= 6; red++ {
			for _, high := range []int{1, 2, 3} {
				for short := high + 1; short <= 4; short++ {
					o := c.Observe(setup, circuit.Reading{ID: "r", Setup: "r", Red: []int{red}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}, parts(c))
					h := suspect.Hypothesis{
						{Part: suspect.Part{Key: c.Elements[high].Key}, Mode: suspect.HighResistance},
						{Part: suspect.Part{Key: c.Elements[short].Key}, Mode: suspect.ShortToGround},
					}
					for range 2 {
						if bounds := o.Expect(h); red == 2 {
							require.Greater(t, bounds.Hi, 12., "the fuse holds")
						} else {
							require.Greater(t, bounds.Hi, 0.03, "at %d, %d before %d: some of it flows", red, high, short)
						}
						h[0], h[1] = h[1], h[0]
					}
				}
			}
		}
	}
}

// TestOhmsOverWhatANeighbourFeeds: with the plug off nothing drawn feeds a ground wire, but a
// feed that touches it does; a few millivolts are some ohms to the meter.
func TestOhmsOverWhatANeighbourFeeds(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Wiring, circuit.Lamp, circuit.Contact, circuit.Wiring, circuit.Ground)
	const feed, plug, back = 1, 3, 4
	c.Elements[feed].Neighbours, c.Elements[back].Neighbours = []int{back}, []int{feed}
	c.Compile()
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	setup.Position[plug] = circuit.Gone
	o := c.Observe(setup, circuit.Reading{ID: "r", Setup: "r", Quantity: circuit.Ohms, Red: []int{c.Elements[back].From}, Black: []int{0}, Sigma: 0.05}, parts(c))
	thin := suspect.Fault{Part: suspect.Part{Key: c.Elements[0].Key}, Mode: suspect.HighResistance}
	touches := suspect.Fault{Part: suspect.Part{Key: c.Elements[feed].Key}, Mode: suspect.ShortTo(back)}
	require.Less(t, o.Expect(suspect.Hypothesis{thin}).Hi, 1.)
	require.Greater(t, o.Expect(suspect.Hypothesis{thin, touches}).Hi, 5.)
}

// TestAPlugThatIsOffHoldsItsPinsApart: a pin that touches another and metal too grounds it
// while the plug is on. With it off nobody knows what floats there.
func TestAPlugThatIsOffHoldsItsPinsApart(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Contact, circuit.Switch, circuit.Contact, circuit.Lamp, circuit.Ground)
	const one, other = 1, 3
	c.Elements[one].Neighbours, c.Elements[other].Neighbours = []int{other}, []int{one}
	c.Compile()
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	setup.Position[0], setup.Position[other] = circuit.Gone, circuit.Gone
	h := suspect.Hypothesis{
		{Part: suspect.Part{Key: c.Elements[one].Key}, Mode: suspect.ShortTo(other)},
		{Part: suspect.Part{Key: c.Elements[other].Key}, Mode: suspect.ShortToGround},
	}
	o := c.Observe(setup, circuit.Reading{ID: "r", Setup: "r", Red: []int{c.Elements[other].From}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}, parts(c))
	require.Greater(t, o.Expect(h).Hi, 1.)
}
