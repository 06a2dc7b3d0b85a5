package proving

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// The player reads with a plug off what the vehicle shows, by hand: a test lamp behind a
// hundred ohms, which a voltmeter alone does not see, and a lamp that blew its fuse.
func TestPlugOffIsReadFromTheTruth(t *testing.T) {
	t.Parallel()
	w := &drawing{Circuit: &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}, shape: "chain", d: throw(1, 1, "chain"), counts: map[string]int{}}
	behind := w.guard(plus, 3)
	pin, in, out := w.point(), w.point(), w.point()
	feed := w.low(circuit.Wiring, behind, pin, 2)
	contact := w.low(circuit.Contact, pin, in, 2)
	bulb := w.load(circuit.Lamp, 2, in, out)
	w.low(circuit.Ground, out, minus, 2)
	w.Compile()
	s := small()
	play := func(d damage, blown ...int) func(m suspect.Manner, red int) float64 {
		truth := build(throw(1, 1, "vehicle"), w, 1, Plain)
		for k := range truth.leaks { // no ghost that would pass for a feed
			truth.leaks[k] = [3]float64{circuit.Leak.Hi, circuit.Leak.Hi, 0}
		}
		c := &scenario{truth: truth, asked: true, seen: true, present: 1, posts: circuit.Span{Lo: 12.1, Hi: 12.7}, damages: []damage{d}, blown: blown, plugs: w.pulled()}
		c.meter.lamp = 40
		p := &player{scenario: c, settings: &s, strategy: Own, table: suspect.Default(), rec: new(Record)}
		p.readings()
		require.Equal(t, [][]int{{contact}}, p.plugs)
		return func(m suspect.Manner, red int) float64 {
			k := slices.IndexFunc(p.options, func(o option) bool { r := o.(*reading); return r.Manner == m && r.red == red })
			require.GreaterOrEqual(t, k, 0, "%v at %d", m, red)
			got, err := p.read(p.options[k].(*reading), 0)
			require.NoError(t, err)
			return got.real
		}
	}
	at := play(damage{element: feed, mode: suspect.HighResistance, ohms: 100})
	volts := at(suspect.TestLamp, pin)
	// Of a filament of 40 ohm at 13.5 V so much is left at the voltage over it.
	filament := 40 * math.Pow(volts/13.5, lampPower)
	require.InDelta(t, 12.4*filament/(filament+100), volts, 0.6) // the posts have 12.0 to 12.75 V
	require.Less(t, volts, 3.)
	require.Greater(t, at(suspect.OhmsUnplugged, pin), 1e7, "nothing lies beside")
	require.InDelta(t, build(throw(1, 1, "vehicle"), w, 1, Plain).ohms[bulb]*coldLamp, at(suspect.OhmsUnplugged, in), 1e-3)

	at = play(damage{element: bulb, mode: suspect.Shorted, ohms: 0.01}, 0)
	require.InDelta(t, 0, at(suspect.TestLamp, pin), 0.01, "the fuse that it blew stays blown")
	require.InDelta(t, 0.01, at(suspect.OhmsUnplugged, in), 1e-3)
	require.Greater(t, at(suspect.OhmsUnplugged, pin), 1e7, "the short is behind the plug")

	at = play(damage{element: feed, mode: suspect.ShortToGround, ohms: 0.01, along: 0.5}, 0)
	require.Less(t, at(suspect.OhmsUnplugged, pin), 0.1, "the short is before the plug")
}
