package server

import (
	"testing"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestTwoShopsShareACase(t *testing.T) {
	w := newWorld(t, Options{})
	anna := w.shopOwner("Hillside Garage (invented)")
	ben := w.shopOwner("Fault Finders (invented)")
	stream := anna.opens()
	anna.put(stream, noted("relay swapped on a guess"))

	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.tried(stream, noted("hello")))
	_, err := ben.tryEntries(&boardv1.EntriesRequest{Stream: stream})
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))

	off := anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 3))
	require.Len(t, ben.entries(stream), 4, "opening, note, hand-off, the server's grant")
	ben.put(stream, noted("12.1 V at the fan with the fan plugged in"))
	ben.put(stream, handBack(off.GetId(), 6))
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, ben.tried(stream, noted("one more thing")))
	require.Len(t, ben.entries(stream), 7)
	anna.put(stream, withdrawal(ben.shop, 8))
	_, err = ben.tryEntries(&boardv1.EntriesRequest{Stream: stream})
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))
}

func TestWhatWasKeptIsThereAgain(t *testing.T) {
	dir := t.TempDir()
	c := &clock{t: noon}
	o := Options{Now: c.now, Limits: roomy()}
	s, err := Open(dir, o)
	require.NoError(t, err)
	var stream string
	var anna, ben *member
	t.Run("before", func(t *testing.T) {
		w := serveWorld(t, s, c)
		anna = w.shopOwner("Hillside Garage (invented)")
		ben = w.shopOwner("Fault Finders (invented)")
		stream = anna.opens()
		anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_READ, 2))
	})
	s, err = Open(dir, o)
	require.NoError(t, err)
	w := serveWorld(t, s, c)
	for _, m := range []*member{anna, ben} {
		m.w, m.t = w, t
		conn := w.dial()
		m.board, m.register = boardv1.NewBoardServiceClient(conn), boardv1.NewRegisterServiceClient(conn)
		require.Len(t, m.entries(stream), 3)
	}
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, ben.tried(stream, noted("reading only")))
	require.EqualValues(t, 4, anna.put(stream, noted("still here")).GetSeq())
	again, err := w.OpenShop(t.Context(), "Hillside Garage (invented)", "EUR", true)
	require.NoError(t, err)
	require.Equal(t, anna.shop, again.Shop)
	require.Empty(t, again.Code, "its owner has joined")
}
