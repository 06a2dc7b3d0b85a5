package web

import (
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const fanPath = "batt+ > fuse F7 10A > relay K2 30/87 > fan.C1-2 > fan motor > fan.C1-1 > gnd G101"

// plainly sends a form as a browser without scripts does.
func (b *bay) plainly(path string, form url.Values) (*http.Response, string) {
	b.t.Helper()
	r := b.request("POST", path, form)
	r.Header.Set("Accept", "text/html")
	return b.answer(r)
}

// TestDraw: what is typed is drawn at once, by the parser that the command has, and kept
// once somebody says where it comes from.
func TestDraw(t *testing.T) {
	b := newBay(t)
	c := "/case/" + b.stream
	code, got := b.post(c+"/hear", url.Values{"form": {"draw"}, "path": {fanPath}})
	require.Equal(t, http.StatusOK, code, got)
	require.Contains(t, got["picture"], "<svg")
	require.Contains(t, got["picture"], "fan motor")
	require.Regexp(t, `^\d+ elements with the wires$`, got["understood"])
	require.EqualValues(t, 1, b.head(), "nothing is kept yet")

	code, got = b.post(c+"/say", url.Values{"form": {"draw"}, "path": {fanPath}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Equal(t, "basis", got["field"])
	require.Contains(t, got["error"], "where the drawing comes from")
	require.EqualValues(t, 1, b.head())

	form := url.Values{"form": {"draw"}, "path": {fanPath + "\r\nbatt+ > fuse F9 15A > horn > gnd G101"}, "basis": {"traced"}, "source": {"under the bonnet"}, "name": {"fan"}, "id": {newID()}}
	code, got = b.post(c+"/say", form)
	require.Equal(t, http.StatusOK, code, got)
	code, _ = b.post(c+"/say", form)
	require.Equal(t, http.StatusOK, code)
	require.EqualValues(t, 2, b.head(), "the same id twice is kept once")
	drawn := b.last().Says.GetCircuitDrawn()
	require.Equal(t, eventv1.Basis_BASIS_TRACED, drawn.GetBasis())
	require.Equal(t, "under the bonnet", drawn.GetSource())
	require.Equal(t, fanPath+"\nbatt+ > fuse F9 15A > horn > gnd G101", drawn.GetSaid(), "as typed, whatever ends its lines")
	require.Contains(t, b.get(c), "horn")
	require.Contains(t, b.get(c), c+"/draw?instead=2")
}

// TestDrawNot: what is no drawing says where, and what would have been understood; with or
// without a script, and with what was typed in the field again.
func TestDrawNot(t *testing.T) {
	b := newBay(t)
	c := "/case/" + b.stream
	wrong := "batt+ > fuse F7 10A\nbatt+ > fuse F7 15A > lamp A"
	code, got := b.post(c+"/hear", url.Values{"form": {"draw"}, "path": {wrong}})
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	problems, ok := got["problems"].([]any)
	require.True(t, ok, got)
	first, ok := problems[0].(map[string]any)
	require.True(t, ok)
	require.Equal(t, "line 2, column 17", first["where"])
	require.Equal(t, "batt+ > fuse F7 ", first["before"])
	require.Equal(t, "15A", first["meant"])
	require.NotEmpty(t, first["remedy"])

	r, text := b.plainly(c+"/say", url.Values{"form": {"draw"}, "path": {wrong}, "basis": {"remembered"}, "source": {"Timo"}})
	require.Equal(t, http.StatusUnprocessableEntity, r.StatusCode)
	require.Contains(t, text, "<mark>15A</mark>")
	require.Contains(t, text, "line 2, column 17")
	require.Contains(t, html.UnescapeString(text), wrong+"</textarea>", "what was typed stands in the field again")
	require.Contains(t, text, `value="Timo"`)
	require.EqualValues(t, 1, b.head())

	// Looked at without a script, nothing is kept, and what it lacks is told.
	r, text = b.plainly(c+"/draw", url.Values{"form": {"draw"}, "path": {"fuse F7 10A > lamp A"}})
	require.Equal(t, http.StatusOK, r.StatusCode)
	require.Contains(t, text, "<svg")
	require.Contains(t, text, "nothing feeds")
	require.EqualValues(t, 1, b.head())
	r, text = b.plainly(c+"/say", url.Values{"form": {"draw"}, "path": {"fuse F7 10A > lamp A"}, "basis": {"remembered"}})
	require.Equal(t, http.StatusSeeOther, r.StatusCode, text)
	require.EqualValues(t, 2, b.head())
}

// TestDrawAnew: a drawing that is drawn anew begins as it stands, and nothing of the old
// one stays in the circuit; the old one stays in the timeline.
func TestDrawAnew(t *testing.T) {
	b := newBay(t)
	c := "/case/" + b.stream
	code, got := b.post(c+"/say", url.Values{"form": {"draw"}, "path": {fanPath}, "basis": {"looked up"}, "source": {"sheet 3"}})
	require.Equal(t, http.StatusOK, code, got)
	old := b.last()
	page := b.get(c + "/draw?instead=2")
	require.Contains(t, html.UnescapeString(page), fanPath+"</textarea>")
	require.Contains(t, page, `value="sheet 3"`)
	require.Contains(t, page, `<option value="looked up" selected>`)
	require.Contains(t, page, "<svg", "it is shown as it stands")

	anew := url.Values{"form": {"draw"}, "instead": {old.ID}, "path": {strings.Replace(fanPath, "relay K2 30/87 > ", "", 1)}, "basis": {"traced"}}
	code, got = b.post(c+"/say", anew)
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	require.Equal(t, "why", got["field"])
	anew.Set("why", "there is no relay")
	code, got = b.post(c+"/say", anew)
	require.Equal(t, http.StatusOK, code, got)
	kept, err := b.home.Kept(b.who, b.stream)
	require.NoError(t, err)
	circuits := kept.Case.Circuits()
	require.Len(t, circuits, 1)
	for _, e := range circuits[0].Elements {
		require.NotContains(t, e.GetComponent(), "K2")
	}
	require.NotNil(t, kept.Case.Step(2).StruckBy)
	require.Contains(t, b.get(c), "there is no relay")
	for _, path := range []string{"/draw?instead=1", "/draw?instead=99", "/draw?instead=x"} {
		got, _ := b.answer(b.request("GET", c+path, nil))
		require.Equal(t, http.StatusNotFound, got.StatusCode, path)
	}
}

// TestDrawnHostile: what somebody draws is text, in the picture, in the field and where it
// is refused.
func TestDrawnHostile(t *testing.T) {
	b := newBay(t)
	c := "/case/" + b.stream
	evil := `</textarea><script>alert(1)</script><img src=x onerror=alert(2)>`
	for _, path := range []string{`batt+ > fuse "` + evil + `" 10A > lamp "<svg onload=alert(3)>" > gnd G1`, "batt+ > lamp \"a\u202eb\" > gnd G1", evil, `batt+ > ` + evil + ` > gnd G1`} {
		for _, to := range []string{"/hear", "/draw", "/say"} {
			_, text := b.plainly(c+to, url.Values{"form": {"draw"}, "path": {path}, "basis": {"told"}, "source": {evil}, "name": {evil}})
			for _, bad := range []string{"<script>alert", "<img src=x", "<svg onload", "onerror=alert(2)>\""} {
				require.NotContains(t, text, bad, "%s %s", to, path)
			}
			if to == "/draw" {
				continue
			}
			_, got := b.post(c+to, url.Values{"form": {"draw"}, "path": {path}, "basis": {"told"}, "name": {evil}})
			if picture, ok := got["picture"].(string); ok {
				require.NotContains(t, picture, "<script")
				require.NotContains(t, picture, "<img")
				require.NotContains(t, picture, "\u202e")
			}
		}
	}
	require.Greater(t, b.head(), uint64(1), "one of them is a drawing")
	for _, path := range append(b.pages(), c+"/draw?instead=2") {
		text := b.get(path)
		require.NotContains(t, text, "<script>alert", path)
		require.NotContains(t, text, "<svg onload", path)
		require.NotContains(t, text, "\u202e", path)
	}
}
