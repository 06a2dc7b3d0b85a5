package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

const (
	pulsedFan = "batt+ > fuse F2 30A > output fcm C1-3 > inline 9 > fan.C1-1 > fan motor 12A > fan.C1-2 > gnd G12"
	asked     = ` conditions.key=on conditions.commanded=on conditions.supply="12.5 V"`
)

// readsOf are the readings on what is drawn.
func readsOf(t *testing.T, lines ...string) (*cases.Judged, []*cases.Read) {
	t.Helper()
	j := drawnCase(t, lines...).Judge(nil)
	return j, j.Reads()
}

// beyond is by how much a reading contradicts one fault.
func beyond(t *testing.T, j *cases.Judged, r *cases.Read, name string, m suspect.Mode) float64 {
	t.Helper()
	c := j.Find(name)
	require.NotNil(t, c, name)
	return r.Beyond(suspect.Hypothesis{{Part: j.Part(c), Mode: m}})
}

func TestFrequency(t *testing.T) {
	t.Parallel()
	hertz := func(value, at, more string) string {
		return `reading value="` + value + `" red="` + at + `" black="batt-" instrument.kind=meter` + more
	}
	t.Run("pulses say that it drives and that they arrive", func(t *testing.T) {
		t.Parallel()
		j, all := readsOf(t, drawn(pulsedFan), hertz("120 Hz", "fan.C1-1", asked))
		require.Len(t, all, 1)
		require.Equal(t, circuit.Swing, all[0].Quantity)
		require.Zero(t, all[0].Beyond(nil))
		require.Greater(t, beyond(t, j, all[0], "fcm C1-3", suspect.OutputDead), 3.)
		require.Greater(t, beyond(t, j, all[0], "inline 9", suspect.Open), 3.)
		require.Greater(t, beyond(t, j, all[0], "fuse F2", suspect.Open), 3.)
		require.Zero(t, beyond(t, j, all[0], "fan motor", suspect.Open))
	})
	t.Run("a loose wire may pick pulses up", func(t *testing.T) {
		t.Parallel()
		j, all := readsOf(t, drawn(pulsedFan), hertz("120 Hz", "fan.C1-1", asked+` conditions.unplugged="fan motor"`))
		require.Len(t, all, 1)
		require.Zero(t, beyond(t, j, all[0], "inline 9", suspect.Open))
	})
	t.Run("none proves nothing where nobody said that it was pulsing", func(t *testing.T) {
		t.Parallel()
		_, all := readsOf(t, drawn(pulsedFan), hertz("0 Hz", "fan.C1-1", asked))
		require.Len(t, all, 1)
		require.Zero(t, all[0].Beyond(nil))
		require.Contains(t, all[0].Doubt, "all the time")
	})
	t.Run("none where it was pulsing says that something is in the way", func(t *testing.T) {
		t.Parallel()
		for _, more := range []string{asked + ` said="driven in pulses"`, asked} {
			lines := []string{drawn(pulsedFan), hertz("0 Hz", "fan.C1-1", more)}
			if more == asked {
				lines = append(lines, hertz("120 Hz", "fcm C1-3 out", asked))
			}
			j, all := readsOf(t, lines...)
			require.Empty(t, all[0].Doubt)
			require.Greater(t, all[0].Foretold(nil).Lo, circuit.Counts.Hi, "every meter would count that")
			require.Greater(t, j.Judgement().Probability(j.Part(j.Find("inline 9"))), 3*j.Judgement().Probability(j.Part(j.Find("fan motor"))))
			require.Zero(t, beyond(t, j, all[0], "inline 9", suspect.Open))
			require.Zero(t, beyond(t, j, all[0], "inline 9", suspect.HighResistance))
			require.Zero(t, beyond(t, j, all[0], "fcm C1-3", suspect.OutputDead))
			require.GreaterOrEqual(t, beyond(t, j, all[0], "fan motor", suspect.Open), 3.)
		}
	})
	t.Run("nor does it where nobody asked for it", func(t *testing.T) {
		t.Parallel()
		off := ` conditions.key=on conditions.commanded=off conditions.supply="12.5 V"`
		_, all := readsOf(t, drawn(pulsedFan), hertz("0 Hz", "fan.C1-1", off), hertz("120 Hz", "fcm C1-3 out", asked))
		require.Zero(t, all[0].Beyond(nil))
	})
	t.Run("nothing that is drawn makes pulses there", func(t *testing.T) {
		t.Parallel()
		for name, lines := range map[string][]string{
			"no output":       {drawn("batt+ > fuse F2 30A > switch S > fan.C1-1 > fan motor 12A > gnd G12"), hertz("40 Hz", "fan.C1-1", asked)},
			"above it":        {drawn(pulsedFan), hertz("40 Hz", "fuse F2 out", asked)},
			"a bus":           {drawn(pulsedFan), drawn("point fan.C1-1: green, pin 1, front, bus"), hertz("40 Hz", "fan.C1-1", asked)},
			"turns":           {drawn(pulsedFan), hertz("900 rpm", "fan.C1-1", asked)},
			"another share":   {drawn(pulsedFan), hertz("40 %", "fan.C1-1", asked+` quantity="humidity"`)},
			"always or never": {drawn(pulsedFan), hertz("100 %", "fan.C1-1", asked)},
		} {
			_, all := readsOf(t, lines...)
			require.Empty(t, all, name)
		}
	})
}

func TestDuty(t *testing.T) {
	t.Parallel()
	volts := `reading value="5.0 V" red="fan.C1-1" black="batt-" instrument.kind=meter`
	duty := func(more string) string {
		return `reading value="30 %" red="fcm C1-3 out" black="batt-" quantity="duty" instrument.kind=meter` + more
	}
	of := func(lines ...string) circuit.Span {
		_, all := readsOf(t, append([]string{drawn(pulsedFan), volts + asked}, lines...)...)
		require.NotEmpty(t, all)
		return all[0].Duty
	}
	require.Equal(t, circuit.Exactly(1), of())
	for _, x := range []struct {
		more   string
		lo, hi float64
	}{
		{asked + ` said="driven 30 of 100"`, 0.25, 0.35},
		{asked, 0.25, 0.75}, // high or low for so long
		{` conditions.key=running conditions.commanded=on`, 1, 1}, // other conditions, another point
	} {
		s := of(duty(x.more))
		require.InDelta(t, x.lo, s.Lo, 1e-9, x.more)
		require.InDelta(t, x.hi, s.Hi, 1e-9, x.more)
	}
	// A frequency alone: it pulses, and nobody said how wide.
	s := of(`reading value="120 Hz" red="fcm C1-3 out" black="batt-" instrument.kind=meter` + asked)
	require.InDelta(t, 0.001, s.Lo, 1e-9)
	require.InDelta(t, 1, s.Hi, 1e-9)
	// No frequency is none.
	require.Equal(t, circuit.Exactly(1), of(`reading value="0 Hz" red="fan.C1-1" black="batt-" instrument.kind=meter`+asked))
}
