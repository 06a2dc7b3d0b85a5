package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// A component may be read across, by its name alone: its two ends are where the leads were,
// and nobody said which was where.
func TestReadAcross(t *testing.T) {
	t.Parallel()
	const (
		path = "batt+ > fuse F3 10A > switch S1 > inline 4 > lamp tail 60W > gnd G5"
		on   = ` conditions.key=on conditions.commanded=on conditions.supply="12.5 V"`
		at   = ` conditions.current="4.7 A"`
	)
	for _, line := range []string{
		`reading value="0.01 V" at="G5"` + on + at, `reading value="0.01 V" at="gnd G5"` + on + at,
		`reading value="0.01 V" value.shape=drop red="G5"` + on + at, `reading value="-0.01 V" at="G5"` + on + at,
	} {
		j, all := readsOf(t, drawn(path), line)
		require.NotEmpty(t, all, line)
		r := all[0]
		require.False(t, r.Told, line)
		require.Zero(t, r.Beyond(nil), line)
		require.Greater(t, beyond(t, j, r, "gnd G5", suspect.HighResistance), 3., line)
		require.Zero(t, beyond(t, j, r, "inline 4", suspect.HighResistance), line)
	}

	// Turned round it is the same: what lies open at its feed has the supply over it, and a
	// lead that was named is where it was said to be.
	for value, off := range map[string]bool{"12.5 V": true, "-12.5 V": true, "0 V": false} {
		j, all := readsOf(t, drawn(path), `reading value="`+value+`" at="inline 4"`+on)
		require.Len(t, all, 1)
		require.Equal(t, off, beyond(t, j, all[0], "inline 4", suspect.Open) < 3, value)
		require.Equal(t, off, all[0].Beyond(nil) > 3, value)
	}
	_, all := readsOf(t, drawn(path), `reading value="0.01 V" red="G5"`+on)
	require.True(t, all[0].Told, "volts at a point, and nobody said to where")

	// Across two that a name means both nothing is said.
	_, all = readsOf(t, drawn(path), `reading value="12.4 V" at="lamp tail in"`+on)
	require.True(t, all[0].Told, "a point is no component")

	j, all := readsOf(t, drawn(path), `reading value="0.9 Ohm" at="lamp tail" conditions.unplugged="fuse F3" conditions.key=off`)
	require.Len(t, all, 1)
	require.Greater(t, beyond(t, j, all[0], "lamp tail", suspect.Open), 3.)
}

// A switch stands as the conditions say by its name.
func TestSwitchedByName(t *testing.T) {
	t.Parallel()
	const path = "batt+ > fuse F3 10A > switch S1 > inline 4 > lamp tail 60W > gnd G5"
	for said, closed := range map[string]bool{"S1 on": true, "switch S1 on": true, "dome light on, S1 on": true, "S1 closed": true, "S1 off": false, "switch S1 open, rain": false} {
		_, all := readsOf(t, drawn(path), `reading value="12.4 V" red="inline 4" black="batt-" conditions.key=on conditions.said="`+said+`"`)
		require.Len(t, all, 1, said)
		require.Equal(t, closed, all[0].Beyond(nil) < 3, said)
		_, all = readsOf(t, drawn(path), `reading value="0 V" red="inline 4" black="batt-" conditions.key=on conditions.said="`+said+`"`)
		require.Equal(t, !closed, all[0].Beyond(nil) < 3, said)
	}
	_, all := readsOf(t, drawn(path), `reading value="0 V" red="inline 4" black="batt-" conditions.key=on conditions.said="S2 on"`)
	require.Less(t, all[0].Beyond(nil), 3., "of another nothing is known of this one")
}

// What is foretold holds all that the supply may be where nobody read it.
func TestForetoldWithTheSupplyUnknown(t *testing.T) {
	t.Parallel()
	_, all := readsOf(t, drawn("batt+ > fuse F3 10A > lamp tail 60W > gnd G5"), `reading value="12.0 V" red="lamp tail in" black="batt-" conditions.key=on`)
	s := all[0].Foretold(nil)
	require.Less(t, s.Lo, 11.8)
	require.Greater(t, s.Hi, 12.7)
	require.Zero(t, all[0].Beyond(nil))
}
