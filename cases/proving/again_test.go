package proving

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestAsItShouldBeIsNotReadAgain reads all that there is in a vehicle, truly: sixty readings,
// of which a few are likelier with one fault or another that is proven not to be there. None
// of them is read again for that, and what is proven stays so.
func TestAsItShouldBeIsNotReadAgain(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Seed, s.Largest, s.Faults = 5, 15, "one"
	table, rec := suspect.Default(), Record{Case: 29}
	c, err := stage(&s, rec.Case, &table, Plain)
	require.NoError(t, err)
	p := &player{scenario: c, settings: &s, strategy: Own, table: table, rec: &rec}
	p.judge = judged(p.problem())
	p.readings()
	p.times, p.tells = make([]int, len(p.options)), make([]bool, len(p.options))
	done, cleared := map[string]bool{}, false
	for k := 0; k < len(p.options); k++ {
		if done[p.options[k].same()] {
			continue
		}
		done[p.options[k].same()] = true
		all, err := p.options[k].do(p, k+1, 0)
		require.NoError(t, err)
		for _, e := range all {
			p.judge = p.judge.With(e)
		}
		if !cleared && p.stops() {
			p.clearings()
			cleared = true
		}
	}
	require.True(t, cleared, "nothing was found")
	proofs, again := p.judge.Proofs()
	require.Empty(t, again)
	require.Greater(t, len(proofs), 10)
	require.Empty(t, rec.Outside)
}

// TestNothingIsReadAgainForNothing: in two vehicles with one fault, drops that were taken with
// their currents come nearer to a small second fault than to contacts that are a little worn,
// or to none, and others cannot come from it. All of them can come from what is there.
func TestNothingIsReadAgainForNothing(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Seed, s.Largest = 2026, 30
	for number, proven := range map[uint64]int{681: 16, 480: 8} {
		rec := Play(s, Own, number, Plain)
		require.True(t, rec.Right, number)
		require.Zero(t, rec.Suspended, number)
		require.Greater(t, rec.ProvenOnTo, proven, number)
	}
}
