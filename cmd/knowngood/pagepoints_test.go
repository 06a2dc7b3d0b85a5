package main

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// TestEveryPointByKeyboard: Tab goes through every point of a circuit's picture, from plus
// to minus, and Shift and Tab back; where it is can be seen, beside the line at the foot of
// the page; and Enter starts a reading right there.
func TestEveryPointByKeyboard(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 0)
	link := st.page(t, "Mara")
	for width, picture := range map[int64]string{360: ".picture.narrow", 1280: ".picture.wide"} {
		tb := b.tab(width)
		tb.at(link, "/case/"+st.current)
		points := ask[[]string](tb, `[...document.querySelectorAll("`+picture+` a")].map((a) => a.getAttribute("href"))`)
		require.Len(t, points, 12, "every point of the circuit that is drawn")
		ask[bool](tb, `window.at = () => [...document.querySelectorAll("`+picture+` a")].indexOf(document.activeElement), true`)
		seen := func(i int) {
			t.Helper()
			require.Equal(t, i, ask[int](tb, `at()`), "where Tab came at %d px", width)
			require.NotEqual(t, "none", ask[string](tb, `getComputedStyle(document.activeElement.querySelector(".touch")).stroke`), "where the keyboard is can be seen")
			require.Empty(t, ask[string](tb, `(() => { const r = document.activeElement.querySelector(".touch").getBoundingClientRect(), e = document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2);
				return document.activeElement.contains(e) ? "" : "under " + (e ? e.outerHTML.slice(0, 80) : "the edge of the screen") })()`), "point %d at %d px", i, width)
		}
		ask[bool](tb, `document.querySelector("`+picture+` a").focus(), true`)
		for i := range points {
			if i > 0 {
				tb.press(kb.Tab)
			}
			seen(i)
		}
		for i := len(points) - 2; i >= 0; i-- {
			tb.do(chromedp.KeyEvent(kb.Tab, chromedp.KeyModifiers(8))) // with Shift
			seen(i)
		}
		for i, href := range points {
			ask[bool](tb, fmt.Sprintf("document.querySelectorAll(`%s a`)[%d].focus(), true", picture, i))
			tb.press(kb.Enter)
			u, err := url.Parse(href)
			require.NoError(t, err)
			red := u.Query().Get("red")
			require.NotEmpty(t, red)
			require.Equal(t, []string{"value", red}, ask[[]string](tb, `[document.activeElement.name, document.querySelector("#f-reading [name=red]").value]`), "point %d at %d px", i, width)
		}
		tb.press("12.1")
		tb.until(`document.querySelector("#f-reading .told").textContent.includes("Understood: 12.1 V")`)
	}
}

// TestFileThatWaits: a file that no server has yet is marked so, where its entry is, until
// it is there; the entry itself is there long before.
func TestFileThatWaits(t *testing.T) {
	b := newBrowser(t)
	s := serveShops(t, "", "Tin Kettle Garage")
	m := joins(t, s, s.shops[0].Code, "Mara")
	stream := m.NewID()
	m.save(t, opens(m, stream))
	require.NoError(t, m.sync(t.Context(), 5*time.Second))
	page := webOf(t, m.Home)
	tb := b.tab(360)
	tb.at(page.link, "/case/"+stream)
	m.road.set(false, 0)
	tb.until(`document.querySelector("#state").textContent.includes("No answer")`)
	ask[bool](tb, `document.querySelector("#f-attach").open = true, true`)
	large := filepath.Join(t.TempDir(), "captured.bin")
	require.NoError(t, os.WriteFile(large, make([]byte, 4<<20), 0o600))
	tb.do(chromedp.SetUploadFiles(chromedp.CSS("#f-attach [type=file]"), []string{large}))
	ask[bool](tb, `document.querySelector("#f-attach form").requestSubmit(), true`)
	tb.until(`document.querySelector("#e2 [data-unsent]")?.textContent === "its file waits to be sent"`)
	tb.until(`document.querySelector("#state").textContent.includes("Files that wait to be sent: 1")`)
	tb.shot("file-waits-360-light")
	m.road.set(true, 1<<20)
	tb.until(`document.querySelector("#e2") && ![...document.querySelectorAll("#e2 .tag")].some((e) => e.textContent === "waiting to send")`)
	m.road.set(false, 0)
	tb.until(`document.querySelector("#state").textContent.includes("Files that wait to be sent: 1")`)
	require.NotContains(t, ask[string](tb, `document.querySelector("#state").textContent`), "Waiting to send")
	require.True(t, ask[bool](tb, `!!document.querySelector("#e2 [data-unsent]")`))
	m.road.set(true, 0)
	tb.until(`document.querySelector("#state").textContent === ""`)
	tb.until(`document.querySelector("#e2 .says a") && !document.querySelector("[data-unsent]")`)
	waiting, err := m.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Empty(t, waiting)
	require.Equal(t, http.StatusOK, ask[int](tb, `fetch(document.querySelector("#e2 .says a").href).then((r) => r.status)`))
}
