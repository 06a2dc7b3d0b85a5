package server

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// impossible is a reading of less than nothing on ohms.
func impossible() *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_Reading{Reading: &eventv1.Reading{
		Red: "fan C1-1", Black: "batt-", Value: &eventv1.Quantity{Digits: "-5", Unit: "Ohm"},
	}}}
}

// TestWhatCannotBeIsRefused, kept in the tray, and explained only to those who may
// see the case.
func TestWhatCannotBeIsRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	stream := anna.opens()
	s := anna.write(stream, impossible())
	r := anna.send(s)[0]
	require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, r.GetReason())
	require.Contains(t, r.GetText(), "cannot be")
	require.Zero(t, r.GetSeq())
	require.Len(t, anna.entries(stream), 1)
	tray, err := w.Refused(t.Context(), anna.caller())
	require.NoError(t, err)
	require.Len(t, tray, 1)
	require.Equal(t, s.GetEvent(), tray[0].Event)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.tried(stream, impossible()))
}

// TestTheFirstRefusalStands in the tray, whatever is said of the same bytes later.
func TestTheFirstRefusalStands(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	stream := anna.opens()
	s := ben.write(stream, noted("too early"))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.send(s)[0].GetReason())
	anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_READ, 2))
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, ben.send(s)[0].GetReason())
	tray, err := w.Refused(t.Context(), ben.caller())
	require.NoError(t, err)
	require.Len(t, tray, 1)
	require.Equal(t, "REASON_NOT_FOUND", tray[0].Reason)
}

// TestAHandOffFromTheFutureGivesNothing: it may set limits that are not understood
// here, so it is kept and lets nobody in.
func TestAHandOffFromTheFutureGivesNothing(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	stream := anna.opens()
	e := anna.event(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 2))
	e.GetHandedOff().ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1))
	r := anna.send(anna.sign(e))[0]
	require.Equal(t, taken, r.GetReason())
	require.Contains(t, r.GetRemarks(), "the hand-off has fields that this server does not know: it is kept and gives no access")
	require.Len(t, anna.entries(stream), 2, "no grant behind it")
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.tried(stream, noted("may I?")))
}

// TestWhoHasLeftSpeaksNoMore, by any device; coming back is a role given again.
func TestWhoHasLeftSpeaksNoMore(t *testing.T) {
	t.Parallel()
	r := newRegister()
	of := func(stream string, e *eventv1.Event) { e.Stream = stream; r.apply(e) }
	of("shop", &eventv1.Event{Kind: &eventv1.Event_PersonAdded{PersonAdded: &eventv1.PersonAdded{Person: "ann", Role: technician}}})
	of("shop", &eventv1.Event{Kind: &eventv1.Event_DeviceAdded{DeviceAdded: &eventv1.DeviceAdded{Device: "tablet", Person: "ann"}}})
	role := func(stream string, left bool) (Caller, bool) {
		of(stream, &eventv1.Event{Kind: &eventv1.Event_RoleGiven{RoleGiven: &eventv1.RoleGiven{Person: "ann", Role: owner, Left: left}}})
		return r.caller("tablet")
	}
	_, may := role("another shop", true)
	require.True(t, may, "another shop's word is nothing")
	_, may = role("shop", true)
	require.False(t, may)
	require.False(t, r.owned("shop"))
	c, may := role("shop", false)
	require.True(t, may)
	require.Equal(t, Caller{Person: "ann", Shop: "shop", Device: "tablet", Role: owner}, c)
}
