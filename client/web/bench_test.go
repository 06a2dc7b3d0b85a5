package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// grown is a case of so many entries: mostly readings and notes; every fifty-first a
// belief, every 101st a test, every 499th a part fitted. Invented.
func grown(t testing.TB, n int) *bay {
	t.Helper()
	b := newBay(t)
	part := func(i int) string { return fmt.Sprintf("part %d", i%40) }
	var list []*eventv1.Event
	for i := 1; i < n; i++ {
		e := &eventv1.Event{}
		switch {
		case i%499 == 0:
			e.Kind = &eventv1.Event_PartFitted{PartFitted: &eventv1.PartFitted{Component: part(i), Part: part(i), State: eventv1.PartState_PART_STATE_NEW, Why: eventv1.Why_WHY_GUESS}}
		case i%51 == 0:
			e.Kind = &eventv1.Event_Belief{Belief: &eventv1.Belief{Statement: part(i) + " is good", Basis: eventv1.Basis_BASIS_ASSUMED, Component: part(i)}}
		case i%101 == 0:
			e.Kind = &eventv1.Event_Test{Test: &eventv1.Test{What: "swapped it", Covers: []*eventv1.Covered{{Component: part(i)}}, Outcome: eventv1.Outcome_OUTCOME_FAIL}}
		case i%3 == 0:
			e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: fmt.Sprintf("note %d: customer asked when it is done", i)}}
		default:
			e.Kind = &eventv1.Event_Reading{Reading: &eventv1.Reading{Red: fmt.Sprintf("point %d", i%60), Black: "batt-", Value: &eventv1.Quantity{Digits: "12.1", Unit: "V"}}}
		}
		if list = append(list, e); len(list) == 500 {
			b.save(list...)
			list = nil
		}
	}
	b.save(list...)
	return b
}

// TestLongCases: the page of a case of 1,000 entries is under 150 kB, and of 10,000 not
// ten times as much; one more entry is sent alone.
func TestLongCases(t *testing.T) {
	for _, c := range []struct{ entries, most int }{{1000, 150_000}, {10_000, 200_000}} {
		b := grown(t, c.entries)
		path := "/case/" + b.stream
		began := time.Now()
		text := b.get(path)
		took := time.Since(began)
		require.Less(t, len(text), c.most, "%d entries", c.entries)
		t.Logf("a case of %d entries: page %d bytes in %v", c.entries, len(text), took)
		code, got := b.says("note one more")
		require.Equal(t, http.StatusOK, code, got)
		rows := b.get(fmt.Sprintf("%s/rows?after=%d", path, c.entries))
		require.Less(t, len(rows), 1000)
		require.Contains(t, rows, "one more")
		began = time.Now()
		b.get(path + "/replay")
		t.Logf("its replay: %v", time.Since(began))
	}
}

func (b *bay) measure(path string) {
	w := httptest.NewRecorder()
	b.ServeHTTP(w, b.request("GET", path, nil))
	require.Equal(b.t, http.StatusOK, w.Code)
	io.Copy(io.Discard, w.Body) //nolint:errcheck // from memory
}

// BenchmarkCasePage holds the page of a case, when it is first looked at, against its
// document: the page may cost at most 1.3 times as much. Looked at again it costs little.
func BenchmarkCasePage(bench *testing.B) {
	for _, n := range []int{1000, 8000} {
		b := grown(bench, n)
		b.measure("/case/" + b.stream)
		bench.Run(fmt.Sprintf("%d/page", n), func(bench *testing.B) {
			for bench.Loop() {
				b.stood = standing{}
				b.measure("/case/" + b.stream)
			}
		})
		bench.Run(fmt.Sprintf("%d/again", n), func(bench *testing.B) {
			for bench.Loop() {
				b.measure("/case/" + b.stream)
			}
		})
		table := suspect.Default()
		h := NewHome(b.home, b.home.Live(), &table, testKey)
		bench.Run(fmt.Sprintf("%d/document", n), func(bench *testing.B) {
			for bench.Loop() {
				require.NoError(bench, h.shelf.With(context.Background(), b.who, b.stream, func(c *client.Copy) error {
					brief.Brief(c.Case.Judge(&table), nil)
					return nil
				}))
			}
		})
	}
}

// BenchmarkOneMore is what an entry costs that comes while the page is open: it goes by
// the entry, not by the case.
func BenchmarkOneMore(bench *testing.B) {
	for _, n := range []int{100, 1000, 10_000} {
		b := grown(bench, n)
		b.measure("/case/" + b.stream + "/rows?after=1")
		bench.Run(fmt.Sprint(n), func(bench *testing.B) {
			for bench.Loop() {
				b.measure(fmt.Sprintf("/case/%s/rows?after=%d", b.stream, n-1))
			}
		})
	}
}
