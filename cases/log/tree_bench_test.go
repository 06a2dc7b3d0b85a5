package log_test

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
)

// BenchmarkAppend appends batches of events of 400 bytes through the tree, in
// turn with a raw write and fdatasync of the same bytes, so that both see the
// same disk. An op is a batch.
func BenchmarkAppend(b *testing.B) {
	for _, n := range []int{1, 64, 1024} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			dir := b.TempDir()
			l, err := badger.Open(filepath.Join(dir, "badger"), badger.Options{MemTableSize: 64 << 20})
			require.NoError(b, err)
			defer l.Close()
			tree := openTree(b, l, dir)
			defer tree.Close()
			raw, err := os.Create(filepath.Join(dir, "raw"))
			require.NoError(b, err)
			defer raw.Close()
			w := newWriter()
			event := make([]byte, 400)
			var ours, disk time.Duration
			for b.Loop() {
				batch := w.batch(0)
				var bytes []byte
				for i := range n {
					_, _ = rand.Read(event)
					r := w.record(fmt.Sprintf("case-%d", i%20), append([]byte(nil), event...), "shop")
					batch.Records = append(batch.Records, r)
					batch.Index = append(batch.Index, logWrite(r.Index))
					bytes = append(append(bytes, r.Entry...), r.Event...)
				}
				start := time.Now()
				_, err := tree.Append(b.Context(), batch)
				ours += time.Since(start)
				require.NoError(b, err)
				start = time.Now()
				_, err = raw.Write(bytes)
				require.NoError(b, err)
				require.NoError(b, log.SyncData(raw))
				disk += time.Since(start)
			}
			b.ReportMetric(float64(b.N*n)/ours.Seconds(), "events/s")
			b.ReportMetric(float64(b.N*n)/disk.Seconds(), "raw-events/s")
			b.ReportMetric(disk.Seconds()/ours.Seconds(), "ratio-to-raw")
		})
	}
}

func logWrite(index uint64) log.Write {
	return log.Write{Key: fmt.Sprintf("id/019a0000-0000-7000-8000-%012d", index), Value: []byte("12345678")}
}

// BenchmarkEntries measures a log of KNOWNGOOD_ENTRIES entries (10,000 when not
// set) as a whole: replay in order and by feed, and opening, with everything
// that opening checks. Metrics are for the whole; an op is one pass.
func BenchmarkEntries(b *testing.B) {
	n := 10_000
	if s := os.Getenv("KNOWNGOOD_ENTRIES"); s != "" {
		var err error
		n, err = strconv.Atoi(s)
		require.NoError(b, err)
	}
	dir := b.TempDir()
	big := badger.Options{MemTableSize: 64 << 20}
	l, err := badger.Open(filepath.Join(dir, "badger"), big)
	require.NoError(b, err)
	tree := openTree(b, l, dir)
	w := newWriter()
	event := make([]byte, 400)
	start := time.Now()
	for w.size < uint64(n) {
		batch := w.batch(0)
		for range min(1000, n-int(w.size)) {
			_, _ = rand.Read(event)
			r := w.record(fmt.Sprintf("case-%d", w.size/50), append([]byte(nil), event...), "shop")
			batch.Records = append(batch.Records, r)
			batch.Index = append(batch.Index, logWrite(r.Index))
		}
		_, err := tree.Append(b.Context(), batch)
		require.NoError(b, err)
	}
	b.Logf("%d entries appended in %v", n, time.Since(start))
	replay := func(r log.Range) func(*testing.B) {
		return func(b *testing.B) {
			read := 0
			for b.Loop() {
				for _, err := range l.Read(b.Context(), r) {
					require.NoError(b, err)
					read++
				}
			}
			b.ReportMetric(float64(read)/b.Elapsed().Seconds(), "entries/s")
		}
	}
	b.Run("replay", replay(log.Range{}))
	b.Run("replay feed", replay(log.Range{Feed: "shop"}))
	b.Run("replay one case", replay(log.Range{Stream: "case-7"}))
	require.NoError(b, tree.Close())
	require.NoError(b, l.Close())
	b.Run("open", func(b *testing.B) {
		var engine time.Duration
		for b.Loop() {
			start := time.Now()
			l, err := badger.Open(filepath.Join(dir, "badger"), big)
			require.NoError(b, err)
			engine += time.Since(start)
			tree := openTree(b, l, dir)
			c, _ := tree.Checkpoint()
			require.EqualValues(b, n, c.Size)
			b.StopTimer()
			require.NoError(b, tree.Close())
			require.NoError(b, l.Close())
			b.StartTimer()
		}
		b.ReportMetric(engine.Seconds()/float64(b.N), "engine-s")
		b.ReportMetric(b.Elapsed().Seconds()/float64(b.N), "open-s")
	})
}
