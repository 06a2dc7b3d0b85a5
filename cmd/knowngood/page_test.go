package main

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPagesFit: every page fits the width it is shown at, on a phone and on a desk,
// light and dark, and its controls are large enough for gloves. With -shots FOLDER it
// leaves pictures there.
func TestPagesFit(t *testing.T) {
	st := newStage(t, 0)
	link := st.page(t, "Ines")
	b := newBrowser(t)
	for _, width := range []int64{360, 1280} {
		tb := b.tab(width)
		tb.open(link)
		for _, scheme := range []string{"light", "dark"} {
			tb.scheme(scheme)
			for name, path := range map[string]string{
				"board": "/", "case": "/case/" + st.current, "pins": "/case/" + st.current + "/pins", "replay": "/case/" + st.current + "/replay?at=27",
				"brief": "/case/" + st.current + "/brief", "handback": "/case/" + st.current + "/handback", "reading": "/case/" + st.current + "?red=fan.C1-2&black=batt-",
				"join": "/join", "customer": "/case/" + st.current + "/customer", "query": "/case/" + st.current + "?q=kind:reading#timeline",
			} {
				tb.open(at(link, path))
				require.LessOrEqual(t, ask[float64](tb, "document.documentElement.scrollWidth"), float64(width), "%s at %d is wider than the screen", name, width)
				small := ask[[]string](tb, `[...document.querySelectorAll("button, .button, nav.case a, summary, input:not([type=hidden]):not([type=checkbox]), select")]
					.filter((e) => e.checkVisibility() && (e.type === "range" ? 0 : e.getBoundingClientRect().height < 56)).map((e) => e.outerHTML.slice(0, 80))`)
				require.Empty(t, small, "%s at %d: controls under 56 px", name, width)
				tb.shot(fmt.Sprintf("%s-%d-%s", name, width, scheme))
			}
		}
	}
}
