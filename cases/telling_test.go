package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A reading that is as it should be lies within what is said of it: where nobody said how a
// relay stood, ohms behind it may be the motor's or none, and it is told what nobody said. A
// relay whose coil another fuse feeds is closed while the motor's fuse is out.
func TestWhatNobodySaidIsTold(t *testing.T) {
	t.Parallel()
	load := drawn("batt+ > fuse F2 20A > relay K1 > motor fan 60W > gnd G2")
	coil := drawn(`batt+ > fuse F1 5A > switch S1 > coil K1 > gnd G1`)
	const at = ` red="fuse F2 out" black="batt-" conditions.key=on conditions.unplugged="fuse F2"`
	for _, x := range []struct {
		value, more string
		fits, said  bool
		lines       []string
	}{
		{`"OL Ohm"`, "", true, false, []string{load}},
		{`"0.6 Ohm"`, "", true, true, []string{load}},
		{`"OL Ohm"`, ` conditions.commanded=on`, false, true, []string{load}},
		{`"0.6 Ohm"`, ` conditions.said="switch S1 on"`, true, true, []string{load, coil}},
		{`"0.6 Ohm"`, ` conditions.said="switch S1 off"`, false, true, []string{load, coil}},
		{`"OL Ohm"`, ` conditions.said="switch S1 off"`, true, true, []string{load, coil}},
		{`"0.6 Ohm"`, ` conditions.said="switch S1 on" conditions.unplugged="fuse F1"`, false, true, []string{load, coil}},
	} {
		c := drawnCase(t, append(x.lines, `reading value=`+x.value+at+x.more)...)
		told, ok := c.Tell(nil, c.Jobs()[len(c.Jobs())-1])
		require.True(t, ok, x)
		require.Equal(t, x.fits, told.Fits, x)
		if x.said {
			require.Empty(t, told.Doubt, x)
			continue
		}
		require.Equal(t, "nobody said whether relay K1 was closed", told.Doubt)
		require.Less(t, told.Well.Lo, 1.0)
		require.Greater(t, told.Well.Hi, 1e6)
	}
}
