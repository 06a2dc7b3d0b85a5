package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A breaker or fuse that is found open may have been opened by what is below it: a motor that
// stands still too, and by nothing that is above it.
func TestWhatOpenedABreaker(t *testing.T) {
	t.Parallel()
	for _, kind := range []string{"breaker B1", "fuse B1"} {
		c := drawnCase(t, drawn("batt+ > switch S1 > "+kind+" 20A > motor fan 60W > gnd G2"),
			`test what="continuity of `+kind+`" manner=continuity covers="`+kind+`" outcome=fail`)
		j := c.Judge(nil)
		p := func(name string) float64 { return j.Judgement().Probability(j.Part(j.Find(name))) }
		require.Greater(t, p("motor fan"), 0.2, kind)
		require.Greater(t, p(kind), p("motor fan"), kind)
		require.Less(t, p("switch S1"), 0.1, kind)
	}
}
