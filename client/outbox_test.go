package client

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestNothingThatWaitsIsPassedOver: whatever pushes came to, the outbox shows exactly
// what was saved and neither taken nor refused for good, in order; "sent" hides none of
// it, and tells that what is before it has gone.
func TestNothingThatWaitsIsPassedOver(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	h, who, stream := testHome(t), testIdentity(t), newUUID()
	s := newTaker(who)
	s.before = func(int) error {
		if random.IntN(4) == 0 {
			return ErrOffline
		}
		return nil
	}
	s.answer = func(*eventv1.Event) *boardv1.AppendResult {
		switch random.IntN(60) {
		case 0:
			return &boardv1.AppendResult{Reason: boardv1.Reason_REASON_NO_ROOM, Text: "no room"}
		case 1:
			return &boardv1.AppendResult{Reason: boardv1.Reason_REASON_IMPOSSIBLE, Text: "not so"}
		}
		return nil
	}
	var open []string
	gone := map[string]bool{}
	for range 40 {
		var events []*eventv1.Event
		for i := range random.IntN(250) {
			events = append(events, aNote(stream, fmt.Sprint("note ", i)))
		}
		if len(events) > 0 {
			_, err := h.Save(who, Stamp{At: h.now()}, events...)
			require.NoError(t, err)
		}
		for _, e := range events {
			open = append(open, e.GetId())
		}
		sent, err := h.Push(t.Context(), who, s)
		for id := range sent.Taken {
			gone[id] = true
		}
		for id := range sent.Refused {
			gone[id] = true
		}
		var no *Refusal
		require.True(t, err == nil || errors.Is(err, ErrOffline) || errors.As(err, &no), "%v", err)
		for len(open) > 0 && gone[open[0]] {
			open = open[1:]
		}
		waiting := []string{}
		for e, err := range h.Waiting(t.Context()) {
			require.NoError(t, err)
			waiting = append(waiting, idOf(e))
		}
		require.Equal(t, append([]string{}, open...), waiting)
		require.Equal(t, len(open), sent.Waiting)
		require.Equal(t, err == nil, len(open) == 0)
		first, err := h.ledger().number(t.Context(), keySent)
		require.NoError(t, err)
		for w, err := range h.replica.Scan(t.Context(), prefixOut) {
			require.NoError(t, err)
			require.GreaterOrEqual(t, binary.BigEndian.Uint64([]byte(w.Key[len(prefixOut):])), first)
		}
	}
	require.NotEmpty(t, gone)
}
