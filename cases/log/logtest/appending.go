package logtest

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
)

func testEmpty(t *testing.T, r *rig) {
	require.Empty(t, read(t, r.log, log.Range{}))
	require.Empty(t, read(t, r.log, log.Range{From: 7, Limit: 3}))
	require.Empty(t, read(t, r.log, log.Range{Stream: "a"}))
	require.Empty(t, read(t, r.log, log.Range{Feed: "a"}))
	require.EqualValues(t, 0, next(t, r.log, log.Range{}))
	require.EqualValues(t, 1, next(t, r.log, log.Range{Stream: "a"}))
	require.EqualValues(t, 1, next(t, r.log, log.Range{Feed: "a"}))
	require.Nil(t, get(t, r.log, "a"))
	require.Empty(t, scan(t, r.log, ""))
	_, err := r.log.Next(t.Context(), log.Range{Stream: "a", Feed: "b"})
	require.Error(t, err)
}

func testAppendAndRead(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a", "f"), r.record("b", "f", "g"), r.record("a")}})
	r.append(t, log.Batch{Records: []log.Record{r.record("b", "g")}})
	require.Equal(t, []uint64{0, 1, 2, 3}, indexes(t, read(t, r.log, log.Range{})))
	require.Equal(t, []uint64{0, 2}, indexes(t, read(t, r.log, log.Range{Stream: "a"})))
	require.Equal(t, []uint64{1, 3}, indexes(t, read(t, r.log, log.Range{Stream: "b"})))
	require.Equal(t, []uint64{0, 1}, indexes(t, read(t, r.log, log.Range{Feed: "f"})))
	require.Equal(t, []uint64{1, 3}, indexes(t, read(t, r.log, log.Range{Feed: "g"})))
	require.EqualValues(t, 4, next(t, r.log, log.Range{}))
	require.EqualValues(t, 3, next(t, r.log, log.Range{Stream: "a"}))
	require.EqualValues(t, 3, next(t, r.log, log.Range{Feed: "g"}))
	for i, item := range read(t, r.log, log.Range{Feed: "g"}) {
		require.EqualValues(t, i+1, item.Position)
		require.Equal(t, "b", item.Stream)
		require.EqualValues(t, i+1, item.Seq)
	}
}

func testRanges(t *testing.T, r *rig) {
	const n = 700 // more than an engine is likely to read in one step
	var b log.Batch
	for i := range n {
		rec := r.record([]string{"a", "b", "c"}[i%3])
		if i%50 == 0 {
			rec.Feeds = []string{"sparse"}
		}
		b.Records = append(b.Records, rec)
	}
	r.append(t, b)
	require.Len(t, indexes(t, read(t, r.log, log.Range{})), n)
	for _, from := range []uint64{0, 1, 15, 16, 17, 255, 256, 272, n - 1, n, n + 1, 1 << 63} {
		for _, limit := range []int{0, 1, 16, 17, 300} {
			var want []uint64
			for i := from; i < n && (limit == 0 || i < from+uint64(limit)); i++ {
				want = append(want, i)
			}
			got := read(t, r.log, log.Range{From: from, Limit: limit})
			require.Equal(t, want, indexes(t, got), "from %d limit %d", from, limit)
			for _, item := range got {
				require.Equal(t, item.Index, item.Position)
			}
		}
	}
	require.Equal(t, []uint64{1, 4, 7}, indexes(t, read(t, r.log, log.Range{Stream: "b", Limit: 3})))
	require.Equal(t, []uint64{1, 4, 7}, indexes(t, read(t, r.log, log.Range{Stream: "b", From: 1, Limit: 3})))
	require.Equal(t, []uint64{4, 7}, indexes(t, read(t, r.log, log.Range{Stream: "b", From: 2, Limit: 2})))
	require.Equal(t, []uint64{550, 600, 650}, indexes(t, read(t, r.log, log.Range{Feed: "sparse", From: 12})))
	require.Empty(t, read(t, r.log, log.Range{Feed: "sparse", From: 15}))
	for item, err := range r.log.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		if item.Index == 20 {
			break // a reader may stop anywhere
		}
	}
	var failed error
	for _, failed = range r.log.Read(t.Context(), log.Range{Stream: "a", Feed: "sparse"}) {
	}
	require.Error(t, failed)
}

func testPlaces(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a"), r.record("a")}})
	at := func(index uint64, stream string, seq uint64, feeds ...string) log.Record {
		return log.Record{Index: index, Stream: stream, Seq: seq, Entry: []byte("e"), Event: []byte("v"), Feeds: feeds}
	}
	for name, b := range map[string]log.Batch{
		"index taken":           {Records: []log.Record{at(1, "a", 3)}},
		"index ahead":           {Records: []log.Record{at(3, "a", 3)}},
		"seq taken":             {Records: []log.Record{at(2, "a", 2)}},
		"seq ahead":             {Records: []log.Record{at(2, "a", 4)}},
		"seq 0":                 {Records: []log.Record{at(2, "b", 0)}},
		"new stream from 2":     {Records: []log.Record{at(2, "b", 2)}},
		"no stream":             {Records: []log.Record{at(2, "", 1)}},
		"no feed":               {Records: []log.Record{at(2, "b", 1, "")}},
		"feed twice":            {Records: []log.Record{at(2, "b", 1, "f", "f")}},
		"same index in batch":   {Records: []log.Record{at(2, "a", 3), at(2, "a", 4)}},
		"gap in batch":          {Records: []log.Record{at(2, "a", 3), at(4, "a", 4)}},
		"same seq in batch":     {Records: []log.Record{at(2, "a", 3), at(3, "a", 3)}},
		"seq gap in batch":      {Records: []log.Record{at(2, "b", 1), at(3, "b", 3)}},
		"erase ahead":           {Erase: []uint64{2}},
		"erase of its own":      {Records: []log.Record{at(2, "a", 3)}, Erase: []uint64{2}},
		"good one, then bad":    {Records: []log.Record{at(2, "a", 3), at(3, "a", 3)}},
		"bad one, index writes": {Records: []log.Record{at(9, "a", 3)}, Index: []log.Write{{Key: "k", Value: []byte("v")}}},
	} {
		require.ErrorIs(t, r.log.Append(t.Context(), b), log.ErrPlace, name)
		require.EqualValues(t, 2, next(t, r.log, log.Range{}), name)
		require.EqualValues(t, 3, next(t, r.log, log.Range{Stream: "a"}), name)
		require.EqualValues(t, 1, next(t, r.log, log.Range{Stream: "b"}), name)
		require.EqualValues(t, 1, next(t, r.log, log.Range{Feed: "f"}), name)
		require.Empty(t, scan(t, r.log, ""), name)
	}
	// A refusal is no reason to stop.
	r.append(t, log.Batch{Records: []log.Record{r.record("a")}})
	require.Equal(t, []uint64{0, 1, 2}, indexes(t, read(t, r.log, log.Range{})))
}

func testLimits(t *testing.T, r *rig) {
	key, value := strings.Repeat("k", log.MaxKey), bytes.Repeat([]byte("v"), log.MaxValue)
	rec := r.record(key, key)
	rec.Event, rec.Entry, rec.Tree = value, value, value[:log.MaxTree]
	r.append(t, log.Batch{Records: []log.Record{rec}, Index: []log.Write{{Key: key, Value: value}}})
	got := read(t, r.log, log.Range{Feed: key})
	require.Len(t, got, 1)
	require.Equal(t, value, got[0].Event)
	require.Equal(t, value, got[0].Entry)
	require.Equal(t, value[:log.MaxTree], got[0].Tree)
	require.Equal(t, value, get(t, r.log, key))
	big := append(value, 'v')
	for name, b := range map[string]log.Batch{
		"stream": {Records: []log.Record{{Index: 1, Stream: key + "k", Seq: 1}}},
		"feed":   {Records: []log.Record{{Index: 1, Stream: "s", Seq: 1, Feeds: []string{key + "k"}}}},
		"entry":  {Records: []log.Record{{Index: 1, Stream: "s", Seq: 1, Entry: big}}},
		"event":  {Records: []log.Record{{Index: 1, Stream: "s", Seq: 1, Event: big}}},
		"tree":   {Records: []log.Record{{Index: 1, Stream: "s", Seq: 1, Tree: big[:log.MaxTree+1]}}},
		"key":    {Index: []log.Write{{Key: key + "k", Value: []byte("v")}}},
		"value":  {Index: []log.Write{{Key: "k", Value: big}}},
	} {
		require.ErrorIs(t, r.log.Append(t.Context(), b), log.ErrTooBig, name)
	}
	// What lies between: an engine takes all of it or says that it is too big.
	var b log.Batch
	for range 30_000 {
		b.Records = append(b.Records, r.record("s", "f"))
	}
	if err := r.log.Append(t.Context(), b); err != nil {
		require.ErrorIs(t, err, log.ErrTooBig)
		require.EqualValues(t, 1, next(t, r.log, log.Range{}))
		require.EqualValues(t, 1, next(t, r.log, log.Range{Stream: "s"}))
		b.Records = b.Records[:500]
		r.append(t, b)
	}
	require.Len(t, read(t, r.log, log.Range{Feed: "f"}), len(b.Records))
}

func testFeeds(t *testing.T, r *rig) {
	// A feed's numbers run on across batches and within one.
	for range 20 {
		r.append(t, log.Batch{Records: []log.Record{r.record("a", "f"), r.record("b", "g", "f"), r.record("c")}})
	}
	require.EqualValues(t, 41, next(t, r.log, log.Range{Feed: "f"}))
	require.EqualValues(t, 21, next(t, r.log, log.Range{Feed: "g"}))
	for i, item := range read(t, r.log, log.Range{Feed: "f"}) {
		require.EqualValues(t, i+1, item.Position)
		require.EqualValues(t, i/2*3+i%2, item.Index)
	}
}

func testBytesAreCopied(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a")}})
	rec := r.record("a")
	w := log.Write{Key: "k", Value: []byte("value")}
	r.append(t, log.Batch{Records: []log.Record{rec}, Index: []log.Write{w}})
	for _, b := range [][]byte{rec.Entry, rec.Event, rec.Tree, w.Value} {
		clear(b)
	}
	require.Equal(t, []uint64{0, 1}, indexes(t, read(t, r.log, log.Range{})))
	require.Equal(t, "value", string(get(t, r.log, "k")))
}

func testErase(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a", "f"), r.record("a", "f"), r.record("b", "f")}})
	r.append(t, log.Batch{Records: []log.Record{r.record("a")}, Erase: []uint64{1, 1}})
	r.append(t, log.Batch{Erase: []uint64{1}}) // again changes nothing
	bare := r.record("b", "f")
	bare.Event = nil // erased before it came here
	r.append(t, log.Batch{Records: []log.Record{bare}})
	check := func() {
		for _, rg := range []log.Range{{}, {Stream: "a"}, {Feed: "f"}} {
			items := read(t, r.log, rg)
			indexes(t, items)
			for _, item := range items {
				require.Equal(t, item.Index == 1 || item.Index == 4, item.Event == nil, "index %d", item.Index)
			}
		}
	}
	check()
	if r.Keeps {
		r.reopen(t)
		check()
		r.append(t, log.Batch{Records: []log.Record{r.record("a")}})
		r.reopen(t)
		check()
	}
}
