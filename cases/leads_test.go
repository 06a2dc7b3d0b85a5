package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// TestLeadsHeldTogetherCountForTheOhmsAfterThem: half an ohm over a plug is what leads of
// half an ohm show, and with leads of a tenth the plug has most of it; another meter's
// leads, and what was tried after the reading, say nothing of it.
func TestLeadsHeldTogetherCountForTheOhmsAfterThem(t *testing.T) {
	t.Parallel()
	const (
		drawn = opening + `circuit-drawn said="batt+ > fuse F3 10A > switch lights > inline 4 > lamp tail 60W > gnd G5"
concern-duplicated what="dim" conditions.key=on conditions.commanded=on
`
		read = `reading value="0.5 Ohm" red="inline 4 in" black="inline 4 out" conditions.key=off conditions.commanded=off conditions.unplugged="fuse F3" instrument.kind=meter instrument.name="meter 1"
`
		check = `meter-checked instrument.kind=meter instrument.name="meter 1" source="leads shorted" shown="0.5 Ohm" outcome=pass
`
		others = `meter-checked instrument.kind=meter instrument.name="meter 2" source="leads shorted" shown="0.5 Ohm" outcome=pass
`
	)
	resists := func(text string) float64 {
		j := fold(t, text).Judge(nil)
		return j.Judgement().ProbabilityOf(j.Part(j.Component("inline 4")), suspect.HighResistance)
	}
	usual := resists(drawn + read)
	require.Less(t, resists(drawn+check+read), 0.7*usual)
	require.InDelta(t, usual, resists(drawn+others+read), 1e-9)
	require.InDelta(t, usual, resists(drawn+read+check), 1e-9)
}
