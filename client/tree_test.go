package client

import (
	"bytes"
	"crypto/ed25519"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"knowngood.example/cases/log"
)

// logs signs checkpoints of invented logs with one key.
type logs struct {
	t    *testing.T
	key  ed25519.PrivateKey
	vkey string
}

func newLogs(t *testing.T) logs {
	t.Helper()
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, ed25519.SeedSize))
	vkey, err := note.NewEd25519VerifierKey(log.Origin("00112233445566aa"), key.Public().(ed25519.PublicKey))
	require.NoError(t, err)
	return logs{t, key, vkey}
}

func (l logs) checkpoint(epoch, size, from uint64, root byte) []byte {
	l.t.Helper()
	signer, err := log.Signer("00112233445566aa", l.key)
	require.NoError(l.t, err)
	c := log.Checkpoint{Log: "00112233445566aa", Size: size, Root: tlog.Hash{root}, Epoch: epoch, FromSize: from}
	b, err := c.Sign(signer)
	require.NoError(l.t, err)
	return b
}

func TestCheckpointsOnlyGrow(t *testing.T) {
	t.Parallel()
	l := newLogs(t)
	for _, c := range []struct {
		name          string
		before, now   []byte
		other, remain bool // another history; the one before remains
	}{
		{"the first", nil, l.checkpoint(1, 5, 0, 1), false, false},
		{"longer", l.checkpoint(1, 5, 0, 1), l.checkpoint(1, 9, 0, 2), false, false},
		{"the same", l.checkpoint(1, 5, 0, 1), l.checkpoint(1, 5, 0, 1), false, true},
		{"shorter", l.checkpoint(1, 5, 0, 1), l.checkpoint(1, 4, 0, 1), true, true},
		{"another root", l.checkpoint(1, 5, 0, 1), l.checkpoint(1, 5, 0, 2), true, true},
		{"restored to before what was seen", l.checkpoint(1, 5, 0, 1), l.checkpoint(2, 9, 3, 2), true, true},
		{"restored behind what was seen", l.checkpoint(1, 5, 0, 1), l.checkpoint(2, 9, 7, 2), false, false},
		{"an earlier epoch", l.checkpoint(2, 5, 0, 1), l.checkpoint(1, 9, 0, 2), true, true},
	} {
		h := testHome(t)
		if c.before != nil {
			require.NoError(t, h.heed(l.vkey, nil, c.before), c.name)
		}
		heed, err := h.heeder(l.vkey)
		require.NoError(t, err)
		err = heed(c.now)
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
}

func TestCheckpointOfAnotherKey(t *testing.T) {
	t.Parallel()
	l := newLogs(t)
	forged := l
	forged.key = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, ed25519.SeedSize))
	h := testHome(t)
	require.ErrorIs(t, h.heed(l.vkey, nil, forged.checkpoint(1, 5, 0, 1)), ErrHistory)
	require.Nil(t, h.Checkpoint())
}

// TestAnswersMayCross: a command that began before another was told more hears
// less than what is kept meanwhile, and that is no shorter tree.
func TestAnswersMayCross(t *testing.T) {
	t.Parallel()
	l, h := newLogs(t), testHome(t)
	require.NoError(t, h.heed(l.vkey, nil, l.checkpoint(1, 5, 0, 1)))
	slow, err := h.heeder(l.vkey)
	require.NoError(t, err)
	fast, err := h.heeder(l.vkey)
	require.NoError(t, err)
	require.NoError(t, fast(l.checkpoint(1, 9, 0, 3)))
	require.NoError(t, slow(l.checkpoint(1, 7, 0, 2)))
	require.Equal(t, string(l.checkpoint(1, 9, 0, 3)), string(h.Checkpoint()))
	require.ErrorIs(t, slow(l.checkpoint(1, 6, 0, 2)), ErrHistory)
}

func TestAcceptRestoredSetsAside(t *testing.T) {
	t.Parallel()
	l, h := newLogs(t), testHome(t)
	require.NoError(t, h.heed(l.vkey, nil, l.checkpoint(1, 5, 0, 1)))
	require.NoError(t, h.replace("cases/x.jsonl", []byte("kept\n")))
	aside, err := h.AcceptRestored()
	require.NoError(t, err)
	require.Nil(t, h.Checkpoint())
	b, err := os.ReadFile(aside + "/cases/x.jsonl")
	require.NoError(t, err)
	require.Equal(t, "kept\n", string(b))
	require.NoError(t, h.heed(l.vkey, nil, l.checkpoint(2, 3, 2, 9)))
}
