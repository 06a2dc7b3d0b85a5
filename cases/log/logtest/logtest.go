// Package logtest holds what every engine of a log must do, as tests that an
// engine's own test calls in one line.
package logtest

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
)

// Engine says how to reach the engine under test.
type Engine struct {
	// Open opens the log that lies in dir, an empty directory the first time. Run
	// closes what it opens.
	Open func(t testing.TB, dir string) log.Log
	// Keeps: what was appended is there when dir is opened again.
	Keeps bool
	// Fail, where the engine has such a thing, makes the next commit of l return
	// an error; after it the batch is kept, or not, as persisted says.
	Fail func(t testing.TB, l log.Log, persisted bool)
}

// Run tests the engine.
func Run(t *testing.T, e Engine) {
	for _, c := range []struct {
		name string
		test func(*testing.T, *rig)
	}{
		{"empty", testEmpty},
		{"append and read", testAppendAndRead},
		{"ranges", testRanges},
		{"places", testPlaces},
		{"limits", testLimits},
		{"feeds", testFeeds},
		{"bytes are copied", testBytesAreCopied},
		{"index", testIndex},
		{"scan", testScan},
		{"erase", testErase},
		{"atomic", testAtomic},
		{"hostile keys", testHostileKeys},
		{"snapshot", testSnapshot},
		{"reopen", testReopen},
		{"failed", testFailed},
		{"tail", testTail},
		{"tail ends", testTailEnds},
		{"changed", testChanged},
		{"context", testContext},
		{"close", testClose},
		{"close beside readers", testCloseBesideReaders},
		{"any history", testAnyHistory},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.test(t, newRig(t, e))
		})
	}
}

// rig is a log under test, with what a committer knows of it.
type rig struct {
	Engine
	log  log.Log
	dir  string
	size uint64
	seqs map[string]uint64
}

func newRig(t *testing.T, e Engine) *rig {
	r := &rig{Engine: e, dir: t.TempDir(), seqs: make(map[string]uint64)}
	r.log = e.Open(t, r.dir)
	t.Cleanup(func() { require.NoError(t, r.log.Close()) })
	return r
}

// record makes the next record of a stream.
func (r *rig) record(stream string, feeds ...string) log.Record {
	r.seqs[stream]++
	rec := log.Record{
		Index: r.size, Stream: stream, Seq: r.seqs[stream], Feeds: feeds,
		Entry: fmt.Appendf(nil, "entry %d", r.size),
		Event: fmt.Appendf(nil, "event %d", r.size),
	}
	if r.size%3 > 0 {
		rec.Tree = fmt.Appendf(nil, "tree %d", r.size)
	}
	r.size++
	return rec
}

func (r *rig) append(t testing.TB, b log.Batch) {
	t.Helper()
	require.NoError(t, r.log.Append(t.Context(), b))
}

// reopen closes the log and opens it again.
func (r *rig) reopen(t *testing.T) {
	t.Helper()
	require.NoError(t, r.log.Close())
	r.log = r.Open(t, r.dir)
}

func read(t testing.TB, l log.Log, r log.Range) []log.Item {
	t.Helper()
	var out []log.Item
	for item, err := range l.Read(t.Context(), r) {
		require.NoError(t, err)
		out = append(out, item)
	}
	return out
}

func scan(t testing.TB, l log.Log, prefix string) []log.Write {
	t.Helper()
	var out []log.Write
	for w, err := range l.Scan(t.Context(), prefix) {
		require.NoError(t, err)
		out = append(out, w)
	}
	return out
}

func next(t testing.TB, l log.Log, r log.Range) uint64 {
	t.Helper()
	n, err := l.Next(t.Context(), r)
	require.NoError(t, err)
	return n
}

func get(t testing.TB, l log.Log, key string) []byte {
	t.Helper()
	v, err := l.Get(t.Context(), key)
	require.NoError(t, err)
	return v
}

// indexes are the places of items, which must carry the bytes of their records.
func indexes(t testing.TB, items []log.Item) []uint64 {
	t.Helper()
	var out []uint64
	for _, item := range items {
		require.Equal(t, fmt.Sprintf("entry %d", item.Index), string(item.Entry))
		if item.Event != nil {
			require.Equal(t, fmt.Sprintf("event %d", item.Index), string(item.Event))
		}
		if item.Index%3 > 0 {
			require.Equal(t, fmt.Sprintf("tree %d", item.Index), string(item.Tree))
		} else {
			require.Nil(t, item.Tree)
		}
		require.Nil(t, item.Feeds)
		out = append(out, item.Index)
	}
	return out
}

// whole reads the log from end to end.
func whole(ctx context.Context, l log.Log) (n uint64, err error) {
	for item, err := range l.Read(ctx, log.Range{}) {
		if err != nil {
			return n, err
		}
		if item.Index != n {
			return n, fmt.Errorf("index %d follows %d", item.Index, n)
		}
		n++
	}
	return n, nil
}
