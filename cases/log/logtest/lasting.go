package logtest

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/log"
)

func testReopen(t *testing.T, r *rig) {
	if !r.Keeps {
		t.Skip("this engine keeps nothing")
	}
	for i := range 5 {
		r.append(t, log.Batch{
			Records: []log.Record{r.record("a", "f"), r.record(fmt.Sprint("b", i), "f")},
			Index:   []log.Write{{Key: "last", Value: fmt.Append(nil, i)}},
		})
		r.reopen(t)
		require.EqualValues(t, r.size, next(t, r.log, log.Range{}))
		require.EqualValues(t, i+2, next(t, r.log, log.Range{Stream: "a"}))
		require.EqualValues(t, r.size+1, next(t, r.log, log.Range{Feed: "f"}))
		require.Len(t, indexes(t, read(t, r.log, log.Range{})), int(r.size))
		require.Equal(t, fmt.Sprint(i), string(get(t, r.log, "last")))
	}
}

// testFailed: after a commit that failed nobody knows; the engine takes nothing
// more, and opened again it holds the batch whole or not at all.
func testFailed(t *testing.T, r *rig) {
	if r.Fail == nil {
		t.Skip("this engine's commits cannot be made to fail")
	}
	for _, persisted := range []bool{false, true} {
		r.append(t, log.Batch{Records: []log.Record{r.record("a", "f")}})
		size := r.size
		lost := log.Batch{Records: []log.Record{r.record("a", "f"), r.record("b", "f")}, Index: []log.Write{{Key: "k", Value: []byte("v")}}}
		r.Fail(t, r.log, persisted)
		err := r.log.Append(t.Context(), lost)
		require.Error(t, err)
		require.True(t, log.Unknown(err), "%v", err)
		// What is unknown is not shown.
		require.EqualValues(t, size, next(t, r.log, log.Range{}))
		require.Len(t, read(t, r.log, log.Range{Feed: "f"}), int(size))
		require.Error(t, r.log.Append(t.Context(), lost))
		r.reopen(t)
		n := next(t, r.log, log.Range{})
		require.Len(t, indexes(t, read(t, r.log, log.Range{})), int(n))
		require.EqualValues(t, n+1, next(t, r.log, log.Range{Feed: "f"}))
		if persisted {
			require.Equal(t, size+2, n)
			require.NotNil(t, get(t, r.log, "k"))
			require.ErrorIs(t, r.log.Append(t.Context(), lost), log.ErrPlace)
		} else {
			require.Equal(t, size, n)
			require.Nil(t, get(t, r.log, "k"))
			r.append(t, lost)
			r.append(t, log.Batch{Index: []log.Write{{Key: "k"}}})
		}
	}
}

// testTail: readers that join at any moment, and leave and come back, see every
// record once and in order, while others append.
func testTail(t *testing.T, r *rig) {
	const total, per = 400, 2
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var readers sync.WaitGroup
	failed := make(chan error, 16)
	tail := func(rg log.Range, last uint64, breaks bool) {
		readers.Go(func() {
			for {
				for item, err := range log.Tail(ctx, r.log, rg) {
					if err == nil && item.Position != rg.From {
						err = fmt.Errorf("position %d, want %d", item.Position, rg.From)
					}
					if err != nil {
						failed <- err
						return
					}
					if item.Position == last {
						return
					}
					rg.From++
					if breaks && item.Position%7 == 0 {
						break
					}
				}
			}
		})
	}
	started := make(chan struct{})
	go func() {
		<-started
		for range total / per {
			if err := r.log.Append(ctx, log.Batch{Records: []log.Record{r.record("a", "f"), r.record("b", "f", "g")}}); err != nil {
				failed <- err
				return
			}
		}
	}()
	for i := range 3 {
		tail(log.Range{From: uint64(i)}, total-1, i == 1)
		tail(log.Range{Stream: "a", From: uint64(i + 1)}, total/per, i == 1)
		tail(log.Range{Feed: "f", From: uint64(i + 1)}, total, i == 1)
		tail(log.Range{Feed: "g", From: 1}, total/per, i == 2)
	}
	close(started)
	readers.Wait()
	select {
	case err := <-failed:
		require.NoError(t, err)
	default:
	}
}

func testTailEnds(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a"), r.record("a"), r.record("a")}})
	n := 0
	for _, err := range log.Tail(t.Context(), r.log, log.Range{Limit: 2}) {
		require.NoError(t, err)
		n++
	}
	require.Equal(t, 2, n)

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var errs []error
	for item, err := range log.Tail(ctx, r.log, log.Range{}) {
		if err != nil {
			errs = append(errs, err)
		} else if item.Index == 2 {
			cancel()
		}
	}
	require.Len(t, errs, 1)
	require.ErrorIs(t, errs[0], context.Canceled)

	ended := make(chan error)
	go func() {
		var last error
		for _, last = range log.Tail(t.Context(), r.log, log.Range{From: 3}) {
		}
		ended <- last
	}()
	require.NoError(t, r.log.Close())
	require.ErrorIs(t, <-ended, log.ErrClosed)
}

func testChanged(t *testing.T, r *rig) {
	before := r.log.Changed()
	select {
	case <-before:
		t.Fatal("nothing changed yet")
	default:
	}
	require.ErrorIs(t, r.log.Append(t.Context(), log.Batch{Erase: []uint64{9}}), log.ErrPlace)
	select {
	case <-before:
		t.Fatal("a refused batch changes nothing")
	default:
	}
	r.append(t, log.Batch{Index: []log.Write{{Key: "k", Value: []byte("v")}}})
	<-before
	after := r.log.Changed()
	select {
	case <-after:
		t.Fatal("one channel for one change")
	default:
	}
	require.NoError(t, r.log.Close())
	<-after
	<-r.log.Changed()
}

func testContext(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a"), r.record("a")}, Index: []log.Write{{Key: "k", Value: []byte("v")}}})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	err := r.log.Append(ctx, log.Batch{Records: []log.Record{r.record("a")}})
	require.ErrorIs(t, err, context.Canceled)
	require.False(t, log.Unknown(err))
	require.EqualValues(t, 2, next(t, r.log, log.Range{}))
	_, err = r.log.Get(ctx, "k")
	require.ErrorIs(t, err, context.Canceled)
	_, err = r.log.Next(ctx, log.Range{})
	require.ErrorIs(t, err, context.Canceled)
	_, err = whole(ctx, r.log)
	require.ErrorIs(t, err, context.Canceled)
	for _, err := range r.log.Scan(ctx, "") {
		require.ErrorIs(t, err, context.Canceled)
	}
	r.size, r.seqs["a"] = 2, 2
	r.append(t, log.Batch{Records: []log.Record{r.record("a")}})
}

func testClose(t *testing.T, r *rig) {
	r.append(t, log.Batch{Records: []log.Record{r.record("a"), r.record("a")}, Index: []log.Write{{Key: "k", Value: []byte("v")}, {Key: "l", Value: []byte("v")}}})
	// Closing within a loop over what is read ends the loop.
	var errs []error
	for _, err := range r.log.Read(t.Context(), log.Range{}) {
		errs = append(errs, err)
		require.NoError(t, r.log.Close())
	}
	require.LessOrEqual(t, len(errs), 2)
	require.NoError(t, r.log.Close())
	err := r.log.Append(t.Context(), log.Batch{Records: []log.Record{r.record("a")}})
	require.ErrorIs(t, err, log.ErrClosed)
	require.False(t, log.Unknown(err))
	_, err = r.log.Get(t.Context(), "k")
	require.ErrorIs(t, err, log.ErrClosed)
	_, err = r.log.Next(t.Context(), log.Range{})
	require.ErrorIs(t, err, log.ErrClosed)
	_, err = whole(t.Context(), r.log)
	require.ErrorIs(t, err, log.ErrClosed)
	n := 0
	for _, err := range r.log.Scan(t.Context(), "") {
		require.ErrorIs(t, err, log.ErrClosed)
		n++
	}
	require.Equal(t, 1, n)
}

func testCloseBesideReaders(t *testing.T, r *rig) {
	var b log.Batch
	for i := range 1000 {
		b.Records = append(b.Records, r.record("a", "f"))
		b.Index = append(b.Index, log.Write{Key: fmt.Sprint(i), Value: []byte("v")})
	}
	r.append(t, b)
	var users sync.WaitGroup
	for i := range 4 {
		users.Go(func() {
			for {
				var err error
				switch i {
				case 0:
					_, err = whole(t.Context(), r.log)
				case 1:
					for _, err = range r.log.Scan(t.Context(), "") {
					}
				case 2:
					for _, err = range r.log.Read(t.Context(), log.Range{Feed: "f"}) {
					}
				case 3:
					err = r.log.Append(t.Context(), log.Batch{Index: []log.Write{{Key: "k", Value: []byte("v")}}})
				}
				if err != nil {
					if err.Error() != log.ErrClosed.Error() {
						t.Error(err)
					}
					return
				}
			}
		})
	}
	time.Sleep(20 * time.Millisecond) // let them get going; the test holds either way
	require.NoError(t, r.log.Close())
	users.Wait()
}

// testAnyHistory compares the engine with plain slices and maps over random
// histories of batches.
func testAnyHistory(t *testing.T, r *rig) {
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		r := &rig{Engine: r.Engine, dir: fmt.Sprintf("%s/%d", r.dir, n), seqs: make(map[string]uint64)}
		r.log = r.Open(t, r.dir)
		defer func() { require.NoError(t, r.log.Close()) }()
		names := rapid.SampledFrom([]string{"a", "b", "ab", "\x00", "b\x00"})
		var all []log.Record
		feeds, index := map[string][]uint64{}, map[string]string{}
		for range rapid.IntRange(1, 5).Draw(rt, "batches") {
			var b log.Batch
			held := len(all)
			for range rapid.IntRange(0, 5).Draw(rt, "records") {
				rec := r.record(names.Draw(rt, "stream"), rapid.SliceOfNDistinct(names, 0, 2, rapid.ID[string]).Draw(rt, "feeds")...)
				b.Records = append(b.Records, rec)
				for _, f := range rec.Feeds {
					feeds[f] = append(feeds[f], rec.Index)
				}
				all = append(all, rec)
			}
			for range rapid.IntRange(0, 4).Draw(rt, "writes") {
				w := log.Write{Key: names.Draw(rt, "key")}
				if delete(index, w.Key); rapid.Bool().Draw(rt, "set") {
					w.Value = []byte(rapid.String().Draw(rt, "value"))
					index[w.Key] = string(w.Value)
				}
				b.Index = append(b.Index, w)
			}
			if held > 0 && rapid.Bool().Draw(rt, "erase") {
				b.Erase = []uint64{uint64(rapid.IntRange(0, held-1).Draw(rt, "place"))}
				all[b.Erase[0]].Event = nil
			}
			require.NoError(rt, r.log.Append(t.Context(), b))
		}
		if r.Keeps && rapid.Bool().Draw(rt, "reopen") {
			r.reopen(t)
		}
		same := func(items []log.Item, places []uint64) {
			require.Len(rt, items, len(places))
			for i, item := range items {
				want := all[places[i]]
				want.Feeds = nil
				require.Equal(rt, want, item.Record)
			}
		}
		var places []uint64
		streams := map[string][]uint64{}
		for i, rec := range all {
			places = append(places, uint64(i))
			streams[rec.Stream] = append(streams[rec.Stream], uint64(i))
		}
		same(read(t, r.log, log.Range{}), places)
		for name, want := range streams {
			same(read(t, r.log, log.Range{Stream: name}), want)
		}
		for name, want := range feeds {
			same(read(t, r.log, log.Range{Feed: name}), want)
		}
		got := map[string]string{}
		for _, w := range scan(t, r.log, "") {
			got[w.Key] = string(w.Value)
		}
		require.Equal(rt, index, got)
	})
}
