package proving

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestBadInOneWayOnce: two wires may lie together at a load and at a switch, and are
// neighbours once for all that.
func TestBadInOneWayOnce(t *testing.T) {
	t.Parallel()
	s, table := Clean(), suspect.Default()
	for _, at := range [][2]uint64{{0, 115}, {0, 349}, {14, 258}} {
		s.Seed = at[0]
		c, err := stage(&s, at[1], &table, Plain)
		require.NoError(t, err)
		for k, e := range c.Elements {
			ways := map[suspect.Mode]bool{}
			for _, m := range c.Modes(k) {
				require.False(t, ways[m.Mode], "seed %d, case %d: %s, %v", at[0], at[1], e.Key, m.Mode)
				ways[m.Mode] = true
			}
		}
	}
}
