package logtest

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
)

func testIndex(t *testing.T, r *rig) {
	set := func(key, value string) log.Write { return log.Write{Key: key, Value: []byte(value)} }
	r.append(t, log.Batch{Index: []log.Write{set("a", "1"), set("b", "2"), set("", "no name"), {Key: "empty", Value: []byte{}}}})
	require.Equal(t, "1", string(get(t, r.log, "a")))
	require.Equal(t, "no name", string(get(t, r.log, "")))
	require.NotNil(t, get(t, r.log, "empty"))
	require.Empty(t, get(t, r.log, "empty"))
	require.Nil(t, get(t, r.log, "c"))
	r.append(t, log.Batch{Index: []log.Write{set("a", "3"), {Key: "b"}, {Key: "never there"}}})
	require.Equal(t, "3", string(get(t, r.log, "a")))
	require.Nil(t, get(t, r.log, "b"))
	// Of two writes to one key the later stands.
	r.append(t, log.Batch{Index: []log.Write{set("a", "4"), set("a", "5"), set("c", "6"), {Key: "c"}, {Key: "d"}, set("d", "7")}})
	require.Equal(t, "5", string(get(t, r.log, "a")))
	require.Nil(t, get(t, r.log, "c"))
	require.Equal(t, "7", string(get(t, r.log, "d")))
	if r.Keeps {
		r.reopen(t)
		require.Equal(t, "5", string(get(t, r.log, "a")))
		require.Nil(t, get(t, r.log, "b"))
	}
}

func testScan(t *testing.T, r *rig) {
	var b log.Batch
	for i := range 600 {
		b.Index = append(b.Index, log.Write{Key: fmt.Sprintf("n/%03d", i), Value: []byte{byte(i)}})
	}
	b.Index = append(b.Index, log.Write{Key: "n"}, log.Write{Key: "n0", Value: []byte("x")}, log.Write{Key: "m\xff", Value: []byte("y")})
	r.append(t, b)
	r.append(t, log.Batch{Index: []log.Write{{Key: "n/017"}}})
	got := scan(t, r.log, "n/")
	require.Len(t, got, 599)
	require.True(t, slices.IsSortedFunc(got, func(a, b log.Write) int { return compare(a.Key, b.Key) }))
	require.Len(t, scan(t, r.log, "n"), 600)
	require.Len(t, scan(t, r.log, ""), 601)
	require.Len(t, scan(t, r.log, "n/0"), 99)
	require.Empty(t, scan(t, r.log, "o"))
	for w, err := range r.log.Scan(t.Context(), "") {
		require.NoError(t, err)
		require.Equal(t, "m\xff", w.Key)
		break
	}
}

func compare(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// testAtomic: records, their feeds and index writes appear together.
func testAtomic(t *testing.T, r *rig) {
	const batches, per = 60, 4
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var readers sync.WaitGroup
	failed := make(chan error, 4)
	for range 2 {
		readers.Go(func() {
			for ctx.Err() == nil {
				// What the index says was committed first must be there when read after it.
				b, err := r.log.Get(ctx, "size")
				if err != nil {
					break
				}
				var said uint64
				if b != nil {
					said = binary.BigEndian.Uint64(b)
				}
				n, err := whole(ctx, r.log)
				if ctx.Err() != nil {
					break
				}
				if err != nil || n < said || n%per != 0 {
					failed <- errors.Join(err, fmt.Errorf("read %d records, the index said %d", n, said))
					return
				}
			}
		})
	}
	for range batches {
		var b log.Batch
		for range per {
			b.Records = append(b.Records, r.record("a", "f"))
		}
		b.Index = []log.Write{{Key: "size", Value: binary.BigEndian.AppendUint64(nil, r.size)}}
		r.append(t, b)
		require.EqualValues(t, r.size, binary.BigEndian.Uint64(get(t, r.log, "size")))
	}
	cancel()
	readers.Wait()
	select {
	case err := <-failed:
		require.NoError(t, err)
	default:
	}
}

// testHostileKeys: any bytes make a stream, a feed or an index key, and none is
// taken for the beginning of another.
func testHostileKeys(t *testing.T, r *rig) {
	names := []string{
		"a", "aa", "a\x00", "a\x00\x00", "\x00", "\x00\x00", "\xff", "\xff\xff", "a\xff", "a/", "a/1", "E", "V", "s", "i",
		"a\x00\x00\x00\x00\x00\x00\x00\x01", "a\x00\x00\x00\x00\x00\x00\x00\x02", "\x00\x01a", "!badger!", "!badger!txn", "\xc3\x28", "\u00e9", "e\u0301",
		string([]byte{0, 1, 'a', 0, 0, 0, 0, 0, 0, 0, 1}),
	}
	for i := range names {
		b := log.Batch{Index: []log.Write{{Key: names[i], Value: []byte(names[i])}}}
		for range i + 1 {
			b.Records = append(b.Records, r.record(names[i], names[i], names[(i+1)%len(names)]+"\x00feed"))
		}
		r.append(t, b)
	}
	check := func() {
		for i, name := range names {
			require.EqualValues(t, i+2, next(t, r.log, log.Range{Stream: name}), "%q", name)
			require.EqualValues(t, i+2, next(t, r.log, log.Range{Feed: name}), "%q", name)
			require.Equal(t, name, string(get(t, r.log, name)))
			for _, rg := range []log.Range{{Stream: name}, {Feed: name}} {
				items := read(t, r.log, rg)
				require.Len(t, indexes(t, items), i+1, "%q", name)
				for j, item := range items {
					require.Equal(t, name, item.Stream)
					require.EqualValues(t, j+1, item.Position)
				}
			}
			for _, w := range scan(t, r.log, name) {
				require.Contains(t, w.Key, name)
			}
		}
		require.Len(t, scan(t, r.log, ""), len(names))
		require.Len(t, scan(t, r.log, "\xff"), 2)
		require.Len(t, scan(t, r.log, "a\x00"), 4)
	}
	check()
	if r.Keeps {
		r.reopen(t)
		check()
	}
}

// testSnapshot: a read begun before an append does not show it.
func testSnapshot(t *testing.T, r *rig) {
	var b log.Batch
	for i := range 300 {
		b.Records = append(b.Records, r.record("a", "f"))
		b.Index = append(b.Index, log.Write{Key: fmt.Sprintf("k%03d", i), Value: []byte("v")})
	}
	r.append(t, b)
	for _, rg := range []log.Range{{}, {Stream: "a"}, {Feed: "f"}} {
		before, n := r.size, uint64(0)
		for _, err := range r.log.Read(t.Context(), rg) {
			require.NoError(t, err)
			if n == 0 {
				r.append(t, log.Batch{Records: []log.Record{r.record("a", "f")}})
			}
			n++
		}
		require.Equal(t, before, n)
	}
	n := 0
	for _, err := range r.log.Scan(t.Context(), "k") {
		require.NoError(t, err)
		if n == 0 {
			r.append(t, log.Batch{Index: []log.Write{{Key: "k999", Value: []byte("v")}, {Key: "k250"}}})
		}
		n++
	}
	require.Equal(t, 300, n)
}
