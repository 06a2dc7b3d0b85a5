package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"knowngood.example/client"
)

// typeIn types into a field that has the focus already.
func (t *tab) typeIn(selector, text string) {
	t.t.Helper()
	t.do(chromedp.SendKeys(chromedp.CSS(selector), text))
}

// TestTwoShopsLive: what one shop writes appears at the other, in the browser that is open
// there: without a reload, where its reader was, with what they had half typed.
func TestTwoShopsLive(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19) // taken up by Ines
	mara, ines := st.page(t, "Mara"), st.page(t, "Ines")
	bay, yard := b.tab(360), b.tab(1280)
	bay.open(mara)
	bay.open(at(mara, "/case/"+st.current))
	yard.open(ines)
	yard.open(at(ines, "/case/"+st.current))
	for _, tb := range []*tab{bay, yard} {
		tb.until(`performance.getEntriesByType("resource").some((e) => e.name.endsWith("/assets/page.js"))`)
	}
	head := ask[float64](bay, `Number(document.querySelector("#rows").dataset.head)`)

	// In the bay somebody has scrolled and half typed something.
	ask[bool](bay, `window.notReloaded = true, document.querySelector("#rows > li:nth-child(6)").scrollIntoView(), true`)
	bay.typeIn("#line", "12.1 V at fan.C1")
	mark := ask[string](bay, `[...document.querySelectorAll("#rows > li")].find((e) => e.getBoundingClientRect().top > 0).id`)
	before := ask[float64](bay, `document.getElementById("`+mark+`").getBoundingClientRect().top`)

	yard.typeIn("#line", "saw green corrosion in splice S4, looks bad")
	yard.until(`document.querySelector("#heard").textContent.includes("Understood: ")`)
	began := time.Now()
	yard.press(kb.Enter)
	yard.until(`document.querySelector("#heard").textContent.includes("Written down as #") || document.querySelector("#heard").textContent.includes("Saved")`)
	bay.until(fmt.Sprintf(`document.querySelector("#e%.0f")?.textContent.includes("green corrosion in splice S4")`, head+1))
	t.Logf("it was at the other shop after %v", time.Since(began).Round(time.Millisecond))
	bay.until(`document.querySelector("#stands").textContent.includes("green corrosion")`)
	require.True(t, ask[bool](bay, `window.notReloaded`))
	require.Equal(t, "12.1 V at fan.C1", ask[string](bay, `document.querySelector("#line").value`))
	require.Equal(t, "line", ask[string](bay, `document.activeElement.id`))
	after := ask[float64](bay, `document.getElementById("`+mark+`").getBoundingClientRect().top`)
	require.InDelta(t, before, after, 2, "what somebody reads stays where it is")
	yard.until(`document.querySelector("#line").value === ""`)
	// What waited for a moment has its number from the server by now, and is not marked any more.
	yard.until(`![...document.querySelectorAll("#rows .tag")].some((e) => e.textContent === "waiting to send")`)

	// And the other way, by a form.
	ask[bool](bay, `document.querySelector("#f-note").open = true`)
	bay.typeIn("#f-note input[name=text]", "customer needs it on Friday")
	bay.press(kb.Enter)
	yard.until(fmt.Sprintf(`document.querySelector("#e%.0f")?.textContent.includes("needs it on Friday")`, head+2))
	require.Equal(t, 1, ask[int](yard, `[...document.querySelectorAll("#rows > li")].filter((e) => e.textContent.includes("needs it on Friday")).length`))
}

// TestPageWithoutItsServer: nobody answers the page. It says so, keeps what is typed, and
// says it in order once somebody does, each once; what is refused then comes back to
// whoever typed it, with why.
func TestPageWithoutItsServer(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link, road := over(t, st.page(t, "Ines"))
	tb := b.tab(360)
	tb.open(link)
	tb.open(at(link, "/case/"+st.current))
	tb.until(`document.querySelector("#state").textContent === ""`)
	road.set(false, 0)
	for _, line := range []string{"12.4 V at fan.C1-2 to batt-, key on", "gobbledegook that nobody understands", "note written behind it"} {
		tb.typeIn("#line", line)
		tb.press(kb.Enter)
		tb.until(`document.querySelector("#line").value === ""`)
	}
	tb.until(`document.querySelector("#state").textContent.includes("Waiting to send: 3")`)
	tb.until(`document.querySelector("#state").textContent.includes("does not answer")`)
	require.Equal(t, 3, ask[int](tb, `document.querySelectorAll("#waits > li").length`))
	tb.shot("away-360-light")
	tb.typeIn("#line", "half a thought")
	road.set(true, 0)
	tb.until(`document.querySelector("#rows").textContent.includes("written behind it") && document.querySelectorAll("#waits > li").length === 1`)
	require.Contains(t, ask[string](tb, `document.querySelector("#waits").textContent`), "gobbledegook")
	require.Contains(t, ask[string](tb, `document.querySelector("#waits").textContent`), "Not taken")
	require.Equal(t, "half a thought", ask[string](tb, `document.querySelector("#line").value`))
	tb.shot("back-360-light")
	require.Equal(t, []string{"12.4 V, red fan.C1-2, black batt-; key on", "written behind it"}, ask[[]string](tb, `[...document.querySelectorAll("#rows > li.came .says")].map((e) => e.textContent).reverse()`))

	// It survives that the page is closed and opened again.
	tb.open(at(link, "/case/"+st.current))
	tb.until(`document.querySelector("#waits").textContent.includes("gobbledegook")`)
	require.Equal(t, "half a thought", ask[string](tb, `document.querySelector("#line").value`))
}

// TestTypingOn: the answer to a line comes late, and meanwhile the next one is typed and
// sent. Nothing of either is lost, and they are kept in their order; a first one that is
// refused does not put itself in the place of what is typed.
func TestTypingOn(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link := st.page(t, "Ines")
	tb := b.tab(360)
	tb.open(link)
	tb.open(at(link, "/case/"+st.current))
	tb.until(`document.querySelector("#state").textContent === ""`)
	ask[bool](tb, `(() => { const real = window.fetch; window.late = []; window.fetch = (path, o) => String(path).endsWith("/say") ? new Promise((go) => window.late.push(() => go(real(path, o)))) : real(path, o); return true })()`)
	answer := func() {
		t.Helper()
		tb.until(`window.late.length > 0`)
		ask[bool](tb, `window.late.shift()(), true`)
	}
	for _, line := range []string{"note the first", "note the second"} {
		tb.typeIn("#line", line)
		tb.press(kb.Enter)
		tb.until(`document.querySelector("#line").value === ""`)
	}
	tb.typeIn("#line", "note the th")
	answer()
	answer()
	tb.until(`JSON.stringify([...document.querySelectorAll("#rows > li.came .says")].map((e) => e.textContent)) === '["the second","the first"]'`)
	require.Equal(t, "note the th", ask[string](tb, `document.querySelector("#line").value`))
	tb.typeIn("#line", "ird, wrong leads: 12 V at")
	ask[bool](tb, `document.querySelector("#line").value = "gobbledegook", true`)
	tb.press(kb.Enter)
	tb.typeIn("#line", "note meanwhile")
	answer()
	tb.until(`document.querySelector("#waits").textContent.includes("gobbledegook")`)
	require.Equal(t, "note meanwhile", ask[string](tb, `document.querySelector("#line").value`))
	require.Contains(t, ask[string](tb, `document.querySelector("#state").textContent`), "Not taken: 1")
}

// TestHomeWithoutItsServer: the page's machine has no signal. What is written down is
// saved there, is shown as waiting, and goes by itself.
func TestHomeWithoutItsServer(t *testing.T) {
	b := newBrowser(t)
	s := serveShops(t, "", "Tin Kettle Garage")
	m := joins(t, s, s.shops[0].Code, "Mara")
	stream := m.NewID()
	m.save(t, opens(m, stream))
	require.NoError(t, m.sync(t.Context(), 5*time.Second))
	page := webOf(t, m.Home)
	tb := b.tab(360)
	tb.open(page.link)
	tb.open(at(page.link, "/case/"+stream))
	tb.until(`document.querySelector("#state").textContent === ""`)
	m.road.set(false, 0)
	for i := range 3 {
		tb.typeIn("#line", fmt.Sprintf("note in the yard %d", i))
		tb.press(kb.Enter)
		tb.until(fmt.Sprintf(`document.querySelector("#rows").textContent.includes("in the yard %d")`, i))
	}
	tb.until(`document.querySelector("#state").textContent.includes("Waiting to send: 3")`)
	tb.until(`document.querySelector("#state").textContent.includes("No answer from the shop's server")`)
	tb.shot("no-signal-360-light")
	require.Len(t, told(t, m.elsewhere(t, s), stream), 1)
	m.road.set(true, 0)
	tb.until(`document.querySelector("#state").textContent === ""`)
	tb.until(`![...document.querySelectorAll("#rows .tag")].some((e) => e.textContent === "waiting to send")`)
	require.Len(t, told(t, m.elsewhere(t, s), stream), 4)
}

// elsewhere is the same member over a road that is open.
func (m *member) elsewhere(t testing.TB, s *shopServer) *member {
	t.Helper()
	other := *m.who
	other.Server, other.Others = s.address, nil
	dir := t.TempDir()
	b, err := json.Marshal(&other)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "identity.json"), b, 0o600))
	h := client.Open(dir, filepath.Join(dir, "settings"))
	t.Cleanup(func() { require.NoError(t, h.Close()) })
	return &member{Home: h, who: &other, dir: dir}
}

// TestReplayByKeyboard: the slider is moved with the arrow keys, and what was known and
// what was done next follow it.
func TestReplayByKeyboard(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 0)
	link := st.page(t, "Mara")
	tb := b.tab(1280)
	tb.open(link)
	tb.open(at(link, "/case/"+st.current+"/replay?at=26"))
	require.Contains(t, tb.text(), "Entry 26 of 42")
	ask[bool](tb, `document.querySelector("#at").focus(), true`)
	tb.press(kb.ArrowRight)
	tb.until(`document.querySelector("#moment [data-at='27']")`)
	moment := ask[string](tb, `document.querySelector("#moment").innerText`)
	require.Contains(t, moment, "10.6 V drop")
	require.Contains(t, moment, "jumper from fan.C1-1 to batt-", "what was done next")
	require.Contains(t, moment, "splice S4")
	tb.press(kb.Home)
	tb.until(`document.querySelector("#moment [data-at='1']")`)
	require.Contains(t, ask[string](tb, `document.querySelector(".steps").innerText`), "One back")
	tb.press(kb.End)
	tb.until(`document.querySelector("#moment [data-at='42']")`)
	require.Contains(t, ask[string](tb, `document.querySelector("#moment").innerText`), "this is the last entry")
	require.Contains(t, ask[string](tb, `document.querySelector(".fits").innerText`), "fan motor fitted: no evidence, 240.00 EUR")
}

// TestByKeyboardAlone: from the link to an entry written down, with Tab, Enter and letters.
func TestByKeyboardAlone(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link := st.page(t, "Ines")
	tb := b.tab(1280)
	tb.open(link)
	reach := func(what string) {
		t.Helper()
		for range 200 {
			tb.press(kb.Tab)
			if ask[bool](tb, "document.activeElement.matches("+what+")") {
				require.NotEqual(t, "none", ask[string](tb, "getComputedStyle(document.activeElement).outlineStyle"), "where the keyboard is can be seen")
				return
			}
		}
		t.Fatalf("Tab never came to %s", what)
	}
	reach("`.cases a`")
	tb.press(kb.Enter)
	tb.until(`document.body?.dataset.here === "case"`)
	reach("`#f-reading > summary`")
	tb.press(kb.Enter)
	reach("`#f-reading [name=value]`")
	tb.press("12.2")
	reach("`#f-reading [name=red]`")
	tb.press("fan.C1-2")
	reach("`#f-reading [name=black]`")
	tb.press("batt-")
	tb.until(`document.querySelector("#f-reading .told").textContent.includes("Understood: 12.2 V")`)
	reach("`#f-reading button`")
	tb.press(kb.Enter)
	tb.until(`document.querySelector("#heard").textContent.includes("12.2 V")`)
	tb.until(`document.querySelector("#rows").textContent.includes("12.2 V, red fan.C1-2, black batt-")`)
}

// TestHostileTextInABrowser: nothing that was recorded runs, in any page.
func TestHostileTextInABrowser(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link := st.page(t, "Ines")
	for _, line := range []string{
		`note <script>window.ran=1</script><img src=x onerror="window.ran=2">`,
		`fit new "<svg onload=window.ran=3>" in, guess`,
		`12.1 V at "<img src=x onerror=window.ran=4>" to batt-, key on`,
		`they say </title><iframe srcdoc="<script>parent.ran=5</script>"></iframe> is good`,
	} {
		_, err := st.as(t.Context(), "Ines", "say", line, "--case", st.current[len(st.current)-6:])
		require.NoError(t, err)
	}
	pages := st.lookedAt(t)
	tb := b.tab(360)
	tb.open(link)
	for name, path := range pages {
		tb.open(at(link, strings.ReplaceAll(path, "at=27", "at=3")))
		require.False(t, ask[bool](tb, "'ran' in window"), name)
		require.Zero(t, ask[int](tb, `document.querySelectorAll("main img:not(.photo img), main iframe, main script, main svg[onload]").length`), name)
	}
	tb.open(at(link, "/case/"+st.current))
	require.Contains(t, tb.text(), "<script>window.ran=1</script>")
}
