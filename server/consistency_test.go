package server

import (
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// TestConsistencyBetweenAnyTwo: every tree the log ever had is proven to go on
// from every earlier one, and from no other.
func TestConsistencyBetweenAnyTwo(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	roots := map[uint64]log.Checkpoint{}
	for range 9 {
		c, _ := w.tree.Checkpoint()
		roots[c.Size] = c
		m.put(stream, noted("one more"))
	}
	newest, err := m.board.Consistency(m.ctx(), &boardv1.ConsistencyRequest{})
	require.NoError(t, err)
	last, err := log.OpenCheckpoint(newest.GetCheckpoint(), w.tree.Verifier())
	require.NoError(t, err)
	roots[last.Size] = last
	for from, earlier := range roots {
		for to, later := range roots {
			r, err := m.board.Consistency(m.ctx(), &boardv1.ConsistencyRequest{From: from, To: to})
			if from > to {
				require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err))
				continue
			}
			require.NoError(t, err)
			require.Empty(t, r.GetCheckpoint())
			proof := split(t, r.GetProof())
			require.NoError(t, log.VerifyConsistency(earlier, later, proof), "from %d to %d", from, to)
			if from < to {
				forged := earlier
				forged.Root[3]++
				require.ErrorIs(t, log.VerifyConsistency(forged, later, proof), log.ErrProof)
			}
		}
	}
	_, err = m.board.Consistency(m.ctx(), &boardv1.ConsistencyRequest{From: 1, To: last.Size + 1})
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err))
	// Who saw a longer log is told how long this one is.
	r, err := m.board.Consistency(m.ctx(), &boardv1.ConsistencyRequest{From: last.Size + 5})
	require.NoError(t, err)
	require.Equal(t, newest.GetCheckpoint(), r.GetCheckpoint())
	require.Empty(t, r.GetProof())
}

func split(t *testing.T, b []byte) tlog.TreeProof {
	t.Helper()
	require.Zero(t, len(b)%tlog.HashSize)
	var out tlog.TreeProof
	for ; len(b) > 0; b = b[tlog.HashSize:] {
		out = append(out, tlog.Hash(b))
	}
	return out
}
