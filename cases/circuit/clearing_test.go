package circuit_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestClearingTakesWhatProvesMost: with the contact of one branch known to have a high
// resistance, the drop from the positive post to the far end of another branch's feed
// rules out more than the same to its beginning.
func TestClearingTakesWhatProvesMost(t *testing.T) {
	t.Parallel()
	p, c := judged(0)
	e := c.Elements[10]
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	truth := vehicle()
	truth.Elements[10].Ohms = circuit.Exactly(1)
	for k, at := range [][2]int{{e.From, e.To}, {e.From, 0}, {e.To, 0}} {
		id := fmt.Sprint("reading ", k)
		r := circuit.Reading{ID: id, Setup: id, Red: at[:1], Black: at[1:], Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
		seen := truth.Observe(setup, r, parts(c)).Foretold(nil)
		r.Shown = circuit.Exactly((seen.Lo + seen.Hi) / 2)
		p.Evidence = append(p.Evidence, c.Observe(setup, r, parts(c)))
	}
	j := suspect.Judge(p)
	require.Greater(t, j.Probability(suspect.Part{Key: e.Key}), 0.8)
	cost := suspect.Cost{Minutes: 5}
	feed := func(at int) *circuit.Candidate {
		return c.Candidate(setup, 1, c.Elements[at].To, at, suspect.Volts, cost, parts(c))
	}
	near, far := feed(0), feed(24)
	ranked := j.Clearing([]suspect.Candidate{near, far}, "")
	require.Len(t, ranked, 2)
	require.Equal(t, suspect.Candidate(far), ranked[0].Candidate)
	require.Greater(t, ranked[0].Gain, ranked[1].Gain)
	// A fault it tells lies outside what can be shown; one elsewhere does not.
	known := suspect.Hypothesis{{Part: suspect.Part{Key: e.Key}, Mode: suspect.HighResistance}}
	with := func(k int) suspect.Hypothesis {
		return append(known[:1:1], suspect.Fault{Part: suspect.Part{Key: c.Elements[k].Key}, Mode: suspect.Open})
	}
	require.True(t, far.Tells(known, with(0)))
	require.False(t, far.Tells(known, with(60)))
}
