package main

import (
	"image"
	"image/color"
	"image/png"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// reach presses Tab until the focus is on what a selector names, and sees that one can
// see where it is.
func (t *tab) reach(selector string) {
	t.t.Helper()
	for range 250 {
		t.press(kb.Tab)
		if ask[bool](t, "document.activeElement.matches(`"+selector+"`)") {
			require.NotEqual(t.t, "none", ask[string](t, "getComputedStyle(document.activeElement).outlineStyle"), "where the keyboard is can be seen")
			return
		}
	}
	t.t.Fatalf("Tab never came to %s", selector)
}

// at is a tab at a case of the stage, with its page loaded.
func (t *tab) at(link, path string) {
	t.t.Helper()
	t.open(link)
	t.open(at(link, path))
	t.until(`document.querySelector("#state").textContent === ""`)
}

// TestDrawnByKeyboard: a circuit is drawn with the keyboard alone: the picture comes while
// it is typed, what is no drawing yet is told with its place and remedy and leaves the last
// picture where it was, and what is written down is in the case. Then it is drawn anew.
func TestDrawnByKeyboard(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link := st.page(t, "Ines")
	tb := b.tab(1280)
	tb.at(link, "/case/"+st.current)
	tb.reach(`a[href$="/draw"]`)
	tb.press(kb.Enter)
	tb.until(`document.body?.dataset.here === "draw" && document.querySelector("[data-noscript]")?.hidden`)
	tb.reach("#path")
	tb.press("batt+ > fuse F9 15A > horn")
	tb.until(`document.querySelector("[data-picture] svg")?.textContent.includes("horn")`)
	tb.until(`document.querySelector("#told").textContent.includes("Understood: ")`)
	tb.press(" > fuse F9 20A")
	tb.until(`document.querySelector("#told .problems mark")`)
	require.Contains(t, ask[string](tb, `document.querySelector("#told").textContent`), "column")
	require.NotEmpty(t, ask[string](tb, `document.querySelector("#told .remedy").textContent`))
	require.True(t, ask[bool](tb, `!document.querySelector(".stale").hidden && !!document.querySelector("[data-picture] svg")`))
	tb.shot("draw-wrong-1280-light")
	for range len(" > fuse F9 20A") {
		tb.press(kb.Backspace)
	}
	tb.press(" > gnd G101", kb.Enter, "batt+ > fuse F9 > lamp 21W > gnd G101")
	tb.until(`document.querySelector("[data-picture] svg")?.textContent.includes("lamp") && document.querySelector(".stale").hidden`)
	tb.reach("[data-insert]")
	tb.shot("draw-typed-1280-light")
	tb.reach("[name=basis]")
	tb.press("t")
	require.Equal(t, "traced", ask[string](tb, `document.querySelector("[name=basis]").value`))
	tb.reach("[name=name]")
	tb.press("horn")
	tb.reach("form.draw button:not([type=button])")
	tb.press(kb.Enter)
	tb.until(`document.body?.dataset.here === "case" && document.querySelector("#circuit")?.parentElement.textContent.includes("Correct drawing #")`)
	seq := ask[string](tb, `document.querySelector("a[href*='instead=']:last-of-type").search.split("=")[1]`)
	require.Contains(t, ask[string](tb, `document.querySelector("#e`+seq+`").innerText`), "traced")

	tb.open(at(link, "/case/"+st.current+"/draw?instead="+seq))
	tb.until(`document.querySelector("[data-picture] svg")?.textContent.includes("lamp")`)
	require.Equal(t, "batt+ > fuse F9 15A > horn > gnd G101\nbatt+ > fuse F9 > lamp 21W > gnd G101", ask[string](tb, `document.querySelector("#path").value`))
	ask[bool](tb, `document.querySelector("#path").setSelectionRange(0, 0), true`)
	tb.typeIn("[name=why]", "it is a bulb")
	ask[bool](tb, `document.querySelector("form.draw").requestSubmit(), true`)
	tb.until(`document.body?.dataset.here === "case" && document.querySelector("#e` + seq + `")?.classList.contains("struck")`)
}

// TestDrawingWithoutTheServer: what is drawn while the page's server does not answer is
// kept as typed, over a reload too, and goes when it answers.
func TestDrawingWithoutTheServer(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link, road := over(t, st.page(t, "Ines"))
	tb := b.tab(360)
	tb.at(link, "/case/"+st.current+"/draw")
	tb.typeIn("#path", "batt+ > fuse F9 15A > horn > gnd G101")
	tb.until(`document.querySelector("[data-picture] svg")`)
	road.set(false, 0)
	tb.typeIn("#path", "; half a thought")
	road.set(true, 0)
	tb.open(at(link, "/case/"+st.current+"/draw"))
	require.Equal(t, "batt+ > fuse F9 15A > horn > gnd G101; half a thought", ask[string](tb, `document.querySelector("#path").value`))
	for range len("; half a thought") {
		tb.typeIn("#path", kb.Backspace)
	}
	road.set(false, 0)
	ask[bool](tb, `document.querySelector("[name=basis]").value = "remembered", document.querySelector("form.draw").requestSubmit(), true`)
	tb.until(`document.querySelector("#waits").textContent.includes("horn")`)
	tb.until(`document.querySelector("#state").textContent.includes("Waiting to send: 1")`)
	tb.shot("draw-away-360-light")
	road.set(true, 0)
	tb.until(`document.querySelectorAll("#waits > li").length === 0 && document.querySelector("#state").textContent === ""`)
	tb.open(at(link, "/case/"+st.current))
	tb.until(`document.querySelector("#rows").textContent.includes("fuse F9 15A > horn")`)
}

// TestOpenedAndHandedOver: with the keyboard alone a case is opened, is handed to another
// shop, and is taken up and handed back there.
func TestOpenedAndHandedOver(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	mara, ines := st.page(t, "Mara"), st.page(t, "Ines")
	bay, yard := b.tab(360), b.tab(1280)
	bay.open(mara)
	bay.reach(`a[href="/open"]`)
	bay.press(kb.Enter)
	bay.until(`document.body?.dataset.here === "open"`)
	bay.reach("[name=concern]")
	bay.press("wiper stops halfway")
	bay.reach("[name=make]")
	bay.press("Quillon")
	bay.reach("[name=odometer]")
	bay.press("far")
	bay.reach("main form > .act button")
	bay.press(kb.Enter)
	bay.until(`document.querySelector(".atfield")?.textContent.includes("odometer")`)
	require.Equal(t, "odometer", ask[string](bay, `document.activeElement.name`), "it leads to the field that is wrong")
	bay.shot("open-wrong-360-light")
	for range 3 {
		bay.press(kb.Backspace)
	}
	bay.press("113000 mi")
	bay.reach("main form > .act button")
	bay.press(kb.Enter)
	bay.until(`document.body?.dataset.here === "case" && document.querySelector(".concern").textContent === "wiper stops halfway"`)
	path := ask[string](bay, "location.pathname")
	bay.reach(`nav a[href$="/hand"]`)
	bay.press(kb.Enter)
	bay.until(`document.body?.dataset.here === "hand"`)
	bay.reach("[name=to]")
	bay.press("L")
	bay.reach("[name=question]")
	bay.press("why does it stop?")
	bay.reach(`form[data-form=handoff] .act button`)
	bay.shot("handoff-360-light")
	bay.press(kb.Enter)
	bay.until(`document.body?.dataset.here === "case" && document.querySelector("#rows").textContent.includes("why does it stop?")`)

	yard.open(ines)
	yard.until(`document.querySelector("main").textContent.includes("wiper stops halfway")`)
	yard.open(at(ines, path))
	yard.reach(`.acts a[href$="/hand"]`)
	yard.press(kb.Enter)
	yard.until(`document.body?.dataset.here === "hand" && document.querySelector("#asked")`)
	yard.shot("takeup-1280-light")
	yard.reach(`form[data-form=takeup] .act button`)
	yard.press(kb.Enter)
	yard.until(`document.body?.dataset.here === "case"`)
	yard.open(at(ines, path+"/hand"))

	// While the form is open somebody writes: it is shown, and asked whether it is still right.
	yard.typeIn("[name=found]", "the park switch is bent")
	_, err := st.as(t.Context(), "Mara", "note", "customer is here", "--case", path[len(path)-6:])
	require.NoError(t, err)
	yard.until(`fetch("` + path + `/rows?after=2").then((r) => r.text()).then((t) => t.includes("customer is here"))`)
	yard.reach(`form[data-form=handback] .act button`)
	yard.press(kb.Enter)
	yard.until(`document.querySelector("form[data-form=handback] .told").textContent.includes("customer is here")`)
	yard.shot("handback-asks-1280-light")
	require.Equal(t, "the park switch is bent", ask[string](yard, `document.querySelector("[name=found]").value`))
	yard.reach(`form[data-form=handback] .told button`)
	yard.press(kb.Enter)
	yard.until(`document.body?.dataset.here === "case" && document.querySelector("#rows").textContent.includes("the park switch is bent")`)
	bay.until(`document.querySelector("#rows").textContent.includes("the park switch is bent")`)
}

// TestOpenedWithoutTheServer: a case that is opened while the page's server does not answer
// waits; what cannot be opened comes back to its form with why, and is opened once it is
// put right.
func TestOpenedWithoutTheServer(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 1)
	link, road := over(t, st.page(t, "Mara"))
	tb := b.tab(360)
	tb.at(link, "/open")
	tb.typeIn("[name=concern]", "wiper stops halfway")
	tb.typeIn("[name=make]", "Quillon")
	tb.typeIn("[name=odometer]", "far")
	road.set(false, 0)
	ask[bool](tb, `document.querySelector("form[data-form=open]").requestSubmit(), true`)
	tb.until(`document.querySelector("#waits").textContent.includes("wiper stops halfway") && document.querySelector("#state").textContent.includes("Waiting to send: 1")`)
	road.set(true, 0)
	tb.until(`document.querySelector("#waits").textContent.includes("Not taken: odometer")`)
	tb.shot("open-back-360-light")
	ask[bool](tb, `document.querySelector("#waits button").click(), true`)
	tb.until(`document.readyState === "complete" && document.querySelector("[name=concern]")?.value === "wiper stops halfway" && document.querySelectorAll("#waits > li").length === 0`)
	ask[bool](tb, `document.querySelector("[name=odometer]").value = "113000 mi", true`)
	road.set(false, 0)
	ask[bool](tb, `document.querySelector("form[data-form=open]").requestSubmit(), true`)
	tb.until(`document.querySelector("#waits").textContent.includes("113000 mi")`)
	tb.typeIn("[name=concern]", "horn sounds by itself")
	tb.typeIn("[name=make]", "Quillon")
	ask[bool](tb, `document.querySelector("form[data-form=open]").requestSubmit(), true`)
	tb.until(`document.querySelectorAll("#waits > li").length === 2`)
	road.set(true, 0)
	tb.until(`document.body?.dataset.here === "case" && document.querySelector(".concern").textContent === "wiper stops halfway"`)
	tb.open(at(link, "/"))
	tb.until(`[...document.querySelectorAll(".cases > li")].length === 3`)
	require.Equal(t, []string{"horn sounds by itself", "wiper stops halfway"}, ask[[]string](tb, `[...document.querySelectorAll(".cases .concern")].map((e) => e.textContent).filter((t) => !t.includes("fan")).sort()`), "each was opened once")
}

// photo is an invented photograph.
func photo(t testing.TB) string {
	t.Helper()
	m := image.NewRGBA(image.Rect(0, 0, 320, 200))
	for y := range 200 {
		for x := range 320 {
			m.Set(x, y, color.RGBA{uint8(x), uint8(y), uint8(x * y / 320), 255})
		}
	}
	path := filepath.Join(t.TempDir(), "splice S4.png")
	f, err := os.Create(path)
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, m))
	require.NoError(t, f.Close())
	return path
}

// TestPhotoInTheTimeline: a photograph is attached in the browser, and seen in the
// timeline, there and at the other shop, with the page's policy as it is.
func TestPhotoInTheTimeline(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	mara, ines := st.page(t, "Mara"), st.page(t, "Ines")
	bay, yard := b.tab(360), b.tab(1280)
	yard.at(ines, "/case/"+st.current)
	bay.at(mara, "/case/"+st.current)
	ask[bool](yard, `window.failed = 0, document.addEventListener("error", () => window.failed++, true), true`)
	ask[bool](bay, `window.blocked = [], document.addEventListener("securitypolicyviolation", (e) => window.blocked.push(e.violatedDirective)), true`)
	ask[bool](bay, `document.querySelector("#f-attach").open = true, document.querySelector("#f-attach .other").open = true, true`)
	bay.do(chromedp.SetUploadFiles(chromedp.CSS("#f-attach [type=file]"), []string{photo(t)}))
	bay.typeIn("#f-attach [name=by]", "previous shop")
	bay.shot("attach-360-light")
	ask[bool](bay, `document.querySelector("#f-attach form").requestSubmit(), true`)
	bay.until(`document.querySelector("#heard").textContent.includes("splice S4.png")`)
	bay.until(`document.querySelector("#rows img")`)
	ask[bool](bay, `document.querySelector("#rows img").scrollIntoView({ block: "center" }), true`)
	bay.until(`document.querySelector("#rows img").naturalWidth === 320`)
	bay.shot("photo-360-light")
	require.Contains(t, ask[string](bay, `document.querySelector("#rows > li.came").innerText`), "previous shop")
	require.Empty(t, ask[[]string](bay, "window.blocked"))
	require.False(t, ask[bool](bay, `document.querySelector("#f-attach").open`))
	yard.until(`document.querySelector("#rows img")`)
	ask[bool](yard, `document.querySelector("#rows img").scrollIntoView({ block: "center" }), true`)
	yard.until(`document.querySelector("#rows img").naturalWidth === 320`)
	t.Logf("the photograph came at the other shop after %d tries that failed", ask[int](yard, "window.failed"))
	yard.shot("photo-1280-light")

	// A file that is refused stays chosen, and says why.
	ask[bool](bay, `document.querySelector("#f-attach").open = true, true`)
	bay.do(chromedp.SetUploadFiles(chromedp.CSS("#f-attach [type=file]"), []string{photo(t)}))
	bay.typeIn("#f-attach [name=entry]", "9999")
	ask[bool](bay, `document.querySelector("#f-attach form").requestSubmit(), true`)
	bay.until(`document.querySelector("#f-attach .atfield")?.textContent.includes("9999")`)
	require.Equal(t, 1, ask[int](bay, `document.querySelector("#f-attach [type=file]").files.length`))
}

// TestDrawnHostileInABrowser: nothing that is drawn runs, while it is typed and in the case.
func TestDrawnHostileInABrowser(t *testing.T) {
	b := newBrowser(t)
	st := newStage(t, 19)
	link := st.page(t, "Ines")
	tb := b.tab(360)
	tb.at(link, "/case/"+st.current+"/draw")
	evil := `batt+ > fuse "<img src=x onerror=window.ran=1>" 10A > lamp "</text></svg><script>window.ran=2</script><svg onload=window.ran=3>" > gnd "</textarea><script>window.ran=4</script>"`
	tb.typeIn("#path", evil)
	tb.until(`document.querySelector("[data-picture] svg")?.textContent.includes("window.ran=2")`)
	none := func(where string) {
		t.Helper()
		require.False(t, ask[bool](tb, "'ran' in window"), where)
		require.Zero(t, ask[int](tb, `document.querySelectorAll("main img, main iframe, main script, main svg[onload], main [onerror]").length`), where)
	}
	none("while it is typed")
	ask[bool](tb, `document.querySelector("[name=basis]").value = "traced", document.querySelector("[name=name]").value = "<script>window.ran=5</script>", document.querySelector("form.draw").requestSubmit(), true`)
	tb.until(`document.body?.dataset.here === "case" && document.querySelector("#stands svg")`)
	none("in the case")
	seq := ask[string](tb, `[...document.querySelectorAll("a[href*='instead=']")].at(-1).search.split("=")[1]`)
	for _, path := range []string{"/draw?instead=" + seq, "/brief", "/pins", "/replay"} {
		tb.open(at(link, "/case/"+st.current+path))
		none(path)
	}
	tb.open(at(link, "/case/"+st.current+"/draw?instead="+seq))
	require.Equal(t, evil, ask[string](tb, `document.querySelector("#path").value`))
	require.Equal(t, http.StatusOK, ask[int](tb, `fetch("/assets/page.js").then((r) => r.status)`), "the page stands")
	require.True(t, strings.Contains(tb.text(), "Correct drawing #"+seq))
}
