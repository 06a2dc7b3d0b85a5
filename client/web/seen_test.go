package web

import (
	"html"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/brief"
)

// TestFirstSeen: who has read nothing is told what a case is, that this one is invented, what
// to do in one in which nothing was done, and what every caution closes with once.
func TestFirstSeen(t *testing.T) {
	b := newBay(t)
	board := html.UnescapeString(b.get("/"))
	for _, says := range []string{"Each case is one vehicle with a fault that is hard to find", "Invented for demonstration", "<dt>Opened</dt>", "nothing tested yet"} {
		require.Contains(t, board, says)
	}
	page := html.UnescapeString(b.get("/case/" + b.stream))
	require.Contains(t, page, "Nothing is named yet that could be tested: draw the circuit")
	for _, line := range []string{"12.3 V at fan.C1-2 to batt-, running", "jumper on 30-87", "ran the fan from the battery, covers fan motor, pass"} {
		code, got := b.says(line)
		require.Equal(t, http.StatusOK, code, got)
	}
	page = html.UnescapeString(b.get("/case/" + b.stream))
	require.NotContains(t, page, "Nothing is named yet")
	require.Equal(t, 1, strings.Count(page, strings.TrimSpace(brief.Deferring)))
	require.Contains(t, page, "Cooling fan: it can start by itself")
	require.Less(t, strings.Index(page, `id="care"`), strings.Index(page, `id="circuit"`), "before anybody touches a point")
	require.NotContains(t, html.UnescapeString(b.get("/")), "nothing tested yet")
}
