package circuit

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestClampedDropsHold attacks what a drop and its current, read together, can be: over runs
// and loads, and over a load with what lies before it or behind it. It climbs towards as much
// and as little for each ampere as there can be, and asks whether a proof would take it for
// impossible. The long form is that of TestBoundsHold.
func TestClampedDropsHold(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(*seed, 17))
	many, until := 120, time.Time{}
	if testing.Short() {
		many = 40
	}
	if *adversary > 0 {
		many, until = math.MaxInt, time.Now().Add(*adversary)
	}
	attacks := 0
	for n := 0; n < many && (until.IsZero() || time.Now().Before(until)); n++ {
		c := invent(r, 1+min(n/20, 2)+r.IntN(2+min(n/20, 9)), false)
		var parts []suspect.Part
		for _, e := range c.Elements {
			parts = append(parts, suspect.Part{Key: e.Key})
		}
		setup, read := situation(r, c)
		setup.Off = false
		over := c.runs(&setup)
		if len(over) == 0 {
			continue
		}
		for range 3 {
			run := over[r.IntN(len(over))]
			from := r.IntN(len(run.elements))
			to := from + 1 + r.IntN(len(run.elements)-from)
			read = Reading{ID: "x", Setup: "x", Red: run.nodes[from : from+1], Black: run.nodes[to : to+1], Sigma: 0.05, Lead: Exactly(MeterOhms)}
			for k := range 6 {
				var faults []broken
				for len(faults) < min(k, 1+k%2, len(c.Elements)) {
					if f := bad(r, c); len(faults) == 0 || faults[0].element != f.element {
						faults = append(faults, f)
					}
				}
				var h suspect.Hypothesis
				for _, f := range faults {
					h = append(h, suspect.Fault{Part: suspect.Part{Key: c.Elements[f.element].Key}, Mode: f.mode})
				}
				truth := newTruth(c, &setup, &read, faults)
				truth.clamp = run.elements[from+r.IntN(to-from)]
				for _, sign := range []float64{1, -1} {
					attacks++
					var flow float64
					best := math.Inf(-1)
					_, v := climb(r, truth, func(v float64) float64 {
						w := sign * math.Abs(v) / (truth.flow + 0.05)
						if w > best {
							best, flow = w, truth.flow
						}
						return w
					}, 3)
					if math.IsInf(best, -1) {
						continue
					}
					shown := read
					shown.Shown, shown.Through = Exactly(v), Flows(flow)
					require.LessOrEqual(t, c.Observe(setup, shown, parts).Beyond(h)*read.Sigma, 1e-4, "%s, %.9g A", &outside{c, setup, shown, faults, Span{}, v, truth.knobs}, flow)
					// What the clamp showed counts by itself too, wherever on the way it was.
					if along, ok := c.Only(setup, read.Red, read.Black); ok {
						amps := shown
						amps.Quantity, amps.Along, amps.Lead, amps.Through, amps.Shown = Amps, along, Span{}, Span{}, Exactly(flow)
						require.LessOrEqual(t, c.Observe(setup, amps, parts).Beyond(h)*read.Sigma, 2e-5*max(1, flow)+1e-4, "%s", &outside{c, setup, amps, faults, Span{}, flow, truth.knobs})
					}
				}
			}
		}
	}
	t.Logf("%d attacks on drops that were read with their currents", attacks)
	require.Greater(t, attacks, 100)
}
