package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// lookedAt are the pages that people see, by name, as Ines sees them: the case of the
// stage, with a photograph in it; one that waits to be taken up; one of her own shop.
func (s *stage) lookedAt(t testing.TB) map[string]string {
	t.Helper()
	path, current := photo(t), s.current
	play := func(who string, args ...string) {
		t.Helper()
		require.NoError(t, s.line(t.Context(), demoLine{who: who, args: args}))
	}
	play("Mara", "attach", path, "--entry", "last")
	play("Mara", "open", "horn sounds by itself", "--make", "Quillon", "--model", "Drover", "--invented")
	play("Mara", "draw", "batt+ > fuse F9 15A > horn; lamp 21W > gnd G101", "--basis", "traced", "--name", "horn")
	play("Mara", "handoff", "Lantern Lane Diagnostics", "--question", "why does it sound?", "--minutes", "60", "--money", "100 EUR", "--may-cut", "no")
	given := "/case/" + s.current
	play("Ines", "open", "wiper stops halfway", "--make", "Quillon", "--model", "Tarn", "--invented")
	own := "/case/" + s.current
	s.current = current
	play("Ines", "sync", "--files")
	c := "/case/" + current
	return map[string]string{
		"board": "/", "case": c, "pins": c + "/pins", "replay": c + "/replay?at=27", "brief": c + "/brief", "handback": c + "/handback", "customer": c + "/customer",
		"reading": c + "?red=fan.C1-2&black=batt-", "query": c + "?q=kind:reading#timeline", "wrong": c + "?q=since:nonsense", "join": "/join", "trust": "/trust", "nowhere": "/nowhere",
		"draw": c + "/draw", "anew": given + "/draw?instead=2", "open": "/open", "handed": c + "/hand", "takeup": given + "/hand", "handoff": own + "/hand", "young": own, "given": given,
	}
}

// TestPagesFit: every page fits the width it is shown at, on a phone and on a desk, light
// and dark; its controls are large enough for gloves, with room between them. With -shots
// FOLDER it leaves pictures there.
func TestPagesFit(t *testing.T) {
	if testing.Short() {
		t.Skip("how pages look and print is no matter of races: without -short it is tried")
	}
	b := newBrowser(t)
	st := newStage(t, 0)
	pages := st.lookedAt(t)
	link := st.page(t, "Ines")
	for _, width := range []int64{360, 1280} {
		tb := b.tab(width)
		tb.open(link)
		for _, scheme := range []string{"light", "dark"} {
			tb.scheme(scheme)
			for name, path := range pages {
				tb.open(at(link, path))
				require.LessOrEqual(t, ask[float64](tb, "document.documentElement.scrollWidth"), float64(width), "%s at %d is wider than the screen", name, width)
				ask[bool](tb, `document.querySelectorAll("details").forEach((d) => { d.removeAttribute("name"); d.open = true; }), true`)
				require.Empty(t, ask[[]string](tb, `[...document.querySelectorAll("button, .button, nav.case a, summary, textarea, .photo a, input:not([type=hidden]):not([type=checkbox]):not([type=range]), select")]
					.filter((e) => e.checkVisibility() && e.getBoundingClientRect().height < 56).map((e) => e.outerHTML.slice(0, 80))`), "%s at %d: controls under 56 px", name, width)
				require.Empty(t, ask[[]string](tb, `[...document.querySelectorAll("button, .button, nav.case a, textarea, input:not([type=hidden]), select")].filter((e) => e.checkVisibility()).flatMap((e, i, all) => all.slice(i + 1).filter((f) => {
					const a = e.getBoundingClientRect(), b = f.getBoundingClientRect();
					if (!!e.closest(".quick, .slide") !== !!f.closest(".quick, .slide")) return false;
					const x = Math.max(a.left, b.left) - Math.min(a.right, b.right), y = Math.max(a.top, b.top) - Math.min(a.bottom, b.bottom);
					return x < 12 && y < 12 - 0.5 && x > -1000 && Math.max(x, y) < 11.5;
				}).map((f) => e.outerHTML.slice(0, 60) + " and " + f.outerHTML.slice(0, 60)))`), "%s at %d: controls closer than 12 px", name, width)
				if *shots != "" {
					tb.open(at(link, path))
					tb.shot(fmt.Sprintf("%s-%d-%s", name, width, scheme))
				}
			}
		}
	}
}

// TestAccessible holds every page against WCAG 2.2 AA with axe-core, in both widths and
// both colour schemes. The program is not ours to hand on: .ci/run fetches it.
func TestAccessible(t *testing.T) {
	if testing.Short() {
		t.Skip("how pages look and print is no matter of races: without -short it is tried")
	}
	script := axe(t)
	b := newBrowser(t)
	st := newStage(t, 0)
	pages := st.lookedAt(t)
	link := st.page(t, "Ines")
	looked := 0
	for _, width := range []int64{360, 1280} {
		tb := b.tab(width)
		tb.open(link)
		for _, scheme := range []string{"light", "dark"} {
			tb.scheme(scheme)
			for name, path := range pages {
				tb.open(at(link, path))
				ask[bool](tb, `document.querySelectorAll("details").forEach((d) => { d.removeAttribute("name"); d.open = true; }), true`)
				ask[bool](tb, script+"; true")
				found := ask[string](tb, `axe.run({ runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"] }).then((r) => JSON.stringify({
					passes: r.passes.length, wrong: r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.html + " " + (n.any[0] || n.all[0] || n.none[0] || {}).message).join(" | ")) }))`)
				var r struct {
					Passes int
					Wrong  []string
				}
				require.NoError(t, json.Unmarshal([]byte(found), &r))
				require.Greater(t, r.Passes, 8, "hardly anything was looked at")
				for _, w := range r.Wrong {
					t.Errorf("%s, %d px, %s: %s", name, width, scheme, w)
				}
				looked++
			}
		}
	}
	require.Equal(t, 4*len(pages), looked)
}

// axe is the program that finds what keeps people out.
func axe(t *testing.T) string {
	t.Helper()
	cache, err := os.UserCacheDir()
	require.NoError(t, err)
	found, err := filepath.Glob(filepath.Join(cache, "knowngood-tools", "axe-core-*", "axe.min.js"))
	require.NoError(t, err)
	if len(found) == 0 {
		if os.Getenv("CI") == "true" {
			t.Fatal("axe-core is missing: .ci/run fetches it from npm into the tools' cache")
		}
		t.Skip("run .ci/run once, which fetches axe-core, to try whether everybody can use the page")
	}
	b, err := os.ReadFile(found[len(found)-1])
	require.NoError(t, err)
	return string(b)
}
