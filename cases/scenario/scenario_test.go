package scenario_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/scenario"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestRead(t *testing.T) {
	t.Parallel()
	s, err := scenario.Read(`
# invented
mara@north: case-opened concern.statement="fan does not run" vehicle.year=2009
reading value="12.31 V drop" red="fan C1-2" conditions.key=running outcome=fail
    covers="fan feed, mostly fan motor" because=#1
jo@south: part-fitted component="fan motor" cost="189.00 EUR" before-opening by=customer
circuit-drawn points={point:"fan C1-2" colour:"brown"} points={point:"fan C1-1"}
`)
	require.NoError(t, err)
	require.Len(t, s.Records, 4)
	require.Equal(t, "fan does not run", s.Records[0].Event.GetCaseOpened().GetConcern().GetStatement())
	r := s.Records[1].Event
	require.Equal(t, "12.31", r.GetReading().GetValue().GetDigits())
	require.Equal(t, eventv1.Shape_SHAPE_DROP, r.GetReading().GetValue().GetShape())
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_RUNNING, r.GetReading().GetConditions().GetKey())
	require.Equal(t, []string{scenario.EntryID(1)}, r.GetBecause())
	require.Equal(t, eventv1.Extent_EXTENT_MOSTLY, r.GetReading().GetCovers()[1].GetExtent())
	f := s.Records[2]
	require.True(t, f.Event.GetPlaced().GetBeforeOpening())
	require.Equal(t, int64(18900), f.Event.GetPartFitted().GetCost().GetMinor())
	require.Equal(t, "jo", s.Names[f.Event.GetRecordedBy()])
	require.Equal(t, "south", s.Names[f.Entry.GetShop()])
	require.Len(t, s.Records[3].Event.GetCircuitDrawn().GetPoints(), 2)
	c, err := s.Case()
	require.NoError(t, err)
	require.Equal(t, uint64(4), c.Head())
	require.Equal(t, uint64(3), c.Jobs()[0].Seq)
}

func TestReadDraws(t *testing.T) {
	t.Parallel()
	s, err := scenario.Read(`
circuit-drawn said="batt+ > fuse F7 10A > lamp A > gnd G1" points={point:"lamp A in" colour:"red"}
circuit-drawn said="point lamp A out: brown"
circuit-drawn said="batt+ > something or other"
circuit-drawn said="batt+ > fuse F7 > lamp A" elements={component:"fuse F7" from:"batt+" to:"lamp A in"}
`)
	require.NoError(t, err)
	drawn := func(i int) *eventv1.CircuitDrawn { return s.Records[i].Event.GetCircuitDrawn() }
	require.Len(t, drawn(0).GetElements(), 7)
	require.Equal(t, "fuse F7", drawn(0).GetElements()[2].GetComponent())
	require.Len(t, drawn(0).GetPoints(), 1)
	require.Equal(t, "brown", drawn(1).GetPoints()[0].GetColour())
	require.Empty(t, drawn(2).GetElements())
	require.Equal(t, "batt+ > something or other", drawn(2).GetSaid())
	require.Len(t, drawn(3).GetElements(), 1)
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	for text, says := range map[string]string{
		"part-fited component=x":        "no kind",
		"part-fitted componnet=x":       "no field",
		"part-fitted state=shiny":       "no value",
		"part-fitted cost=12":           "is no Money",
		`part-fitted component="x`:      "not closed",
		"mara@north:":                   "not what",
		"note text=a\nnote text.more=b": "entry 2",
	} {
		_, err := scenario.Read(text)
		require.ErrorContains(t, err, says, text)
	}
}
