package cases_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/scenario"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func note(text string) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: text}}}
}

// TestReplacementKeepsWhatItDoesNotSay: a correction gives what is wrong anew; who
// did it, when, where it belongs and what it rests on stay as they were written.
func TestReplacementKeepsWhatItDoesNotSay(t *testing.T) {
	t.Parallel()
	const text = opening + `note text=a
jo@south: note text=b by=customer happened=2026-02-20 because=#2 after=#1
`
	s := read(t, text)
	s.Records = append(s.Records, correct(t, s, 3, note("c")))
	c, err := s.Case()
	require.NoError(t, err)
	require.Equal(t, []uint64{1, 3, 2, 4}, jobs(c))
	step := c.Step(3)
	require.Equal(t, "c", step.Says.GetNote().GetText())
	require.Equal(t, "customer", step.By)
	require.Equal(t, s.Records[2].Event.GetHappened(), step.Happened())
	require.Equal(t, []*cases.Step{c.Step(2)}, step.Because)
	require.Equal(t, "customer", step.Says.GetBy())

	s = read(t, text)
	says := note("c")
	says.By, says.Because = "previous shop", []string{scenario.EntryID(1)}
	says.Happened = &eventv1.Moment{UnixSeconds: 1, Precision: eventv1.Precision_PRECISION_DAY}
	says.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
	s.Records = append(s.Records, correct(t, s, 3, says))
	c, err = s.Case()
	require.NoError(t, err)
	require.Equal(t, []uint64{3, 1, 2, 4}, jobs(c), "it stands where its corrector puts it")
	require.Equal(t, "previous shop", c.Step(3).By)
	require.Equal(t, int64(1), c.Step(3).Happened().GetUnixSeconds())
	require.Equal(t, []*cases.Step{c.Step(1)}, c.Step(3).Because)
	require.Equal(t, scenario.PersonID("jo"), c.Step(3).RecordedBy, "who wrote it down cannot be corrected")
}

// TestReplacementNotUnderstood: the old is struck all the same, and what stands in
// its place proves nothing.
func TestReplacementNotUnderstood(t *testing.T) {
	t.Parallel()
	strange := note("b")
	strange.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1))
	later, err := proto.Marshal(&eventv1.Event{})
	require.NoError(t, err)
	later = protowire.AppendBytes(protowire.AppendTag(later, 9_000, protowire.BytesType), nil)
	fromLater := new(eventv1.Event)
	require.NoError(t, proto.Unmarshal(later, fromLater))
	for name, replacement := range map[string]*eventv1.Event{"a field from the future": strange, "a kind from the future": fromLater, "no kind": {By: "customer"}} {
		s := read(t, opening+"note text=a\n")
		s.Records = append(s.Records, correct(t, s, 2, replacement))
		c, err := s.Case()
		require.NoError(t, err)
		require.Empty(t, c.Notes, name)
		require.Nil(t, c.Step(2).Says, name)
		require.Equal(t, c.Step(3), c.Step(2).StruckBy, name)
	}
}

func TestErasedOutdoesACorrection(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=\"a telephone number\"\nerased entry=#2 why=personal\n")
	s.Records = append(s.Records, correct(t, s, 2, note("the same number")))
	c, err := s.Case()
	require.NoError(t, err)
	require.Empty(t, c.Notes, "whichever came last")
	require.Equal(t, []string{"erased"}, c.Row(c.Step(2), nil).Marks)
}

func TestAnIdStandsOnce(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a\nnote text=b")
	s.Records[2].Entry.Id = s.Records[1].Entry.GetId()
	_, err := s.Case()
	require.ErrorIs(t, err, cases.ErrOrder)
	require.ErrorContains(t, err, "stands at place 2 already")
}

func TestSiblingsToTheNanosecondThenById(t *testing.T) {
	t.Parallel()
	s := read(t, opening+"note text=a after=#1\nnote text=b after=#1\nnote text=c after=#1")
	for i, nanos := range []int32{7, 7, 3} {
		s.Records[i+1].Event.Happened = &eventv1.Moment{UnixSeconds: 5, Nanos: nanos, Precision: eventv1.Precision_PRECISION_SECOND}
	}
	c, err := s.Case()
	require.NoError(t, err)
	require.Equal(t, []uint64{1, 4, 2, 3}, jobs(c))
	require.False(t, c.Step(2).Waiting)
}
