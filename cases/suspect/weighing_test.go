package suspect_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestWeighedAsByTheFinestParts holds what the blocks make of a hypothesis against the mean
// over the finest parts of what is unknown, each asked by itself: an integral worked out the
// long way.
func TestWeighedAsByTheFinestParts(t *testing.T) {
	t.Parallel()
	fresh := rand.Uint64()
	for n := range uint64(6) {
		seed := n
		if n == 0 {
			seed = fresh
		}
		j, e := lit(seed)
		var far int
		long := func(faults ...int) float64 {
			sum := 0.0
			last := uint8(1)
			if len(faults) > 1 {
				last = suspect.Fine
			}
			for a := range uint8(suspect.Fine) {
				for b := range last {
					box := suspect.Box{{From: a, To: a + 1}, {From: b, To: b + 1}}
					if len(faults) == 1 {
						box[1] = suspect.Everywhere[1]
					}
					l := 0.0
					for n := range e {
						l += e[n].Within(j.ClassesOf(n, faults), box).Mean
					}
					sum += math.Exp(l)
				}
			}
			return math.Log(sum / suspect.Fine / float64(last))
		}
		best := math.Inf(-1)
		for i := range j.Faults() {
			best = max(best, long(i))
		}
		for i, f := range j.Faults() {
			switch want := long(i); {
			case want > best-6:
				require.InDelta(t, want, j.WeighedAlone(i), 0.6, "seed %d: %v %v", seed, f.Part, f.Mode)
			default:
				far++
				require.Less(t, j.WeighedAlone(i), best-4, "seed %d: %v %v", seed, f.Part, f.Mode)
			}
		}
		require.Positive(t, far)
		// Pairs that were weighed to the end are told as finely as it matters of them, the
		// others no lower.
		r := rand.New(rand.NewPCG(seed, 1))
		for range 40 {
			i, k := r.IntN(len(j.Faults())), r.IntN(len(j.Faults()))
			if j.Faults()[i].Part == j.Faults()[k].Part {
				continue
			}
			got, settled := j.WeighedTogether(i, k)
			want := long(i, k)
			require.Greater(t, got, want-1.5, "seed %d: %v with %v", seed, j.Faults()[i], j.Faults()[k])
			if settled {
				require.InDelta(t, want, got, 1.5, "seed %d: %v with %v", seed, j.Faults()[i], j.Faults()[k])
			}
		}
	}
}

// lit is a feed with two lamps side by side, a contact of which has some ohms too many,
// judged by readings as they come out.
func lit(seed uint64) (*suspect.Judgement, []*circuit.Observation) {
	r := rand.New(rand.NewPCG(seed, 0))
	build := func() *circuit.Circuit {
		c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}
		add := func(k circuit.Kind, from, to int) int {
			if to < 0 {
				to = len(c.Points)
				c.Points = append(c.Points, fmt.Sprint("p", to))
			}
			e := circuit.Element{Key: fmt.Sprint("e", len(c.Elements)), Kind: k, From: from, To: to, Ohms: circuit.Usual(k, 15), Follows: -1}
			if k == circuit.Lamp {
				e.Ohms = circuit.About(4, 0.15)
			}
			c.Elements = append(c.Elements, e)
			return to
		}
		at := add(circuit.Switch, add(circuit.Fuse, 1, -1), -1)
		for range 2 {
			add(circuit.Ground, add(circuit.Lamp, add(circuit.Contact, at, -1), -1), 0)
		}
		c.Compile()
		return c
	}
	c, truth := build(), build()
	bad := r.IntN(len(c.Elements))
	for truth.Elements[bad].Kind == circuit.Lamp {
		bad = r.IntN(len(c.Elements))
	}
	truth.Elements[bad].Ohms = circuit.Exactly(math.Exp(3 * r.Float64()))
	truth.Compile()
	parts := make([]suspect.Part, len(c.Elements))
	p := suspect.Problem{}
	for k, e := range c.Elements {
		parts[k] = suspect.Part{Key: e.Key}
		for _, m := range e.Kind.Modes() {
			p.Faults = append(p.Faults, suspect.Fault{Part: parts[k], Mode: m.Mode, Prior: 0.01 * m.Share})
		}
	}
	setup := circuit.Setup{Posts: circuit.Span{Lo: 12.3, Hi: 12.7}, Position: make([]circuit.Position, len(c.Elements))}
	var all []*circuit.Observation
	for n := range 6 {
		v := circuit.Reading{ID: fmt.Sprint(n), Setup: fmt.Sprint(n), Red: []int{r.IntN(len(c.Points))}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms)}
		seen := truth.Observe(setup, v, parts).Foretold(nil)
		v.Shown = circuit.Exactly((seen.Lo+seen.Hi)/2 + 0.03*r.NormFloat64())
		o := c.Observe(setup, v, parts)
		all = append(all, o)
		p.Evidence = append(p.Evidence, o)
	}
	return suspect.Judge(p), all
}
