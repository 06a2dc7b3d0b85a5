package circuit_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// chain is an invented circuit of one path: battery, fuse, relay contact, two
// contacts, a load, a contact, a splice, a ground.
func chain(load circuit.Element) *circuit.Circuit {
	c := &circuit.Circuit{System: 12}
	c.Points = []string{"batt-", "batt+"}
	at := 1
	add := func(key string, kind circuit.Kind, ohms circuit.Span) {
		to := len(c.Points)
		c.Points = append(c.Points, key+" out")
		c.Elements = append(c.Elements, circuit.Element{Key: key, Kind: kind, From: at, To: to, Ohms: ohms, Follows: -1})
		at = to
	}
	add("w1", circuit.Wiring, circuit.Wire(1, 2.5))
	add("fuse", circuit.Fuse, circuit.Usual(circuit.Fuse, 30))
	c.Elements[len(c.Elements)-1].Rating = 30
	add("w2", circuit.Wiring, circuit.Wire(0.5, 2.5))
	add("relay", circuit.Switch, circuit.Usual(circuit.Switch, 0))
	add("w3", circuit.Wiring, circuit.Wire(2, 2.5))
	add("pin1", circuit.Contact, circuit.Usual(circuit.Contact, 0))
	add("load", load.Kind, load.Ohms)
	add("pin2", circuit.Contact, circuit.Usual(circuit.Contact, 0))
	add("w4", circuit.Wiring, circuit.Wire(0.5, 2.5))
	add("splice", circuit.Splice, circuit.Usual(circuit.Splice, 0))
	add("w5", circuit.Wiring, circuit.Wire(0.5, 2.5))

	c.Elements = append(c.Elements, circuit.Element{Key: "ground", Kind: circuit.Ground, From: at, To: 0, Ohms: circuit.Usual(circuit.Ground, 0), Follows: -1})

	c.Compile()
	return c
}

func index(t testing.TB, c *circuit.Circuit, key string) int {
	t.Helper()
	for k, e := range c.Elements {
		if e.Key == key {
			return k
		}
	}
	t.Fatalf("no %s", key)
	return -1
}

func point(t testing.TB, c *circuit.Circuit, name string) []int {
	t.Helper()
	for k, p := range c.Points {
		if p == name {
			return []int{k}
		}
	}
	t.Fatalf("no point %s", name)
	return nil
}

var fan = circuit.Element{Kind: circuit.Motor, Ohms: circuit.About(12.5/11, 0.2)}

// parts: every element is a part of its own, in its first life.
func parts(c *circuit.Circuit) []suspect.Part {
	var out []suspect.Part
	for _, e := range c.Elements {
		out = append(out, suspect.Part{Key: e.Key})
	}
	return out
}

func fault(key string, m suspect.Mode) suspect.Hypothesis {
	return suspect.Hypothesis{{Part: suspect.Part{Key: key}, Mode: m}}
}

func posts() circuit.Span { return circuit.Span{12.3, 12.7} }

// TestPhysics holds the figures every electrician knows (common practice), at 12.5
// V and with a 10 megohm meter.
func TestPhysics(t *testing.T) {
	t.Parallel()
	c := chain(fan)
	unplugged := make([]circuit.Position, len(c.Elements))
	unplugged[index(t, c, "pin1")], unplugged[index(t, c, "pin2")] = circuit.Open, circuit.Open
	read := func(position []circuit.Position, red, black string, lead circuit.Span) *circuit.Observation {
		return c.Observe(circuit.Setup{Posts: posts(), Position: position}, circuit.Reading{
			ID: "x", Setup: "x", Red: point(t, c, red), Black: point(t, c, black), Shown: circuit.Exactly(0), Sigma: 0.05, Lead: lead,
		}, parts(c))
	}
	meter := circuit.Exactly(circuit.MeterOhms)
	loaded := read(nil, "w3 out", "batt-", meter)
	whole := loaded.Expect(nil)
	require.Greater(t, whole.Lo, 11.3)
	require.LessOrEqual(t, whole.Hi, 12.71)
	open := read(unplugged, "w3 out", "batt-", meter)
	ghost := open.Expect(fault("w2", suspect.Open))
	require.InDelta(t, 0, ghost.Lo, 0.01)
	require.Less(t, ghost.Hi, 5.0)
	require.Greater(t, ghost.Hi, 0.05)
	short := open.Expect(fault("w3", suspect.ShortToGround))
	require.InDelta(t, 0, short.Lo, 1e-3)
	require.Greater(t, open.Expect(nil).Lo, 12.2)
	require.Less(t, loaded.Expect(fault("w2", suspect.Open)).Hi, 0.05, "the same open with the load plugged in")
	lampOn := read(unplugged, "w3 out", "batt-", circuit.Span{15, 70})
	high := lampOn.Expect(fault("w2", suspect.HighResistance))
	require.Less(t, high.Lo, 0.3)
	require.Greater(t, high.Hi, 11.0)
	t.Logf("whole %v ghost %v short %v lamp %v load high %v", whole, ghost, short, high, loaded.Expect(fault("w2", suspect.HighResistance)))
	drop := read(nil, "pin2 out", "batt-", meter)
	t.Logf("ground drop well %v, splice high %v", drop.Expect(nil), drop.Expect(fault("splice", suspect.HighResistance)))
	require.Less(t, drop.Expect(nil).Hi, 1.2)
	for k, e := range c.Elements {
		for _, s := range e.Kind.Modes() {
			for _, o := range []*circuit.Observation{loaded, open, lampOn, drop} {
				v := o.Expect(fault(c.Elements[k].Key, s.Mode))
				require.False(t, math.IsNaN(v.Lo) || math.IsNaN(v.Hi), "%s %v", e.Key, s.Mode)
				require.LessOrEqual(t, v.Lo, v.Hi+1e-12)
			}
		}
	}
}
