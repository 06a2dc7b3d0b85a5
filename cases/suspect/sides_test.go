package suspect_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// touching is a reading that only a high resistance of A together with a short between A
// and B explains, whichever of the two the short is named after.
type touching struct{ n int }

const (
	touchClass = 1
	highClass  = 2
)

func (e touching) Source() (id, setup string) { return fmt.Sprint(e.n), fmt.Sprint("setup ", e.n) }

func (e touching) Class(f suspect.Fault) int {
	if _, is := f.Mode.Neighbour(); is {
		return touchClass
	}
	if f.Part.Key == "A" {
		return highClass
	}
	return 0
}

func (e touching) Outside(classes [3]int, _ bool) float64 {
	if slices.Contains(classes[:], touchClass) && slices.Contains(classes[:], highClass) {
		return 0
	}
	return 10
}

func (e touching) Beyond(h suspect.Hypothesis) float64 {
	var classes [3]int
	for k, f := range h {
		classes[k] = e.Class(f)
	}
	return e.Outside(classes, false)
}

func (e touching) Within(classes [3]int, _ suspect.Box) suspect.Likely {
	l := -2 * e.Outside(classes, false)
	return suspect.Likely{Most: l, Mean: l}
}

func (touching) Peak() float64 { return 0 }
func (touching) Apart() bool   { return false }

func (e touching) Place(f suspect.Fault) (class int, at suspect.Place) {
	return e.Class(f), suspect.Place{}
}

func (touching) Beside([3]int) bool { return false }

// TestAShortBetweenTwoIsRuledOutFromBothSidesOrNotAtAll: A has a high resistance and
// touches B. Two faults of A are not weighed together, so that the short named after A
// explains nothing beside any other part; named after B it is the truth.
func TestAShortBetweenTwoIsRuledOutFromBothSidesOrNotAtAll(t *testing.T) {
	t.Parallel()
	a, b, c := suspect.Part{Key: "A"}, suspect.Part{Key: "B"}, suspect.Part{Key: "C"}
	p := suspect.Problem{Faults: []suspect.Fault{
		{Part: suspect.NotNamed, Prior: 1e-6},
		{Part: a, Mode: suspect.HighResistance, Prior: 0.01}, {Part: a, Mode: suspect.ShortTo(1), Prior: 0.01},
		{Part: b, Mode: suspect.ShortTo(0), Prior: 0.01}, {Part: c, Mode: suspect.Open, Prior: 0.01},
	}}
	for n := range 3 {
		p.Evidence = append(p.Evidence, touching{n})
	}
	proofs, again := suspect.Judge(p).Proofs()
	require.Empty(t, again)
	require.Empty(t, proofs, "nor C, which might be bad beside the two")
}
