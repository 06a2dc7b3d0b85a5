package client

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestChainIsTheDevicesOwn: what another device wrote and this home passes on
// takes none of its numbers.
func TestChainIsTheDevicesOwn(t *testing.T) {
	t.Parallel()
	stream := newUUID()
	other := testHome(t)
	var passed []*eventv1.Signed
	for range 3 {
		s, err := other.Save(testIdentity(t), Stamp{At: other.now()}, aNote(stream, "theirs"))
		require.NoError(t, err)
		passed = append(passed, s...)
	}
	h, who := testHome(t), testIdentity(t)
	require.NoError(t, h.Pass(passed))
	saved, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "ours"), aNote(stream, "ours too"))
	require.NoError(t, err)
	for i, s := range saved {
		o, err := envelope.Open(s.GetEvent())
		require.NoError(t, err)
		require.Equal(t, uint64(i+1), o.Event.GetDeviceSeq())
	}
}

// TestRaise: the end of a chain moves up by what a server holds; at one number what
// the server holds stands.
func TestRaise(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	var wrote []*eventv1.Signed
	other := testHome(t) // an earlier life of the same device
	for range 4 {
		s, err := other.Save(who, Stamp{At: other.now()}, aNote(stream, "theirs"))
		require.NoError(t, err)
		wrote = append(wrote, s...)
	}
	s := newTaker(who)
	_, err := s.Append(t.Context(), &boardv1.AppendRequest{Events: wrote})
	require.NoError(t, err)
	held := s.entries(t, stream)
	end := func() link {
		l, err := h.ledger().chain(t.Context(), who.Device, stream)
		require.NoError(t, err)
		return l
	}
	require.Zero(t, end())
	require.NoError(t, h.take(t.Context(), who, held[:1], nil))
	require.Equal(t, link{1, envelope.Hash(wrote[0].GetEvent())}, end())
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "ours, of the same number"))
	require.NoError(t, err)
	require.Equal(t, uint64(2), end().Seq)
	require.NotEqual(t, envelope.Hash(wrote[1].GetEvent()), end().Hash)
	require.NoError(t, h.take(t.Context(), who, held[:2], nil))
	require.Equal(t, link{2, envelope.Hash(wrote[1].GetEvent())}, end())
	require.NoError(t, h.take(t.Context(), who, held, nil))
	require.Equal(t, uint64(4), end().Seq)
	require.NoError(t, h.take(t.Context(), who, held[:1], nil))
	require.Equal(t, uint64(4), end().Seq, "never down")
}
