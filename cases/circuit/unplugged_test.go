package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// pluggedChain is feed, fuse, plug, lamp, plug and ground, one behind the other.
func pluggedChain() (*circuit.Circuit, []suspect.Part) {
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "fuse out", "feed pin", "lamp in", "lamp out", "ground pin"}}
	for _, e := range []circuit.Element{
		{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 2, Ohms: circuit.Usual(circuit.Fuse, 10), Rating: 10},
		{Key: "feed", Kind: circuit.Wiring, From: 2, To: 3, Ohms: circuit.Wire(2, 1)},
		{Key: "plug 1", Kind: circuit.Contact, From: 3, To: 4, Ohms: circuit.Usual(circuit.Contact, 0)},
		{Key: "lamp", Kind: circuit.Lamp, From: 4, To: 5, Ohms: circuit.About(8, 0.15)},
		{Key: "plug 2", Kind: circuit.Contact, From: 5, To: 6, Ohms: circuit.Usual(circuit.Contact, 0)},
		{Key: "ground", Kind: circuit.Ground, From: 6, To: 0, Ohms: circuit.Usual(circuit.Ground, 0)},
	} {
		e.Follows = -1
		c.Elements = append(c.Elements, e)
	}
	c.Compile()
	var parts []suspect.Part
	for _, e := range c.Elements {
		parts = append(parts, suspect.Part{Key: e.Key})
	}
	return c, parts
}

func off(c *circuit.Circuit, keys ...string) circuit.Setup {
	s := circuit.Setup{Posts: circuit.Span{Lo: 12.4, Hi: 12.6}, Position: make([]circuit.Position, len(c.Elements))}
	for k, e := range c.Elements {
		for _, key := range keys {
			if e.Key == key {
				s.Position[k] = circuit.Gone
			}
		}
	}
	return s
}

func being(key string, m suspect.Mode) suspect.Hypothesis {
	return suspect.Hypothesis{{Part: suspect.Part{Key: key}, Mode: m}}
}

// TestWhatIsUnpluggedMayHaveBlownTheFuse: with the plug off a short behind it draws
// nothing any more, but the fuse that it blew stays blown, so that a dead pin does not
// clear the lamp; nor does a live one, since somebody may have put a new fuse in.
func TestWhatIsUnpluggedMayHaveBlownTheFuse(t *testing.T) {
	t.Parallel()
	for _, keys := range [][]string{{"plug 1", "plug 2"}, {"plug 1"}, {"lamp"}} {
		c, parts := pluggedChain()
		read := func(v float64) *circuit.Observation {
			return c.Observe(off(c, keys...), circuit.Reading{
				ID: "r", Red: []int{3}, Black: []int{0}, Shown: circuit.Exactly(v), Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
			}, parts)
		}
		dead, fed := read(0), read(12.45)
		require.Zero(t, dead.Beyond(being("lamp", suspect.Shorted)), keys)
		require.Zero(t, fed.Beyond(being("lamp", suspect.Shorted)), keys)
		require.Greater(t, dead.Beyond(being("lamp", suspect.Open)), 3., keys)
		require.Greater(t, dead.Beyond(being("ground", suspect.Open)), 3., keys)
		require.Zero(t, dead.Beyond(being("fuse", suspect.Open)), keys)
		require.Less(t, dead.Foretold(being("lamp", suspect.Shorted)).Lo, 1., "a dead short blows ten amperes: %v", keys)
		require.True(t, dead.Left(being("lamp", suspect.Shorted)[0]), keys)
		require.False(t, dead.Left(being("feed", suspect.ShortToGround)[0]), keys)
	}
}

// TestChafedPlugMayTouchOnEitherSide: of a plug that is off, with a short to ground,
// nobody knows which half has it.
func TestChafedPlugMayTouchOnEitherSide(t *testing.T) {
	t.Parallel()
	c, parts := pluggedChain()
	for _, ohms := range []float64{0.2, 1e9} {
		o := c.Observe(off(c, "fuse", "plug 1"), circuit.Reading{ID: "r", Quantity: circuit.Ohms, Red: []int{3}, Black: []int{0}, Shown: circuit.Exactly(ohms), Sigma: 0.05}, parts)
		require.Zero(t, o.Beyond(being("plug 1", suspect.ShortToGround)), ohms)
	}
}

// TestOhmsOverWhatIsFed: with the fuse out a short to a feed behind it still sends current
// through the ground, a few hundredths of a volt over it, which an ohmmeter takes for ohms.
func TestOhmsOverWhatIsFed(t *testing.T) {
	t.Parallel()
	c, parts := pluggedChain()
	o := c.Observe(off(c, "fuse"), circuit.Reading{ID: "r", Quantity: circuit.Ohms, Red: []int{6}, Black: []int{0}, Shown: circuit.Exactly(3.4), Sigma: 0.05}, parts)
	require.Zero(t, o.Beyond(being("feed", suspect.ShortToPower)))
	require.Greater(t, o.Beyond(nil), 3.)
	require.Greater(t, o.Beyond(being("lamp", suspect.Open)), 3.)
}

// TestUnpluggingOneOfTwoFeedsMayBlowTheFuseOfTheOther: what flowed past the small fuse
// flows through it once the plug beside it is off, with nothing wrong at all. With no way
// round, a fuse holds what it held before.
func TestUnpluggingOneOfTwoFeedsMayBlowTheFuseOfTheOther(t *testing.T) {
	t.Parallel()
	for _, ends := range []int{1, 3} { // the plug is a second feed, or leads nowhere but past a wire
		c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+", "heater in", "fuse out"}}
		for _, e := range []circuit.Element{
			{Key: "fuse", Kind: circuit.Fuse, From: 1, To: 3, Ohms: circuit.Usual(circuit.Fuse, 5), Rating: 5},
			{Key: "wire", Kind: circuit.Wiring, From: 3, To: 2, Ohms: circuit.Wire(2, 1)},
			{Key: "plug", Kind: circuit.Contact, From: ends, To: 2, Ohms: circuit.Usual(circuit.Contact, 0)},
			{Key: "heater", Kind: circuit.Load, From: 2, To: 0, Ohms: circuit.About(2, 0.15)},
		} {
			e.Follows = -1
			c.Elements = append(c.Elements, e)
		}
		c.Compile()
		parts := make([]suspect.Part, len(c.Elements))
		for k, e := range c.Elements {
			parts[k] = suspect.Part{Key: e.Key}
		}
		dead := c.Observe(off(c, "plug"), circuit.Reading{
			ID: "r", Red: []int{2}, Black: []int{0}, Shown: circuit.Exactly(0), Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
		}, parts)
		require.Equal(t, ends == 1, dead.Beyond(nil) < 3, "%v", dead.Expect(nil))
		require.Greater(t, dead.Expect(nil).Hi, 11.0)
	}
}
