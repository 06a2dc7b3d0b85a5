package cases_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A ground that is bad, found by the drop over it with the lamp drawing its current.
const groundFound = opening + `circuit-drawn said="batt+ > fuse F3 10A > switch lights > inline 4 > lamp tail 21W > gnd G5"
concern-duplicated what="dim with the lights on" conditions.key=on conditions.commanded=on
reading value="5.97 V" red="lamp tail out" black="batt-" conditions.key=on conditions.commanded=on concern=present
reading value="5.9 V" red="gnd G5 in" black="batt-" conditions.key=on conditions.commanded=on conditions.current="1.05 A" concern=present
`

// volts at a point in that vehicle, by hand.
func volts(a cases.Advice, point string) float64 {
	c := a.Records.GetConditions()
	behind := func(points ...string) bool { return !slices.Contains(points, point) }
	switch {
	case point == "batt-":
		return 0
	case len(c.GetUnplugged()) > 0 && behind("batt+", "fuse F3 in"):
		return 0
	case c.GetCommanded() == eventv1.Command_COMMAND_OFF && behind("batt+", "fuse F3 in", "fuse F3 out", "switch lights in"):
		return 0
	case point == "lamp tail out":
		return 5.97
	case point == "gnd G5 in":
		return 5.9
	}
	return 12.4
}

// clearing are the readings in volts that are advised to show what else is good.
func clearing(j *cases.Judged) []cases.Advice {
	return slices.DeleteFunc(j.Next().Advice, func(a cases.Advice) bool { return a.Aim != cases.ToClear || a.Records == nil })
}

// TestWhatElseIsGoodIsAskedOnceSomethingIsFound: not before; with what it says to write
// down recorded as advised, more is proven good, and the same is not asked again.
func TestWhatElseIsGoodIsAskedOnceSomethingIsFound(t *testing.T) {
	t.Parallel()
	require.Empty(t, clearing(fold(t, tail).Judge(nil)))
	text := groundFound
	j := fold(t, text).Judge(nil)
	before := len(j.Proven())
	asked := map[string]bool{}
	for range 5 {
		all := clearing(j)
		require.NotEmpty(t, all)
		a := all[0]
		require.Equal(t, "to show what else is good", a.Aim.String())
		what := a.Do + a.WriteDown()
		require.False(t, asked[what], what)
		asked[what] = true
		entry := line(a, fmt.Sprintf("%.2f V", volts(a, a.Red)-volts(a, a.Black)))
		if slices.Contains(a.Tools, "current clamp") {
			entry = strings.TrimSpace(entry) + " conditions.current=\"1.05 A\"\n"
		}
		text += entry
		j = fold(t, text).Judge(nil)
		require.Empty(t, j.Again())
	}
	require.GreaterOrEqual(t, len(j.Proven()), before+3)
}
