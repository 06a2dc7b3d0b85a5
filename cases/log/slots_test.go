package log_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"

	"knowngood.example/cases/log"
)

func TestFrontierStoresWhatTlogWould(t *testing.T) {
	var edge log.Frontier
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) (out []tlog.Hash, err error) {
		for _, i := range indexes {
			out = append(out, stored[i])
		}
		return out, nil
	})
	for n := range int64(300) {
		leaf := tlog.RecordHash(binary.BigEndian.AppendUint64(nil, uint64(n)))
		want, err := tlog.StoredHashesForRecordHash(n, leaf, reader)
		require.NoError(t, err)
		require.Equal(t, want, edge.Push(leaf))
		stored = append(stored, want...)
		root, err := tlog.TreeHash(n+1, reader)
		require.NoError(t, err)
		require.Equal(t, root, edge.Root())
	}
}

func TestCheckpointFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "checkpoint")
	_, err := log.OpenCheckpointFile(path)
	require.ErrorIs(t, err, os.ErrNotExist)
	f, err := log.CreateCheckpointFile(path, []byte("first"))
	require.NoError(t, err)
	_, err = log.CreateCheckpointFile(path, []byte("again"))
	require.ErrorIs(t, err, os.ErrExist)
	reopen := func(batch uint64, text string) {
		t.Helper()
		last, sound := f.Last()
		require.True(t, sound)
		require.Equal(t, log.Kept{Batch: batch, Note: []byte(text)}, last)
		require.NoError(t, f.Close())
		f, err = log.OpenCheckpointFile(path)
		require.NoError(t, err)
		last, sound = f.Last()
		require.True(t, sound)
		require.Equal(t, log.Kept{Batch: batch, Note: []byte(text)}, last)
	}
	reopen(0, "first")
	for i := uint64(1); i < 6; i++ {
		text := fmt.Sprint("checkpoint ", i)
		require.Error(t, f.Put(log.Kept{Batch: i + 1, Note: []byte(text)}), "a batch left out")
		require.Error(t, f.Put(log.Kept{Batch: i - 1, Note: []byte(text)}), "a batch again")
		require.NoError(t, f.Put(log.Kept{Batch: i, Note: []byte(text)}))
		reopen(i, text)
	}
	require.Error(t, f.Put(log.Kept{Batch: 6, Note: make([]byte, log.SlotSize)}))
	reopen(5, "checkpoint 5")
	require.NoError(t, f.Close())
}

// TestTornCheckpoint: whatever part of a slot was written when the power went,
// the older checkpoint is read, or the newer one where all of it was.
func TestTornCheckpoint(t *testing.T) {
	path := filepath.Join(t.TempDir(), "checkpoint")
	f, err := log.CreateCheckpointFile(path, []byte("0"))
	require.NoError(t, err)
	for i := uint64(1); i <= 4; i++ {
		require.NoError(t, f.Put(log.Kept{Batch: i, Note: fmt.Appendf(nil, "checkpoint %d of batch %d", i, i)}))
	}
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, f.Put(log.Kept{Batch: 5, Note: []byte("the last one, a little longer")}))
	require.NoError(t, f.Close())
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before[:log.SlotSize], after[:log.SlotSize], "the other slot is not touched")

	rapid.Check(t, func(t *rapid.T) {
		// A disk writes sectors, in any order.
		torn := bytes.Clone(before)
		whole := true
		for at := log.SlotSize; at < 2*log.SlotSize; at += 512 {
			if rapid.Bool().Draw(t, "written") {
				copy(torn[at:at+512], after[at:at+512])
			}
			whole = whole && bytes.Equal(torn[at:at+512], after[at:at+512])
		}
		last, sound, err := log.DecodeSlots(torn)
		require.NoError(t, err)
		if whole {
			require.EqualValues(t, 5, last.Batch)
			require.True(t, sound)
		} else {
			require.EqualValues(t, 4, last.Batch)
			require.Equal(t, "checkpoint 4 of batch 4", string(last.Note))
			require.Equal(t, bytes.Equal(torn, before), sound)
		}
	})
}

func FuzzSlots(f *testing.F) {
	path := filepath.Join(f.TempDir(), "checkpoint")
	c, err := log.CreateCheckpointFile(path, []byte("first"))
	require.NoError(f, err)
	seed := func() {
		b, err := os.ReadFile(path)
		require.NoError(f, err)
		f.Add(b[:60], b[log.SlotSize:log.SlotSize+60], 0, byte(0))
	}
	seed()
	require.NoError(f, c.Put(log.Kept{Batch: 1, Note: []byte("second")}))
	seed()
	require.NoError(f, c.Put(log.Kept{Batch: 2, Note: []byte("third")}))
	seed()
	require.NoError(f, c.Close())
	whole, err := os.ReadFile(path)
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, first, second []byte, at int, flip byte) {
		// Two slots that begin as the fuzzer likes, and the good file with a byte changed.
		b := make([]byte, 2*log.SlotSize)
		copy(b, first)
		copy(b[log.SlotSize:], second)
		for _, in := range [][]byte{first, b} {
			if _, _, err := log.DecodeSlots(in); err != nil {
				require.ErrorIs(t, err, log.ErrDamaged)
			}
		}
		changed := bytes.Clone(whole)
		changed[uint(at)%uint(len(changed))] ^= flip
		last, sound, err := log.DecodeSlots(changed)
		require.NoError(t, err)
		if flip == 0 {
			require.True(t, sound)
			require.EqualValues(t, 2, last.Batch)
		} else {
			require.False(t, sound && last.Batch == 2, "a changed byte does not pass")
		}
	})
}
