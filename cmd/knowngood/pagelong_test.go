package main

import (
	"fmt"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestLongCaseInABrowser: a case of 10,000 entries, invented, opens, takes another entry,
// goes back to older ones and is replayed; while it is drawn and after.
func TestLongCaseInABrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("how pages look and print is no matter of races: without -short it is tried")
	}
	b := newBrowser(t)
	dir := t.TempDir()
	h := client.Open(dir, dir+"/settings")
	t.Cleanup(func() { require.NoError(t, h.Close()) })
	who, err := h.Writer(true)
	require.NoError(t, err)
	stream := h.NewID()
	list := []*eventv1.Event{opens(&member{who: who}, stream)}
	for i := 2; i <= 10_000; i++ {
		e := note(stream, fmt.Sprintf("note %d: the customer asked when it is done", i))
		switch {
		case i%499 == 0:
			e.Kind = &eventv1.Event_PartFitted{PartFitted: &eventv1.PartFitted{Component: fmt.Sprintf("part %d", i%40), State: eventv1.PartState_PART_STATE_NEW, Why: eventv1.Why_WHY_GUESS}}
		case i%3 != 0:
			e.Kind = &eventv1.Event_Reading{Reading: &eventv1.Reading{Red: fmt.Sprintf("point %d", i%60), Black: "batt-", Value: &eventv1.Quantity{Digits: "12.1", Unit: "V"}}}
		}
		if list = append(list, e); len(list) == 500 || i == 10_000 {
			_, err := h.Save(who, client.Stamp{At: time.Now()}, list...)
			require.NoError(t, err)
			list = nil
		}
	}
	page := webOf(t, h)
	tb := b.tab(360)
	started := time.Now()
	// step says how far it came and how the page stood, for who reads that it failed.
	step := func(what string) {
		t.Helper()
		t.Logf("%v: %s; state %q, heard %q, head %s", time.Since(started).Round(time.Millisecond), what,
			ask[string](tb, `document.querySelector("#state")?.textContent || ""`), ask[string](tb, `document.querySelector("#heard")?.textContent || ""`), ask[string](tb, `document.querySelector("#rows")?.dataset.head || "none"`))
	}
	began := time.Now()
	tb.open(page.link)
	tb.until(`document.querySelector(".cases a")`)
	board := time.Since(began)
	step("board")
	began = time.Now()
	tb.open(at(page.link, "/case/"+stream))
	tb.until(`document.querySelector("#e10000")`)
	opened := time.Since(began)
	step("case")
	tb.until(`performance.getEntriesByType("resource").some((e) => e.name.endsWith("/assets/page.js"))`)
	began = time.Now()
	tb.typeIn("#line", "note the one more")
	tb.press(kb.Enter)
	tb.until(`document.querySelector("#e10001")?.textContent.includes("the one more")`)
	written := time.Since(began)
	step("one more entry")

	// The rows cannot be had for a moment: they are asked for again, though nothing else comes.
	ask[bool](tb, `(() => { const real = window.fetch; window.fetch = (path, o) => String(path).includes("/rows") ? Promise.reject(new TypeError("cut")) : real(path, o); window.mended = () => { window.fetch = real; return true }; return true })()`)
	tb.typeIn("#line", "note written while it was cut")
	tb.press(kb.Enter)
	tb.until(`document.querySelector("#heard").textContent.includes("written while it was cut") && document.querySelector("#state").textContent.includes("10002")`)
	step("written while it was cut")
	time.Sleep(500 * time.Millisecond) // whatever comes with the news has come
	ask[bool](tb, `window.mended()`)
	tb.until(`document.querySelector("#e10002")?.textContent.includes("written while it was cut")`)
	step("mended")
	before := ask[int](tb, `document.querySelectorAll("#rows > li[id]").length`)
	ask[bool](tb, `document.querySelector("a[data-before]").click(), true`)
	tb.until(fmt.Sprintf(`document.querySelectorAll("#rows > li[id]").length > %d`, before+20))
	step("older entries")
	began = time.Now()
	tb.open(at(page.link, "/case/"+stream+"/replay?at=5000"))
	require.Contains(t, tb.text(), "Entry 5000 of 10002")
	t.Logf("10,000 entries: board %v, case %v, one more entry %v, replay %v", board.Round(time.Millisecond), opened.Round(time.Millisecond), written.Round(time.Millisecond), time.Since(began).Round(time.Millisecond))
	require.Less(t, opened, 20*time.Second)
}
