package server

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// TestTheHeadIsAlwaysTold: whoever reads to the head gets its checkpoint, whether a
// full message ended there or not, and then nothing until more comes.
func TestTheHeadIsAlwaysTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	for n := uint64(1); n <= 2*messageEntries+1; n++ {
		if n == 1 || n%messageEntries <= 1 || n%messageEntries == messageEntries-1 {
			ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
			in := m.watch(ctx, &boardv1.WatchRequest{})
			got := uint64(0)
			for {
				r, err := in.Recv()
				require.NoError(t, err, "with %d entries", n)
				got += uint64(len(r.GetEntries()))
				if len(r.GetCheckpoint()) > 0 {
					break
				}
			}
			require.Equal(t, n, got)
			m.put(stream, noted("one more"))
			r, err := in.Recv()
			require.NoError(t, err)
			require.Len(t, r.GetEntries(), 1, "nothing came before it")
			cancel()
			continue
		}
		m.put(stream, noted("one more"))
	}
}
