package log_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"iter"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// failing is a log whose next append fails, with the batch kept or not.
type failing struct {
	log.Log
	fail, persisted bool
}

var errDisk = errors.New("the disk said no")

func (f *failing) Append(ctx context.Context, b log.Batch) error {
	if !f.fail {
		return f.Log.Append(ctx, b)
	}
	if f.persisted {
		if err := f.Log.Append(ctx, b); err != nil {
			return err
		}
	}
	return errDisk
}

// TestFailedAppend: the batch is unknown, nothing more is taken, and the log
// opened again holds it whole, with its checkpoint, or not at all.
func TestFailedAppend(t *testing.T) {
	for _, persisted := range []bool{false, true} {
		for _, what := range []string{"records", "index only"} {
			t.Run(fmt.Sprint(what, persisted), func(t *testing.T) {
				dir, w := t.TempDir(), newWriter()
				l := &failing{Log: memory.New(), persisted: persisted}
				tree := openTree(t, l, dir)
				_, err := tree.Append(t.Context(), w.batch(5))
				require.NoError(t, err)
				before, _ := tree.Checkpoint()
				b := log.Batch{Index: []log.Write{{Key: "k", Value: []byte("v")}}}
				if what == "records" {
					b = w.batch(4)
				}
				l.fail = true
				_, err = tree.Append(t.Context(), b)
				require.ErrorIs(t, err, errDisk)
				require.True(t, log.Unknown(err))
				after, _ := tree.Checkpoint()
				require.Equal(t, before, after, "what is unknown is not signed")
				l.fail = false
				_, err = tree.Append(t.Context(), b)
				require.ErrorContains(t, err, "opened again")
				require.NoError(t, tree.Close())

				for range 2 { // bringing the checkpoint forward is done once
					tree = openTree(t, l, dir)
					after, _ = tree.Checkpoint()
					if persisted {
						require.EqualValues(t, 5+len(b.Records), after.Size)
					} else {
						require.Equal(t, before, after)
					}
					require.NoError(t, tree.Close())
				}
				tree = openTree(t, l, dir)
				defer tree.Close()
				_, err = tree.Append(t.Context(), b)
				if persisted && len(b.Records) > 0 {
					require.ErrorIs(t, err, log.ErrPlace)
					return
				}
				require.NoError(t, err)
			})
		}
	}
}

// TestRefusedAppend: what is wrong with a batch is said before anything of it is
// kept, and does not end appending.
func TestRefusedAppend(t *testing.T) {
	dir, w, l := t.TempDir(), newWriter(), memory.New()
	tree := openTree(t, l, dir)
	defer tree.Close()
	_, err := tree.Append(t.Context(), w.batch(2))
	require.NoError(t, err)
	next := func() log.Record {
		v := newWriter()
		v.size, v.seqs["case-0"] = w.size, w.seqs["case-0"]
		return v.record("case-0", []byte("event"))
	}
	other := func(change func(*log.Record)) log.Batch {
		r := next()
		change(&r)
		return log.Batch{Records: []log.Record{r}}
	}
	for name, b := range map[string]log.Batch{
		"index":           other(func(r *log.Record) { r.Index++ }),
		"index before":    other(func(r *log.Record) { r.Index-- }),
		"seq":             other(func(r *log.Record) { r.Seq++ }),
		"stream":          other(func(r *log.Record) { r.Stream = "case-9" }),
		"entry":           other(func(r *log.Record) { r.Entry = []byte("not an entry") }),
		"event":           other(func(r *log.Record) { r.Event = []byte("other") }),
		"the tree's own":  {Index: []log.Write{{Key: "\x00b", Value: []byte("x")}}},
		"erase of no one": {Erase: []uint64{77}},
		"another log's": other(func(r *log.Record) {
			var e eventv1.Entry
			require.NoError(t, proto.Unmarshal(r.Entry, &e))
			e.Log = "ffffffffffffffff"
			r.Entry, err = proto.Marshal(&e)
			require.NoError(t, err)
		}),
	} {
		_, err := tree.Append(t.Context(), b)
		require.Error(t, err, name)
		require.False(t, log.Unknown(err), name)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = tree.Append(ctx, log.Batch{Records: []log.Record{next()}})
	require.ErrorIs(t, err, context.Canceled)
	require.False(t, log.Unknown(err))
	_, before := tree.Checkpoint()
	signed, err := tree.Append(t.Context(), log.Batch{})
	require.NoError(t, err)
	require.Equal(t, before, signed, "an empty batch is no batch")
	_, err = tree.Append(t.Context(), log.Batch{Records: []log.Record{next()}})
	require.NoError(t, err)
	require.NoError(t, tree.Close())
	require.NoError(t, tree.Close())
	_, err = tree.Append(t.Context(), log.Batch{Erase: []uint64{0}})
	require.ErrorIs(t, err, log.ErrClosed)
	require.False(t, log.Unknown(err))
}

// TestErasedBytes: the tree, its proofs and its re-hashing stand without the
// bytes; bytes that are gone without a mark do not pass.
func TestErasedBytes(t *testing.T) {
	dir, w, l := t.TempDir(), newWriter(), memory.New()
	tree := openTree(t, l, dir)
	_, err := tree.Append(t.Context(), w.batch(20))
	require.NoError(t, err)
	before, _ := tree.Checkpoint()
	_, err = tree.Append(t.Context(), log.Batch{Erase: []uint64{3, 17}})
	require.NoError(t, err)
	after, _ := tree.Checkpoint()
	require.Equal(t, before, after)
	require.NoError(t, tree.Close())
	tree = openTree(t, l, dir)
	defer tree.Close()
	for item, err := range l.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		require.Equal(t, item.Index == 3 || item.Index == 17, item.Event == nil)
		proof, _, err := tree.Prove(t.Context(), item.Index)
		require.NoError(t, err)
		require.NoError(t, log.VerifyRecord(after, item.Index, item.Entry, proof))
	}
}

// TestOpenRefuses lists what a log is not opened over.
func TestOpenRefuses(t *testing.T) {
	type made struct {
		l       *memory.Log
		dir     string
		older   []byte // the checkpoint file of an earlier batch
		config  log.TreeConfig
		replace log.Log
	}
	build := func(t *testing.T, batches int) *made {
		m := &made{l: memory.New(), dir: t.TempDir()}
		m.config = treeConfig(m.dir)
		tree, w := openTree(t, m.l, m.dir), newWriter()
		for i := range batches {
			_, err := tree.Append(t.Context(), w.batch(5))
			require.NoError(t, err)
			if i == 1 {
				m.older, err = os.ReadFile(m.config.File)
				require.NoError(t, err)
			}
		}
		require.NoError(t, tree.Close())
		return m
	}
	// again appends the first batches of a log anew, changed by the way.
	again := func(t *testing.T, batches int, change func(i int, b *log.Batch)) log.Log {
		l, dir, w := memory.New(), t.TempDir(), newWriter()
		tree := openTree(t, l, dir)
		for i := range batches {
			b := w.batch(5)
			if change != nil {
				change(i, &b)
			}
			_, err := tree.Append(t.Context(), b)
			require.NoError(t, err)
		}
		require.NoError(t, tree.Close())
		return l
	}
	for _, c := range []struct {
		name string
		harm func(*testing.T, *made)
		want error
		says string
	}{
		{"a lost batch", func(t *testing.T, m *made) { m.replace = again(t, 5, nil) }, log.ErrDamaged, "1 batches are lost"},
		{"many lost batches", func(t *testing.T, m *made) { m.replace = again(t, 2, nil) }, log.ErrDamaged, "4 batches are lost"},
		{"everything lost", func(_ *testing.T, m *made) { m.replace = memory.New() }, log.ErrDamaged, "6 batches are lost"},
		{"no checkpoint file", func(t *testing.T, m *made) { require.NoError(t, os.Remove(m.config.File)) }, log.ErrDamaged, "no checkpoint file"},
		{"an older checkpoint file", func(t *testing.T, m *made) { require.NoError(t, os.WriteFile(m.config.File, m.older, 0o600)) }, log.ErrDamaged, "of an earlier time"},
		{"two batches ahead", func(t *testing.T, m *made) { m.replace = again(t, 8, nil) }, log.ErrDamaged, "of an earlier time"},
		{"another history", func(t *testing.T, m *made) {
			m.replace = again(t, 6, func(i int, b *log.Batch) {
				if i == 3 { // the same places, another entry
					w := newWriter()
					w.size, w.seqs["case-0"] = b.Records[0].Index, b.Records[0].Seq-1
					b.Records[0] = w.record("case-0", []byte("another story"))
				}
			})
		}, log.ErrDamaged, "have the root"},
		{"another history, one batch ahead", func(t *testing.T, m *made) {
			m.replace = again(t, 7, func(i int, b *log.Batch) {
				if i == 0 {
					b.Records[4] = newWriterAt(4, "case-1", 1).record("case-1", []byte("another story"))
				}
			})
		}, log.ErrDamaged, "have the root"},
		{"a hash missing", func(_ *testing.T, m *made) {
			m.replace = changed{m.l, func(r *log.Record) { r.Tree = on(7, r, r.Tree[:32]) }}
		}, log.ErrDamaged, "index 7 does not have the hash"},
		{"the last hash missing", func(_ *testing.T, m *made) {
			m.replace = changed{m.l, func(r *log.Record) { r.Tree = on(29, r, nil) }}
		}, log.ErrDamaged, "index 29 does not have the hash"},
		{"a hash changed", func(_ *testing.T, m *made) {
			m.replace = changed{m.l, func(r *log.Record) { r.Tree = on(7, r, make([]byte, 128)) }}
		}, log.ErrDamaged, "index 7 does not have the hash"},
		{"a hash too many", func(_ *testing.T, m *made) {
			m.replace = changed{m.l, func(r *log.Record) { r.Tree = on(8, r, make([]byte, 64)) }}
		}, log.ErrDamaged, "index 8 does not have the hash"},
		{"entries past the tree", func(t *testing.T, m *made) {
			require.NoError(t, m.l.Append(t.Context(), log.Batch{Records: []log.Record{newWriterAt(30, "x", 0).record("x", []byte("e"))}}))
		}, log.ErrDamaged, "holds 31 entries"},
		{"a batch number of nonsense", func(t *testing.T, m *made) {
			require.NoError(t, m.l.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "\x00b", Value: []byte("xx")}}}))
		}, log.ErrDamaged, "number of batches"},
		{"another key", func(_ *testing.T, m *made) {
			m.config.Key = ed25519.NewKeyFromSeed(append(make([]byte, 31), 1))
		}, log.ErrCheckpoint, "another key"},
		{"another log", func(_ *testing.T, m *made) { m.config.Log = "ffffffffffffffff" }, log.ErrCheckpoint, "of another log"},
		{"the newer slot rotten", func(t *testing.T, m *made) { flip(t, m.config.File, 100) }, nil, ""},
		{"the newer slot rotten and its batch lost", func(t *testing.T, m *made) {
			flip(t, m.config.File, 100)
			m.replace = again(t, 5, nil)
		}, log.ErrDamaged, "it may be lost"},
		{"the older slot rotten", func(t *testing.T, m *made) { flip(t, m.config.File, log.SlotSize+100) }, log.ErrDamaged, "cannot be read"},
		{"both slots rotten", func(t *testing.T, m *made) {
			flip(t, m.config.File, 100)
			flip(t, m.config.File, log.SlotSize+100)
		}, log.ErrDamaged, "neither slot"},
		{"nothing", func(*testing.T, *made) {}, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := build(t, 6)
			c.harm(t, m)
			var l log.Log = m.l
			if m.replace != nil {
				l = m.replace
			}
			tree, err := log.OpenTree(t.Context(), l, m.config)
			if c.want == nil {
				require.NoError(t, err)
				require.NoError(t, tree.Close())
				return
			}
			require.ErrorIs(t, err, c.want)
			require.ErrorContains(t, err, c.says)
			require.ErrorContains(t, err, "restore", "the remedy is said")
		})
	}
}

// changed reads records otherwise than they were written.
type changed struct {
	*memory.Log
	change func(*log.Record)
}

func (c changed) Read(ctx context.Context, r log.Range) iter.Seq2[log.Item, error] {
	return func(yield func(log.Item, error) bool) {
		for item, err := range c.Log.Read(ctx, r) {
			c.change(&item.Record)
			if !yield(item, err) {
				return
			}
		}
	}
}

// on returns the tree hashes for the record of that index, its own for others.
func on(index uint64, r *log.Record, tree []byte) []byte {
	if r.Index == index {
		return tree
	}
	return r.Tree
}

func newWriterAt(size uint64, stream string, seq uint64) *writer {
	w := newWriter()
	w.size, w.seqs[stream] = size, seq
	return w
}

func flip(t *testing.T, path string, at int) {
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	b[at] ^= 1
	require.NoError(t, os.WriteFile(path, b, 0o600))
}

// TestInterruptedFirstStart: a log in which nothing is may be started again
// whatever was left of its beginning.
func TestInterruptedFirstStart(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "checkpoint.new"), []byte("half"), 0o600))
	tree := openTree(t, memory.New(), dir) // made the checkpoint file, then stopped
	require.NoError(t, tree.Close())
	l := memory.New()
	tree = openTree(t, l, dir)
	_, err := tree.Append(t.Context(), newWriter().batch(1))
	require.NoError(t, err)
	require.NoError(t, tree.Close())
}
