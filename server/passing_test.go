package server

import (
	"testing"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestPassingOnTakesTwo: of an event that another device of the shop wrote, both
// must be allowed to: who wrote it and who passes it on.
func TestPassingOnTakesTwo(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	help := ben.invite(guest, "guest")
	stream := anna.opens()
	anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 2))

	s := help.write(stream, noted("a guest without a part in it"))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.send(s)[0].GetReason(), "passed on by one who may")
	s = ben.write(stream, noted("by one who may"))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, help.send(s)[0].GetReason(), "passed on by a guest without a part in it")

	anna.put(stream, handOff(ben.shop, help.person, eventv1.Access_ACCESS_READ, 4))
	s = help.write(stream, noted("a guest who reads"))
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, ben.send(s)[0].GetReason())
	s = ben.write(stream, noted("by one who may, again"))
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, help.send(s)[0].GetReason())
	require.Equal(t, taken, ben.send(s)[0].GetReason(), "the same bytes, from one who may")
}
