package log_test

import (
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

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
				require.NoError(b, unix.Fdatasync(int(raw.Fd())))
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
