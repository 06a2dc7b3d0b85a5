package client

import (
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/envelope"
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

// TestRaise: the end of a chain moves up; at one number what a server holds
// stands.
func TestRaise(t *testing.T) {
	t.Parallel()
	h := testHome(t)
	ends := func() link {
		out := make(map[string]link)
		require.NoError(t, h.load("chains.json", &out))
		return out["case"]
	}
	require.NoError(t, h.make())
	for _, c := range []struct {
		to, want link
	}{
		{link{5, []byte("five")}, link{5, []byte("five")}},
		{link{3, []byte("three")}, link{5, []byte("five")}},
		{link{5, []byte("theirs")}, link{5, []byte("theirs")}},
		{link{6, []byte("six")}, link{6, []byte("six")}},
	} {
		require.NoError(t, h.raise(map[string]link{"case": c.to}))
		require.Equal(t, c.want, ends())
	}
}
