package log_test

import (
	"crypto/sha256"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
)

// TestFailedCheckpoint: a batch whose checkpoint could not be synced was not
// acknowledged, and nothing more is taken until the log is opened again. Then the
// batch stands.
func TestFailedCheckpoint(t *testing.T) {
	dir, w, l := t.TempDir(), newWriter(), memory.New()
	tree := openTree(t, l, dir)
	_, err := tree.Append(t.Context(), w.batch(2))
	require.NoError(t, err)
	before, _ := tree.Checkpoint()
	require.NoError(t, tree.FailCheckpoints())
	_, err = tree.Append(t.Context(), w.batch(3))
	require.ErrorContains(t, err, "its checkpoint may not be")
	require.True(t, log.Unknown(err))
	after, _ := tree.Checkpoint()
	require.Equal(t, before, after)
	_, err = tree.Append(t.Context(), w.batch(1))
	require.ErrorContains(t, err, "until it is opened again")
	require.False(t, log.Unknown(err), "of this one nothing was kept")
	_ = tree.Close()

	tree = openTree(t, l, dir)
	now, _ := tree.Checkpoint()
	require.EqualValues(t, 5, now.Size)
	require.NoError(t, tree.Close())
}

// TestAnIndexAloneIsALog: a log in which only index keys were written is none to
// begin anew in when its checkpoint file is gone.
func TestAnIndexAloneIsALog(t *testing.T) {
	dir, l := t.TempDir(), memory.New()
	tree := openTree(t, l, dir)
	_, err := tree.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "refused/1", Value: []byte("typed")}}})
	require.NoError(t, err)
	require.NoError(t, tree.Close())
	require.NoError(t, os.Remove(treeConfig(dir).File))
	_, err = log.OpenTree(t.Context(), l, treeConfig(dir))
	require.ErrorIs(t, err, log.ErrDamaged)
	require.ErrorContains(t, err, "no checkpoint file")
}

// TestTheTreeAnEpochBeganFrom is compared, too, when a log is opened.
func TestTheTreeAnEpochBeganFrom(t *testing.T) {
	dir, w, l := t.TempDir(), newWriter(), memory.New()
	tree := openTree(t, l, dir)
	_, err := tree.Append(t.Context(), w.batch(2))
	require.NoError(t, err)
	began, _ := tree.Checkpoint()
	_, err = tree.Append(t.Context(), w.batch(2))
	require.NoError(t, err)
	c, _ := tree.Checkpoint()
	require.NoError(t, tree.Close())
	signer, err := log.Signer(logID, testKey())
	require.NoError(t, err)
	file := treeConfig(dir).File
	for root, want := range map[tlog.Hash]error{began.Root: nil, c.Root: log.ErrDamaged} {
		c.Epoch, c.FromSize, c.FromRoot = 2, began.Size, root
		note, err := c.Sign(signer)
		require.NoError(t, err)
		require.NoError(t, os.Remove(file))
		f, err := log.CreateCheckpointFile(file, began.Root[:])
		require.NoError(t, err)
		require.NoError(t, f.Put(log.Kept{Batch: 1, Note: began.Root[:]}))
		require.NoError(t, f.Put(log.Kept{Batch: 2, Note: note}))
		require.NoError(t, f.Close())
		tree, err := log.OpenTree(t.Context(), l, treeConfig(dir))
		require.ErrorIs(t, err, want)
		if want == nil {
			require.NoError(t, tree.Close())
		}
	}
}

// TestSlotsThatCannotFollow: two slots, each whole, that cannot have been written
// one after the other.
func TestSlotsThatCannotFollow(t *testing.T) {
	dir := t.TempDir()
	slot := func(batch uint64) []byte { // the file after so many batches
		path := dir + "/checkpoint"
		_ = os.Remove(path)
		f, err := log.CreateCheckpointFile(path, []byte("first"))
		require.NoError(t, err)
		for i := uint64(1); i <= batch; i++ {
			require.NoError(t, f.Put(log.Kept{Batch: i, Note: []byte("note")}))
		}
		require.NoError(t, f.Close())
		b, err := os.ReadFile(path)
		require.NoError(t, err)
		at := batch % 2 * log.SlotSize
		return b[at : at+log.SlotSize]
	}
	join := func(even, odd []byte) []byte { return append(append([]byte{}, even...), odd...) }
	blank := make([]byte, log.SlotSize)
	for name, c := range map[string]struct {
		file []byte
		says string
	}{
		"as written":            {join(slot(4), slot(5)), ""},
		"batches left out":      {join(slot(2), slot(5)), "do not follow each other"},
		"the older from before": {join(slot(4), slot(1)), "do not follow each other"},
		"blank after batches":   {join(slot(4), blank), "a slot is blank after batch 4"},
		"blank at first":        {join(slot(0), blank), ""},
		"in the other's place":  {join(slot(5), slot(4)), "slot 0 holds batch 5"},
	} {
		_, sound, err := log.DecodeSlots(c.file)
		if c.says == "" {
			require.NoError(t, err, name)
			require.True(t, sound, name)
			continue
		}
		require.ErrorIs(t, err, log.ErrDamaged, name)
		require.ErrorContains(t, err, c.says, name)
	}
}

// TestSlotLayout holds the checkpoint file to doc.go, byte for byte.
func TestSlotLayout(t *testing.T) {
	path := t.TempDir() + "/checkpoint"
	f, err := log.CreateCheckpointFile(path, []byte("first"))
	require.NoError(t, err)
	require.NoError(t, f.Put(log.Kept{Batch: 1, Note: []byte("second")}))
	require.NoError(t, f.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Len(t, b, 8192)
	for i, head := range []string{"kgcheck1\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x05first", "kgcheck1\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x06second"} {
		slot := b[i*4096 : (i+1)*4096]
		want := append([]byte(head), make([]byte, 4064-len(head))...)
		sum := sha256.Sum256(want)
		require.Equal(t, append(want, sum[:]...), slot, "slot %d", i)
	}
}
