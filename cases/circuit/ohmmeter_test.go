package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// aRelay is a fused motor behind a contact that a coil with a fuse of its own closes. It has
// its parts from the positive post to the negative one.
func aRelay() *circuit.Circuit {
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "coil in", "fuse out", "contact out", "motor in", "motor ground"}}
	for _, e := range []circuit.Element{
		{Key: "coil fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 5), Rating: 5},
		{Key: "coil", Kind: circuit.Coil, From: 2, To: 0, Ohms: circuit.Usual(circuit.Coil, 0)},
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 3, Ohms: circuit.Usual(circuit.Fuse, 20), Rating: 20},
		{Key: "contact", Kind: circuit.Switch, From: 3, To: 4, Ohms: circuit.Usual(circuit.Switch, 0)},
		{Key: "wire", Kind: circuit.Wiring, From: 4, To: 5, Ohms: circuit.Wire(2, 1.5)},
		{Key: "motor", Kind: circuit.Motor, From: 5, To: 6, Ohms: circuit.About(3, 0.1)},
		{Key: "ground", Kind: circuit.Ground, From: 6, To: 0, Ohms: circuit.Usual(circuit.Ground, 0)},
	} {
		e.Follows = -1
		if e.Key == "contact" {
			e.Follows = 1
		}
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	return c
}

// TestARelayThatIsFedPullsWhileOhmsAreRead: with the motor's fuse out and the coil's in, the
// contact may be closed, and ohms behind the fuse are the motor's though nothing is wrong.
// With both out it is open.
func TestARelayThatIsFedPullsWhileOhmsAreRead(t *testing.T) {
	t.Parallel()
	c := aRelay()
	ohms := func(off bool, out ...string) *circuit.Observation {
		s := circuit.Setup{Posts: circuit.Exactly(12.5), Position: make([]circuit.Position, len(c.Elements)), Off: off}
		for _, key := range out {
			s.Position[index(t, c, key)] = circuit.Gone
		}
		require.False(t, c.Live(&s, 3))
		return c.Observe(s, circuit.Reading{ID: "r", Red: []int{3}, Black: []int{0}, Quantity: circuit.Ohms, Shown: circuit.Exactly(1), Sigma: 0.05}, parts(c))
	}
	well := ohms(false, "fuse").Expect(nil)
	require.Less(t, well.Lo, 1.0)
	require.Greater(t, well.Hi, 1e6)
	require.Zero(t, ohms(false, "fuse").Beyond(nil))
	require.Less(t, ohms(false, "fuse").Foretold(nil).Hi, 5.0, "it is closed, as far as anybody can tell")
	require.Greater(t, ohms(false, "fuse", "coil fuse").Expect(nil).Lo, 1e5)
	require.Greater(t, ohms(true, "fuse").Expect(nil).Lo, 1e5, "with the battery off a coil pulls nothing")
}

// TestAFaultThatFeedsPullsTheRelayToo: with every fuse out, a wire that is shorted to the
// supply feeds the coil behind it, so that a contact may be closed which would be open.
func TestAFaultThatFeedsPullsTheRelayToo(t *testing.T) {
	t.Parallel()
	c := aRelay()
	c.Elements[0].Kind, c.Elements[0].Ohms, c.Elements[0].Rating = circuit.Wiring, circuit.Wire(1, 1), 0 // what is shorted
	c.Points = append(c.Points, "coil fuse out")
	c.Elements[0].From = 7
	c.Elements = append(c.Elements, circuit.Element{Key: "first fuse", Kind: circuit.Fuse, From: 1, To: 7, Ohms: circuit.Usual(circuit.Fuse, 5), Rating: 5, Follows: -1})
	c.Compile()
	s, _ := c.Dead(circuit.Setup{Posts: circuit.Exactly(12.5), Position: make([]circuit.Position, len(c.Elements))})
	o := c.Observe(s, circuit.Reading{ID: "r", Red: []int{3}, Black: []int{0}, Quantity: circuit.Ohms, Shown: circuit.Exactly(1), Sigma: 0.05}, parts(c))
	require.Greater(t, o.Expect(nil).Lo, 1e5)
	require.Less(t, o.Expect(fault("coil fuse", suspect.ShortToPower)).Lo, 1.0)
}

// TestAJumperFeeds: what a jumper or a test lamp from the positive post leads to is live, and
// nobody reads ohms there.
func TestAJumperFeeds(t *testing.T) {
	t.Parallel()
	c := aRelay()
	s, _ := c.Dead(circuit.Setup{Posts: circuit.Exactly(12.5), Position: make([]circuit.Position, len(c.Elements))})
	require.False(t, c.Live(&s, 5))
	s.Bridges = []circuit.Bridge{{A: 1, B: 5, Ohms: circuit.Span{Lo: 0.005, Hi: 0.1}}}
	require.True(t, c.Live(&s, 5))
}

// TestATestLampMayBlowAFuse that holds what the resistor before it lets through, but not that
// and the lamp beside it.
func TestATestLampMayBlowAFuse(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Contact, circuit.Resistor, circuit.Wiring, circuit.Lamp)
	c.Elements[2].Ohms = circuit.About(3.9, 0.2)
	c.Elements[0].Rating = 5
	c.Compile()
	shows := func(lead circuit.Span) float64 {
		o := c.Observe(circuit.Setup{Posts: circuit.Exactly(12.5)}, circuit.Reading{ID: "r", Red: []int{4}, Black: []int{2}, Shown: circuit.Exactly(0), Sigma: 0.05, Lead: lead, Duty: circuit.Exactly(1)}, parts(c))
		return o.Beyond(fault("e3", suspect.ShortToGround))
	}
	require.Greater(t, shows(circuit.Exactly(circuit.MeterOhms)), 3.0, "the resistor has all of it")
	require.Zero(t, shows(circuit.Span{Lo: 15, Hi: 70}))
}

// TestAVoltmeterShowsLessThanThereIsBehindMegohms: what leaks to two pieces that float may put
// more over them than a voltmeter showed before, and so over the ohmmeter.
func TestAVoltmeterShowsLessThanThereIsBehindMegohms(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Contact, circuit.Resistor, circuit.Contact, circuit.Lamp)
	c.Elements = append(c.Elements, circuit.Element{Key: "coil", Kind: circuit.Coil, From: len(c.Points), To: 0, Ohms: circuit.Usual(circuit.Coil, 0), Follows: -1})
	c.Points = append(c.Points, "coil in")
	c.Elements = append(c.Elements, circuit.Element{Key: "coil fuse", Kind: circuit.Fuse, From: 1, To: 5, Ohms: circuit.Usual(circuit.Fuse, 5), Rating: 5, Follows: -1})
	c.Compile()
	s := off(c, "e0", "coil", "coil fuse")
	read := circuit.Reading{ID: "r", Quantity: circuit.Ohms, Red: []int{3}, Black: []int{5}, Shown: circuit.Exactly(20e6), Sigma: 0.05, Duty: circuit.Exactly(1)}
	least := func() float64 { return c.Observe(s, read, parts(c)).Expect(being("e2", suspect.Open)).Lo }
	live := least()
	s.Off = true
	ohms := least()
	require.Greater(t, ohms, 5e6)
	// A tenth of a volt on the voltmeter is as much again over what it is read through.
	behind := 0.1 * (1 + ohms/circuit.MeterOhms)
	require.Less(t, live, (0.2*ohms-500*behind)/(0.2+behind))
}

// TestAnOhmmeterIsMisledByWhatLittleDrops: a wire that is shorted to the supply feeds a lamp
// through a coil, and over a lamp that is all but cold nothing drops that keeps anybody from
// reading ohms there, though over one that is warm a volt would.
func TestAnOhmmeterIsMisledByWhatLittleDrops(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Wiring, circuit.Lamp, circuit.Coil)
	c.Elements[2].Ohms, c.Elements[3].Ohms = circuit.Span{Lo: 1.35, Hi: 1000}, circuit.About(34, 0.05)
	c.Compile()
	read := circuit.Reading{ID: "r", Quantity: circuit.Ohms, Red: []int{c.Elements[2].To}, Black: []int{c.Elements[2].From}, Sigma: 0.05, Duty: circuit.Exactly(1)}
	least := func() float64 {
		return c.Observe(off(c, "e0"), read, parts(c)).Expect(being("e1", suspect.ShortToPower)).Lo
	}
	// A twentieth of a volt more is on one lead, of two tenths that send through 500 ohms.
	require.Less(t, least(), -80.0)
}
