package proving

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestWhatBlewTheFuseExplainsIt: where a shorted lamp blew the fuse of another, that the other
// does not work is explained by the short as by the fuse; and to go round the fuse, which only
// blows again, says nothing of it.
func TestWhatBlewTheFuseExplainsIt(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Seed, s.Largest, s.Evidence = 2026, 20, Mixed
	table, rec := suspect.Default(), Record{Case: 11}
	c, err := stage(&s, rec.Case, &table, Plain)
	require.NoError(t, err)
	p := &player{scenario: c, settings: &s, strategy: Own, table: table, rec: &rec}
	p.describe()
	require.Equal(t, []string{"lamp 2: shorted"}, rec.Faults)
	require.Equal(t, []string{"fuse 1"}, rec.Blown)
	p.tests()
	p.times, p.tells = make([]int, len(p.options)), make([]bool, len(p.options))
	being := func(key string, m suspect.Mode) suspect.Hypothesis {
		return suspect.Hypothesis{{Part: suspect.Part{Key: key}, Mode: m}}
	}
	seen := 0
	for _, o := range p.options {
		all, err := o.do(p, 1, 0)
		require.NoError(t, err)
		switch o.same() {
		case "whether lamp 1 works":
			seen++
			require.Len(t, all, 1)
			test := all[0].(*suspect.Coverage)
			require.True(t, test.Fails)
			require.Greater(t, test.LogLik(being("lamp 2", suspect.Shorted)), test.LogLik(nil)+2)
			require.InDelta(t, test.LogLik(nil), test.LogLik(being("lamp 2", suspect.Open)), 1e-9)
		case "bypass of fuse 1":
			seen++
			require.Empty(t, all)
		}
	}
	require.Equal(t, 2, seen)
}
