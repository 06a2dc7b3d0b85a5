package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// logs signs checkpoints of invented logs with one key, and proves what can be
// proven of them.
type logs struct {
	t    *testing.T
	key  ed25519.PrivateKey
	vkey string
	// hashes of two logs that part after their third entry.
	hashes [2][]tlog.Hash
	asked  int
}

func newLogs(t *testing.T) *logs {
	t.Helper()
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
	vkey, err := note.NewEd25519VerifierKey(log.Origin("00112233445566aa"), key.Public().(ed25519.PublicKey))
	require.NoError(t, err)
	l := &logs{t: t, key: key, vkey: vkey}
	for which := range l.hashes {
		for i := range int64(12) {
			text := fmt.Sprint(i)
			if i >= 3 {
				text = fmt.Sprint(which, i)
			}
			more, err := tlog.StoredHashes(i, []byte(text), l.reader(which))
			require.NoError(t, err)
			l.hashes[which] = append(l.hashes[which], more...)
		}
	}
	return l
}

func (l *logs) reader(which int) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		var out []tlog.Hash
		for _, i := range indexes {
			out = append(out, l.hashes[which][i])
		}
		return out, nil
	})
}

// checkpoint of the first size entries of one of the two.
func (l *logs) checkpoint(which int, epoch, size, from uint64) []byte {
	l.t.Helper()
	signer, err := log.Signer("00112233445566aa", l.key)
	require.NoError(l.t, err)
	root, err := tlog.TreeHash(int64(size), l.reader(which))
	require.NoError(l.t, err)
	began, err := tlog.TreeHash(int64(from), l.reader(which))
	require.NoError(l.t, err)
	c := log.Checkpoint{Log: "00112233445566aa", Size: size, Root: root, Epoch: epoch, FromSize: from, FromRoot: began}
	b, err := c.Sign(signer)
	require.NoError(l.t, err)
	return b
}

// Consistency proves within the first log, as a server would.
func (l *logs) Consistency(_ context.Context, req *boardv1.ConsistencyRequest, _ ...grpc.CallOption) (*boardv1.ConsistencyResponse, error) {
	l.asked++
	proof, err := tlog.ProveTree(int64(req.GetTo()), int64(req.GetFrom()), l.reader(0))
	out := new(boardv1.ConsistencyResponse)
	for _, h := range proof {
		out.Proof = append(out.Proof, h[:]...)
	}
	return out, err
}

func (l *logs) heeder(h *Home) *heeder {
	l.t.Helper()
	d, err := h.heeder(l.vkey, l)
	require.NoError(l.t, err)
	return d
}

func TestCheckpointsOnlyGrow(t *testing.T) {
	t.Parallel()
	l := newLogs(t)
	for _, c := range []struct {
		name          string
		before, now   []byte
		other, remain bool // another history; the one before remains
	}{
		{"the first", nil, l.checkpoint(0, 1, 5, 0), false, false},
		{"longer", l.checkpoint(0, 1, 5, 0), l.checkpoint(0, 1, 9, 0), false, false},
		{"longer, after nothing", l.checkpoint(0, 1, 0, 0), l.checkpoint(0, 1, 9, 0), false, false},
		{"the same", l.checkpoint(0, 1, 5, 0), l.checkpoint(0, 1, 5, 0), false, true},
		{"shorter", l.checkpoint(0, 1, 5, 0), l.checkpoint(0, 1, 4, 0), true, true},
		{"another root", l.checkpoint(0, 1, 5, 0), l.checkpoint(1, 1, 5, 0), true, true},
		{"longer, and another log since before what was seen", l.checkpoint(0, 1, 5, 0), l.checkpoint(1, 1, 9, 0), true, true},
		{"longer, after another log was seen", l.checkpoint(1, 1, 5, 0), l.checkpoint(0, 1, 9, 0), true, true},
		{"restored to before what was seen", l.checkpoint(0, 1, 5, 0), l.checkpoint(0, 2, 9, 3), true, true},
		{"restored behind what was seen", l.checkpoint(0, 1, 5, 0), l.checkpoint(0, 2, 9, 7), false, false},
		{"restored behind what was seen, to another log", l.checkpoint(0, 1, 5, 0), l.checkpoint(1, 2, 9, 7), true, true},
		{"an earlier epoch", l.checkpoint(0, 2, 5, 0), l.checkpoint(0, 1, 9, 0), true, true},
	} {
		h := testHome(t)
		if c.before != nil {
			require.NoError(t, l.heeder(h).heed(t.Context(), c.before), c.name)
		}
		err := l.heeder(h).heed(t.Context(), c.now)
		if c.other {
			require.ErrorIs(t, err, ErrHistory, c.name)
		} else {
			require.NoError(t, err, c.name)
		}
		want := c.now
		if c.remain {
			want = c.before
		}
		require.Equal(t, string(want), string(h.Checkpoint()), c.name)
	}
	require.NotZero(t, l.asked)
}

func TestCheckpointOfAnotherKey(t *testing.T) {
	t.Parallel()
	l, forged := newLogs(t), newLogs(t)
	forged.key = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, ed25519.SeedSize))
	h := testHome(t)
	require.ErrorIs(t, l.heeder(h).heed(t.Context(), forged.checkpoint(0, 1, 5, 0)), ErrHistory)
	require.Nil(t, h.Checkpoint())
}

// TestAnswersMayCross: a command that began before another was told more hears
// less than what is kept meanwhile, and that is no shorter tree.
func TestAnswersMayCross(t *testing.T) {
	t.Parallel()
	l, h := newLogs(t), testHome(t)
	heed := func(d *heeder, signed []byte) error { return d.heed(t.Context(), signed) }
	require.NoError(t, heed(l.heeder(h), l.checkpoint(0, 1, 5, 0)))
	slow, fast, other := l.heeder(h), l.heeder(h), l.heeder(h)
	require.NoError(t, heed(fast, l.checkpoint(0, 1, 9, 0)))
	require.NoError(t, heed(slow, l.checkpoint(0, 1, 7, 0)))
	require.Equal(t, string(l.checkpoint(0, 1, 9, 0)), string(h.Checkpoint()))
	require.ErrorIs(t, heed(slow, l.checkpoint(0, 1, 6, 0)), ErrHistory)
	require.ErrorIs(t, heed(other, l.checkpoint(1, 1, 8, 0)), ErrHistory, "less, and of another log")
}

// TestAcceptRestored: what was told before counts no more, what waits still does.
func TestAcceptRestored(t *testing.T) {
	t.Parallel()
	l, h, who := newLogs(t), testHome(t), testIdentity(t)
	who.LogKey = l.vkey
	require.NoError(t, l.heeder(h).heed(t.Context(), l.checkpoint(0, 1, 5, 0)))
	stream, s := newUUID(), newTaker(who)
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "told"))
	require.NoError(t, err)
	_, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.NoError(t, h.take(t.Context(), who, s.entries(t, stream), nil))
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "waits"))
	require.NoError(t, err)
	list, err := h.KeptCases()
	require.NoError(t, err)
	require.Equal(t, []string{stream}, list)

	require.NoError(t, h.AcceptRestored(nil))
	require.Nil(t, h.Checkpoint())
	list, err = h.KeptCases()
	require.NoError(t, err)
	require.Empty(t, list)
	require.Len(t, pending(t, h), 1)
	require.NoError(t, l.heeder(h).heed(t.Context(), l.checkpoint(1, 2, 3, 2)))
	require.NoError(t, h.take(t.Context(), who, s.entries(t, stream), nil))
	c, err := h.Kept(who, stream)
	require.NoError(t, err)
	require.Equal(t, uint64(1), c.Sent)
	require.Equal(t, 1, c.Waiting())
}
