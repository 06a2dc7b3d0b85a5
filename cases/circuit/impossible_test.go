package circuit_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// TestImpossibleReadingsAreReadAgain: something not named could lead to 32 V on a 12 V
// vehicle, and soon is the likeliest; but no component could, so that the readings are to be
// taken again and nothing is proven until then, or until the drawing is doubted.
func TestImpossibleReadingsAreReadAgain(t *testing.T) {
	t.Parallel()
	c := oneLamp(circuit.Fuse, circuit.Switch, circuit.Contact, circuit.Lamp, circuit.Contact, circuit.Ground)
	p := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: 0.02}, {Part: suspect.NotAsDrawn, Prior: 1e-5}}}
	for _, e := range c.Elements {
		for _, m := range e.Kind.Modes() {
			p.Faults = append(p.Faults, suspect.Fault{Part: suspect.Part{Key: e.Key}, Mode: m.Mode, Prior: 0.01 * m.Share})
		}
	}
	p.Evidence = append(p.Evidence, &suspect.Sighting{ID: "seen", Setup: "the concern", There: func(suspect.Part) bool { return true }, Shares: suspect.Default().Steady})
	setup := circuit.Setup{Posts: posts(), Position: make([]circuit.Position, len(c.Elements))}
	read := func(id string, red int, volts float64) {
		p.Evidence = append(p.Evidence, c.Observe(setup, circuit.Reading{
			ID: id, Setup: id, Red: []int{red}, Black: []int{0}, Sigma: 0.05, Lead: circuit.Exactly(circuit.MeterOhms), Shown: circuit.Exactly(volts),
		}, parts(c)))
	}
	read("feed", 4, 12.4)
	read("ground", 5, 0.03)
	read("ground again", 6, 0.02)
	_, again := suspect.Judge(p).Proofs()
	require.Empty(t, again)
	wild := []string{"far too much", "turned round", "more than there is"}
	for k, volts := range []float64{32.5, -12.5, 23.1} {
		read(wild[k], 2+k, volts)
		j := suspect.Judge(p)
		proofs, again := j.Proofs()
		require.Empty(t, proofs)
		if j.Doubted() {
			require.Positive(t, k, "one reading makes no drawing doubtful")
			return
		}
		var ids []string
		for _, a := range again {
			ids = append(ids, a.Entry)
		}
		require.Subset(t, ids, wild[:k+1])
	}
}
