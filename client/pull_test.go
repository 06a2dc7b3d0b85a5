package client

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// tells is a case of n notes as a server would send it, by somebody else.
func tells(t *testing.T, stream string, n int) []*boardv1.Held {
	t.Helper()
	who := testIdentity(t)
	s := newTaker(who)
	_, err := s.Append(t.Context(), &boardv1.AppendRequest{Events: chainOf(t, who, stream, n)})
	require.NoError(t, err)
	return s.entries(t, stream)
}

func cursorTo(at string) []log.Write { return []log.Write{{Key: keyCursor, Value: []byte(at)}} }

// forged changes the entry of what a server sends.
func forged(t *testing.T, held *boardv1.Held, change func(*eventv1.Entry)) *boardv1.Held {
	t.Helper()
	e := new(eventv1.Entry)
	require.NoError(t, proto.Unmarshal(held.GetEntry(), e))
	change(e)
	b, err := proto.Marshal(e)
	require.NoError(t, err)
	return &boardv1.Held{Entry: b, Event: held.GetEvent()}
}

// TestTakeOnceAndInOrder: what comes twice changes nothing, what skips is a gap, and
// the cursor goes with the entries or not at all.
func TestTakeOnceAndInOrder(t *testing.T) {
	t.Parallel()
	h, who, stream := testHome(t), testIdentity(t), newUUID()
	all := tells(t, stream, 6)
	head := func() uint64 {
		c, err := h.Kept(who, stream)
		require.NoError(t, err)
		return c.Sent
	}
	ctx := t.Context()
	require.NoError(t, h.take(ctx, who, all[:3], nil))
	require.NoError(t, h.take(ctx, who, all[:4], nil))
	require.Equal(t, uint64(4), head())
	var missing gap
	require.ErrorAs(t, h.take(ctx, who, all[5:], cursorTo("behind the gap")), &missing)
	require.Equal(t, gap{stream, 5}, missing)
	at, err := h.replica.Get(ctx, keyCursor)
	require.NoError(t, err)
	require.Nil(t, at)
	require.NoError(t, h.take(ctx, who, append(all[2:3:3], all...), cursorTo("the head")))
	require.Equal(t, uint64(6), head())
	at, err = h.replica.Get(ctx, keyCursor)
	require.NoError(t, err)
	require.Equal(t, "the head", string(at))
	require.NoError(t, h.take(ctx, who, nil, cursorTo("further")), "a message without entries")
}

// TestTakeNothingElse: another entry where one was told, another event than an entry
// names, and bytes that are none of it, are refused and nothing of them is kept.
func TestTakeNothingElse(t *testing.T) {
	t.Parallel()
	who, stream := testIdentity(t), newUUID()
	all := tells(t, stream, 3)
	for name, c := range map[string]struct {
		first, then []*boardv1.Held
		history     bool
	}{
		"another entry at a place":         {all[:2], []*boardv1.Held{forged(t, all[1], func(e *eventv1.Entry) { e.Person = newUUID() }), all[2]}, true},
		"another entry in one message":     {nil, []*boardv1.Held{all[0], all[1], forged(t, all[1], func(e *eventv1.Entry) { e.Shop = newUUID() })}, true},
		"another event than it names":      {all[:2], []*boardv1.Held{{Entry: all[2].GetEntry(), Event: all[1].GetEvent()}}, true},
		"a hash that is not the event's":   {all[:2], []*boardv1.Held{forged(t, all[2], func(e *eventv1.Entry) { e.EventHash[0]++ })}, true},
		"no entry":                         {all[:2], []*boardv1.Held{{Entry: []byte("no entry")}}, false},
		"an entry of no case":              {all[:2], []*boardv1.Held{forged(t, all[2], func(e *eventv1.Entry) { e.Stream = "" })}, false},
		"an entry without a place":         {all[:2], []*boardv1.Held{forged(t, all[2], func(e *eventv1.Entry) { e.Seq = 0 })}, false},
		"an entry beyond what may be next": {all[:1], []*boardv1.Held{all[2]}, false},
	} {
		h := testHome(t)
		require.NoError(t, h.take(t.Context(), who, c.first, nil), name)
		err := h.take(t.Context(), who, c.then, cursorTo("x"))
		require.Error(t, err, name)
		if c.history {
			require.ErrorIs(t, err, ErrHistory, name)
		}
		kept, err := h.Kept(who, stream)
		require.NoError(t, err, name)
		require.LessOrEqual(t, kept.Sent, uint64(2), name)
		at, err := h.replica.Get(t.Context(), keyCursor)
		require.NoError(t, err)
		require.Nil(t, at, name)
	}
}

// TestTakeErased: an entry that says so takes the bytes from here; the entry stays.
func TestTakeErased(t *testing.T) {
	t.Parallel()
	h, who, stream := testHome(t), testIdentity(t), newUUID()
	author := testIdentity(t)
	s := newTaker(author)
	events := chainOf(t, author, stream, 3)
	_, err := s.Append(t.Context(), &boardv1.AppendRequest{Events: events})
	require.NoError(t, err)
	first := new(eventv1.Entry)
	require.NoError(t, proto.Unmarshal(s.held[0].GetEntry(), first))
	writes := testHome(t)
	require.NoError(t, writes.take(t.Context(), author, s.held, nil))
	signed, err := writes.Save(author, Stamp{At: writes.now()}, &eventv1.Event{
		Stream: stream, Kind: &eventv1.Event_Erased{Erased: &eventv1.Erased{Entry: first.GetId(), Why: "asked for"}},
	})
	require.NoError(t, err)
	_, err = s.Append(t.Context(), &boardv1.AppendRequest{Events: signed})
	require.NoError(t, err)
	require.NoError(t, h.take(t.Context(), who, s.held, nil)) // all in one message
	n := 0
	require.NoError(t, h.Held(t.Context(), stream, func(entry, event []byte) error {
		require.Equal(t, s.held[n].GetEntry(), entry)
		require.Equal(t, n == 0, len(event) == 0, "entry %d", n+1)
		n++
		return nil
	}))
	require.Equal(t, 4, n)
	require.NoError(t, h.take(t.Context(), who, s.held, nil), "and again, with the bytes: they stay away")
	c, err := h.Kept(who, stream)
	require.NoError(t, err)
	require.Equal(t, uint64(4), c.Sent)
	require.Nil(t, c.Case.Step(1).Says)
}
