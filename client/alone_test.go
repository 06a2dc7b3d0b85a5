package client

import (
	"bytes"
	"crypto/ed25519"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestAlone: what is recorded before a home has joined keeps ids, words and moments
// and is signed by whom it joined as; also when that was interrupted.
func TestAlone(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	_, err := h.Writer(false)
	require.ErrorIs(t, err, ErrNobody)
	alone, err := h.Writer(true)
	require.NoError(t, err)
	again, err := h.Writer(false)
	require.NoError(t, err)
	require.Equal(t, alone, again)
	require.False(t, alone.Joined())
	stream := newUUID()
	instead, err := proto.Marshal(&eventv1.Event{By: alone.Person, Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{Shop: alone.Shop}}})
	require.NoError(t, err)
	for i, e := range []*eventv1.Event{
		{Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{Shop: alone.Shop}}},
		{By: alone.Person, Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: "mine"}}},
		{Kind: &eventv1.Event_Correction{Correction: &eventv1.Correction{Entry: newUUID(), Why: "x", Replacement: instead}}},
		{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: "last"}}},
	} {
		e.Stream = stream
		_, err := h.Save(alone, Stamp{At: h.now(), Seen: uint64(i)}, e)
		require.NoError(t, err)
	}
	was := pending(t, h)
	require.Len(t, was, 4)

	joined := testIdentity(t)
	joined.Alone = alone.Alone
	require.NoError(t, h.store("identity.json", joined))
	// Interrupted: some were signed anew, and it is not noted yet that all are.
	for n := 1; n < len(was); n++ {
		half := testHome(t)
		require.NoError(t, half.ledger().addWaiting(t.Context(), was[:n], nil))
		who := *joined
		require.NoError(t, half.adopt(t.Context(), &who))
		require.NoError(t, half.ledger().addWaiting(t.Context(), was[n:], nil))
		who.Alone = alone.Alone
		require.NoError(t, half.adopt(t.Context(), &who))
		signedAnew(t, half, was, &who, stream)
	}

	_, err = h.Save(alone, Stamp{At: h.now()}, aNote(stream, "too late"))
	require.ErrorContains(t, err, "has joined")
	who, err := h.Identity()
	require.NoError(t, err)
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "after"))
	require.NoError(t, err)
	chainHolds(t, pending(t, h))
	require.Len(t, pending(t, h), 5)
	who, err = h.Identity()
	require.NoError(t, err)
	require.Nil(t, who.Alone)
}

// signedAnew checks what became of what waited before.
func signedAnew(t *testing.T, h *Home, was []*eventv1.Signed, who *Identity, stream string) {
	t.Helper()
	now := pending(t, h)
	require.Len(t, now, len(was))
	chainHolds(t, now)
	for i, s := range now {
		before, err := envelope.Open(was[i].GetEvent())
		require.NoError(t, err)
		o, err := envelope.Open(s.GetEvent())
		require.NoError(t, err)
		require.NoError(t, envelope.Verify(who.Key.Public().(ed25519.PublicKey), o.Hash[:], s.GetSignature()))
		require.Equal(t, who.Person, o.Event.GetRecordedBy())
		require.Equal(t, who.Device, o.Event.GetDevice())
		require.Equal(t, before.Event.GetId(), o.Event.GetId())
		require.True(t, proto.Equal(before.Event.GetHappened(), o.Event.GetHappened()))
		require.Equal(t, before.Event.GetNote().GetText(), o.Event.GetNote().GetText())
		require.Equal(t, before.Event.GetObservedThrough(), o.Event.GetObservedThrough())
		require.False(t, bytes.Contains(s.GetEvent(), []byte(before.Event.GetRecordedBy())), "event %d", i)
		if k := o.Event.GetCaseOpened(); k != nil {
			require.Equal(t, who.Shop, k.GetShop())
		}
	}
	end, err := h.ledger().chain(t.Context(), who.Device, stream)
	require.NoError(t, err)
	require.Equal(t, uint64(len(was)), end.Seq)
}
