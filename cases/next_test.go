package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// TestNothingIsAdvisedOnWhatIsNotSafe: a caution is not enough on airbags and high
// voltage; once made safe, tests are advised.
func TestNothingIsAdvisedOnWhatIsNotSafe(t *testing.T) {
	t.Parallel()
	for hazard, component := range map[string]string{"airbag": "airbag connector", "high-voltage": "high voltage cable"} {
		text := opening + "test what=t outcome=fail covers=\"" + component + ", horn\"\n"
		of := func(text string) (advised bool, withheld []cases.Withheld) {
			n := fold(t, text).Judge(nil).Next()
			for _, a := range n.Advice {
				advised = advised || a.Component.Name == component
			}
			return advised, n.Withheld
		}
		advised, withheld := of(text)
		require.False(t, advised, component)
		require.Len(t, withheld, 1)
		require.Equal(t, component, withheld[0].Component.Name)
		advised, withheld = of(text + "made-safe hazard=" + hazard + " locked-off=yes proven-dead=yes tester-proven=yes\n")
		require.True(t, advised, component)
		require.Empty(t, withheld)
	}
}

// TestVerdictsNeverSayGoodWithoutModeAndConditions: nor does the one word.
func TestVerdictsNeverSayGoodWithoutModeAndConditions(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
test what=a manner=drop outcome=pass covers=splice concern=present conditions.commanded=on conditions.current="8 A"
test what=b manner=bypass outcome=pass covers=splice concern=present concern-change=stayed
`)
	j := c.Judge(nil)
	all := j.Verdicts(c.Component("splice"))
	good := 0
	for _, v := range all {
		if v.Standing == cases.ProvenGood {
			good++
			require.NotEqual(t, suspect.AnyWay, v.Mode, "the drop shows an open and a high resistance only")
			require.Len(t, v.Conditions, len(v.Entries))
			require.NotEmpty(t, v.Assumes)
		}
	}
	require.Equal(t, 2, good)
	require.NotContains(t, cases.Word(all), "good")
}
