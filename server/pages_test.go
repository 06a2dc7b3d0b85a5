package server

import (
	"context"
	"fmt"
	"iter"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
)

// forget drops what is kept, as benchmarks and tests want it.
func (p *pages) forget() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.recent.Init()
	clear(p.by)
	p.bytes = 0
}

// Whatever was read before, a reader gets what the log holds, in order, and no
// further than is shown.
func TestPagesAreTheLog(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := memory.New()
		n := uint64(0)
		grow := func(by int) {
			var b log.Batch
			for range by {
				n++
				size := 1
				if n%100 == 50 {
					size = 60_000
				}
				b.Records = append(b.Records, log.Record{Index: n - 1, Stream: "s", Seq: n, Entry: []byte(fmt.Sprint(n)), Event: make([]byte, size), Feeds: []string{"f"}})
			}
			require.NoError(t, l.Append(t.Context(), b))
		}
		shown := uint64(0)
		p := newPages(l, func() uint64 { return shown })
		for range rapid.IntRange(1, 12).Draw(t, "rounds") {
			grow(rapid.IntRange(0, 150).Draw(t, "grow"))
			shown = uint64(rapid.IntRange(int(shown), int(n)).Draw(t, "shown"))
			r := log.Range{Stream: "s", From: uint64(rapid.IntRange(0, int(shown)+2).Draw(t, "from"))}
			if rapid.Bool().Draw(t, "feed") {
				r.Stream, r.Feed = "", "f"
			}
			for next := r.First(); ; {
				items, more, err := p.read(t.Context(), r)
				require.NoError(t, err)
				require.LessOrEqual(t, len(items), messageEntries)
				size := 0
				for _, item := range items[:max(0, len(items)-1)] {
					size += len(item.Entry) + len(item.Event)
				}
				require.Less(t, size, messageBytes)
				for _, item := range items {
					require.Equal(t, next, item.Position)
					require.Equal(t, fmt.Sprint(next), string(item.Entry))
					next++
				}
				r.From = next
				if !more {
					require.Equal(t, max(shown+1, next), next, "it stopped before what is shown")
					break
				}
			}
		}
	})
}

func TestPagesAreBounded(t *testing.T) {
	t.Parallel()
	l := memory.New()
	const records = 64 * 400
	for i := uint64(0); i < records; i += 64 {
		var b log.Batch
		for j := i; j < i+64; j++ {
			b.Records = append(b.Records, log.Record{Index: j, Stream: "s", Seq: j + 1, Entry: []byte("e"), Event: make([]byte, 3000)})
		}
		require.NoError(t, l.Append(t.Context(), b))
	}
	p := newPages(l, func() uint64 { return records })
	for from := uint64(1); from <= records; from += 64 {
		items, more, err := p.read(t.Context(), log.Range{Stream: "s", From: from})
		require.NoError(t, err)
		require.Len(t, items, 64)
		require.True(t, more)
	}
	require.LessOrEqual(t, p.bytes, maxKept)
	require.Greater(t, p.bytes, maxKept/2)
	require.Equal(t, p.recent.Len(), len(p.by))
	require.NotNil(t, p.held(pageKey{"s", "", 399}), "the last is kept")
	require.Nil(t, p.held(pageKey{"s", "", 0}), "the first has gone")
}

// readsCounted counts how often a log is read from.
type readsCounted struct {
	log.Log
	reads int
}

func (l *readsCounted) Read(ctx context.Context, r log.Range) iter.Seq2[log.Item, error] {
	l.reads++
	return l.Log.Read(ctx, r)
}

// TestManyAtTheHeadReadOnce: of all who wait for the next entry one reads it.
func TestManyAtTheHeadReadOnce(t *testing.T) {
	t.Parallel()
	l := &readsCounted{Log: memory.New()}
	n := uint64(0)
	p := newPages(l, func() uint64 { return n })
	for n < 3*messageEntries {
		require.NoError(t, l.Append(t.Context(), log.Batch{Records: []log.Record{{Index: n, Stream: "s", Seq: n + 1, Entry: []byte(fmt.Sprint(n)), Event: []byte("e")}}}))
		n++
		l.reads = 0
		for range 10 {
			items, _, err := p.read(t.Context(), log.Range{Stream: "s", From: n})
			require.NoError(t, err)
			require.Len(t, items, 1)
			require.Equal(t, fmt.Sprint(n-1), string(items[0].Entry))
		}
		require.Equal(t, 1, l.reads)
	}
	held := 0
	for _, e := range p.by {
		held += e.Value.(*page).bytes
	}
	require.Equal(t, held, p.bytes)
	items, more, err := p.read(t.Context(), log.Range{Stream: "s", From: 1 << 40})
	require.NoError(t, err)
	require.False(t, more)
	require.Empty(t, items)
	require.Len(t, p.by, 3, "what holds nothing is not kept")
}
