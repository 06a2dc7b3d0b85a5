package client

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestShelf: whatever comes in whatever order, told, recorded here, sent, refused, a case on
// the shelf holds what the case that is folded from nothing holds, and besides at most what
// was taken and not told yet.
func TestShelf(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	random := rand.New(rand.NewPCG(seed, 0))
	h, who, stream := testHome(t), testIdentity(t), newUUID()
	shelf, s := h.Shelf(), newTaker(who)
	told, refused := 0, 0
	s.answer = func(*eventv1.Event) *boardv1.AppendResult {
		if random.IntN(6) > 0 {
			return nil
		}
		refused++
		return &boardv1.AppendResult{Reason: boardv1.Reason_REASON_IMPOSSIBLE, Text: "no"}
	}
	require.ErrorIs(t, shelf.With(t.Context(), who, stream, func(*Copy) error { return nil }), ErrNotFound)
	for i := range 300 {
		switch random.IntN(4) {
		case 0, 1:
			_, err := h.Save(who, Stamp{At: time.Now()}, aNote(stream, fmt.Sprint("note ", i)))
			require.NoError(t, err)
		case 2: // sent, and told later
			_, err := h.Push(t.Context(), who, s)
			require.NoError(t, err)
		case 3:
			all := s.entries(t, stream)
			n := told + random.IntN(len(all)-told+1)
			require.NoError(t, h.take(t.Context(), who, all[told:n], nil))
			told = n
		}
		kept, err := h.Kept(who, stream)
		require.NoError(t, err)
		if kept.Case.Head() == 0 {
			continue
		}
		require.NoError(t, shelf.With(t.Context(), who, stream, func(c *Copy) error {
			require.Equal(t, kept.Sent, c.Sent, "seed %d", seed)
			require.LessOrEqual(t, int(c.Case.Head()), int(kept.Case.Head())+len(s.held)-told, "seed %d", seed)
			for _, step := range kept.Case.Steps() {
				here := c.Case.ByID(step.ID)
				require.NotNil(t, here, "seed %d", seed)
				require.True(t, step.Seq > kept.Sent || here.Seq == step.Seq, "seed %d", seed)
			}
			return nil
		}), "seed %d", seed)
	}
	require.NotZero(t, refused, "seed %d", seed)
	require.NotZero(t, told, "seed %d", seed)
}
