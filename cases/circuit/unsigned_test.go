package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestUnsigned: 12.4 V over a lamp, with the leads one way round or the other, is what a lamp
// that is fed has, and not one whose feed is open; with the leads known it is turned round.
func TestUnsigned(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Lamp, circuit.Ground)
	const fuse, lamp = 0, 2
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	open := suspect.Hypothesis{{Part: suspect.Part{Key: c.Elements[fuse].Key}, Mode: suspect.Open}}
	for _, turned := range []bool{false, true} {
		for _, unsigned := range []bool{false, true} {
			r := circuit.Reading{ID: "r", Red: []int{c.Elements[lamp].From}, Black: []int{c.Elements[lamp].To}, Shown: circuit.Exactly(12.4), Sigma: 0.09, Lead: circuit.Exactly(circuit.MeterOhms), Unsigned: unsigned}
			if turned {
				r.Red, r.Black = r.Black, r.Red
			}
			o := c.Observe(setup, r, parts(c))
			require.Equal(t, unsigned || !turned, o.Beyond(nil) < 3, "turned %v, unsigned %v", turned, unsigned)
			require.Greater(t, o.Beyond(open), 3.)
		}
	}
}
