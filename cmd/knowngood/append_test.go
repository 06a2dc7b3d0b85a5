package main

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// straight is a home that joins without a road in between.
func straight(b testing.TB, s *shopServer, code, name string) *member {
	dir := b.TempDir()
	m := &member{Home: client.Open(dir, dir+"/settings"), dir: dir}
	b.Cleanup(func() { require.NoError(b, m.Close()) })
	var err error
	m.who, err = m.Join(b.Context(), through(s.address, code), name)
	require.NoError(b, err)
	return m
}

// BenchmarkSend sends what waits in a home until all of it is answered, settled in
// the outbox and the checkpoint of each answer proven and kept; and in turns with it
// appends as many events of another home straight to the same server, in requests of
// the same size over the same kind of connection, keeping nothing.
func BenchmarkSend(b *testing.B) {
	const pairs, waiting, each = 41, 1000, 100 // a request of 100 is what a home sends
	s := serveShops(b, b.TempDir(), "Tin Kettle Garage (invented)", "Lantern Lane Diagnostics (invented)")
	ours, theirs := straight(b, s, s.shops[0].Code, "Mara"), straight(b, s, s.shops[1].Code, "Ines")
	_, sends, err := ours.Connect()
	require.NoError(b, err)
	defer sends.Close()
	_, appends, err := theirs.Connect()
	require.NoError(b, err)
	defer appends.Close()
	cases := map[*member]string{ours: ours.NewID(), theirs: theirs.NewID()}
	for m, stream := range cases {
		m.save(b, opens(m, stream))
	}
	settle := func() {
		_, err := theirs.Push(b.Context(), theirs.who, appends)
		require.NoError(b, err)
	}
	settle()
	_, err = ours.Push(b.Context(), ours.who, sends)
	require.NoError(b, err)
	for range b.N {
		var pushed, appended, ratios []float64
		for n := range pairs {
			for m, stream := range cases {
				var texts []string
				for i := range waiting {
					texts = append(texts, fmt.Sprintf("as it was in the yard, line %d of %d", i, n))
				}
				m.save(b, notesOf(stream, texts)...)
			}
			send := func() float64 {
				began := time.Now()
				sent, err := ours.Push(b.Context(), ours.who, sends)
				took := time.Since(began)
				require.NoError(b, err)
				require.Len(b, sent.Taken, waiting)
				require.Zero(b, sent.Waiting)
				return took.Seconds()
			}
			straightOn := func() float64 {
				var events []*eventv1.Signed
				for e, err := range theirs.Waiting(b.Context()) {
					require.NoError(b, err)
					events = append(events, e)
				}
				require.Len(b, events, waiting)
				began := time.Now()
				for batch := range slices.Chunk(events, each) {
					r, err := appends.Append(b.Context(), &boardv1.AppendRequest{Events: batch})
					require.NoError(b, err)
					for _, r := range r.GetResults() {
						require.NotZero(b, r.GetSeq())
					}
				}
				took := time.Since(began)
				settle()
				return took.Seconds()
			}
			var full, bare float64
			if n%2 == 0 {
				full, bare = send(), straightOn()
			} else {
				bare, full = straightOn(), send()
			}
			pushed, appended, ratios = append(pushed, waiting/full), append(appended, waiting/bare), append(ratios, full/bare)
		}
		b.ReportMetric(median(pushed), "sent/s")
		b.ReportMetric(median(appended), "appended/s")
		b.ReportMetric(median(ratios), "of-append")
		b.ReportMetric(0, "ns/op")
	}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}
