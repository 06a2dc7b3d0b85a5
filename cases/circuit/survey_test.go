package circuit

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// ladder is an invented circuit: a fused feed, two lamps and a motor that share a ground,
// with wires and contacts between, each of several elements.
func ladder() *Circuit {
	c := &Circuit{System: 12, Points: []string{"batt-", "batt+"}}
	add := func(kind Kind, from int, ohms Span) int {
		to := len(c.Points)
		c.Points = append(c.Points, "")
		c.Elements = append(c.Elements, Element{Key: string(rune('a' + len(c.Elements))), Kind: kind, From: from, To: to, Ohms: ohms, Rating: 20, Follows: -1})
		return to
	}
	run := func(at int) int {
		at = add(Wiring, at, Wire(2, 1.5))
		at = add(Contact, at, Usual(Contact, 0))
		return add(Wiring, at, Wire(0.5, 2.5))
	}
	feed := run(add(Fuse, run(1), Usual(Fuse, 20)))
	shared := add(Ground, 0, Usual(Ground, 0))
	for _, k := range []Kind{Lamp, Lamp, Motor} {
		at := run(add(k, run(feed), About(3, 0.15)))
		c.Elements = append(c.Elements, Element{Key: string(rune('A' + len(c.Elements))), Kind: Contact, From: at, To: shared, Ohms: Usual(Contact, 0), Follows: -1})
	}
	c.Compile()
	return c
}

// TestSurveyShowsWhatEachReadingWould: under every fault and some pairs, at sizes from the
// least to the most, a reading taken from the survey of its state is what it would be
// drawn by itself, to what no meter tells.
func TestSurveyShowsWhatEachReadingWould(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 7))
	c := ladder()
	parts := make([]suspect.Part, len(c.Elements))
	var faults []suspect.Fault
	for k, e := range c.Elements {
		parts[k] = suspect.Part{Key: e.Key}
		for _, m := range c.Modes(k) {
			faults = append(faults, suspect.Fault{Part: parts[k], Mode: m.Mode})
		}
	}
	setup := Setup{Posts: Span{12.3, 12.7}, Position: make([]Position, len(c.Elements))}
	asked, alone := 0, 0
	for n := range 30 {
		red, black := r.IntN(len(c.Points)), r.IntN(len(c.Points))
		o := c.Observe(setup, Reading{ID: "r", Setup: "r", Red: []int{red}, Black: []int{black}, Shown: Exactly(12), Sigma: 0.05, Lead: Exactly(MeterOhms)}, parts)
		if n < worthwhile-1 {
			require.Nil(t, o.survey)
			continue
		}
		require.NotNil(t, o.survey)
		for range 400 {
			var key [3]int
			key[0] = o.Class(faults[r.IntN(len(faults))])
			if r.IntN(2) == 0 {
				key[1] = o.Class(faults[r.IntN(len(faults))])
			}
			at := [2]uint8{uint8(r.IntN(suspect.Fine + 1)), uint8(r.IntN(suspect.Fine + 1))}
			in := o.take(key)
			is, ok := o.surveyed(in, at)
			if !ok {
				alone++
				continue
			}
			asked++
			own := *o
			own.survey = nil
			was := own.drawn(own.take(key), at)
			require.InDelta(t, was.seen[1], is.seen[1], 0.008, "%v at %v, %d to %d: %+v", o.doneOf(key, false), at, red, black, was)
			if !slices.ContainsFunc(in.faults, func(f done) bool { return f.does == toMinus || f.does == toPlus }) {
				// Of a short the middle of what is worn is not the middle of what is not.
				require.InDelta(t, was.worn, is.worn, 0.04+0.5*was.worn, "%+v at %v, %d to %d: %v %v", o.doneOf(key, false), at, red, black, was, is)
			}
			require.Equal(t, was.wide, is.wide)
		}
	}
	require.Greater(t, asked, 2*alone, "most is surveyed")
}
