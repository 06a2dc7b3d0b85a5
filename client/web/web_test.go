package web

import (
	"encoding/json"
	"fmt"
	"html"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const testKey = "a-key-that-was-printed"

// bay is the page of a home that has one case and no server.
type bay struct {
	*Page
	t      testing.TB
	home   *client.Home
	who    *client.Identity
	stream string
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

func newBay(t testing.TB) *bay {
	t.Helper()
	dir := t.TempDir()
	h := client.Open(dir, dir+"/settings")
	t.Cleanup(func() { require.NoError(t, h.Close()) })
	who, err := h.Writer(true)
	require.NoError(t, err)
	table := suspect.Default()
	p, err := New(NewHome(h, h.Live(), &table, testKey), Options{
		Hosts: func() []string { return []string{"127.0.0.1"} }, Zone: time.UTC, Now: time.Now, NewID: newID,
	})
	require.NoError(t, err)
	b := &bay{p, t, h, who, newID()}
	b.save(&eventv1.Event{Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{
		Shop: who.Shop, Invented: true, Vehicle: &eventv1.Vehicle{Make: "Quillon", Model: "Tarn", SystemVolts: 12},
		Concern: &eventv1.Concern{Statement: "the fan does not run"},
	}}})
	return b
}

func (b *bay) save(events ...*eventv1.Event) {
	b.t.Helper()
	for _, e := range events {
		e.Stream = b.stream
	}
	_, err := b.home.Save(b.who, client.Stamp{At: time.Now()}, events...)
	require.NoError(b.t, err)
}

// request as the browser of whoever has the key sends it.
func (b *bay) request(method, path string, form url.Values) *http.Request {
	r := httptest.NewRequest(method, "http://127.0.0.1:7412"+path, strings.NewReader(form.Encode()))
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", "application/json")
	}
	r.AddCookie(&http.Cookie{Name: cookie, Value: testKey})
	return r
}

func (b *bay) answer(r *http.Request) (*http.Response, string) {
	b.t.Helper()
	w := httptest.NewRecorder()
	b.ServeHTTP(w, r)
	out, err := io.ReadAll(w.Result().Body)
	require.NoError(b.t, err)
	return w.Result(), string(out)
}

func (b *bay) get(path string) string {
	b.t.Helper()
	r, text := b.answer(b.request("GET", path, nil))
	require.Equal(b.t, http.StatusOK, r.StatusCode, "%s: %s", path, text)
	return text
}

// post sends a form and reads the answer's JSON.
func (b *bay) post(path string, form url.Values) (int, map[string]any) {
	b.t.Helper()
	r, text := b.answer(b.request("POST", path, form))
	out := map[string]any{}
	require.NoError(b.t, json.Unmarshal([]byte(text), &out), text)
	return r.StatusCode, out
}

func (b *bay) says(line string) (int, map[string]any) {
	b.t.Helper()
	return b.post("/case/"+b.stream+"/say", url.Values{"line": {line}})
}

// last is what the case holds last.
func (b *bay) last() *cases.Step {
	b.t.Helper()
	c, err := b.home.Kept(b.who, b.stream)
	require.NoError(b.t, err)
	return c.Case.Step(c.Case.Head())
}

func (b *bay) head() uint64 { return b.last().Seq }

// pages are all addresses that show something.
func (b *bay) pages() []string {
	c := "/case/" + b.stream
	return []string{"/", "/?closed=1", c, c + "?q=kind:note", c + "/rows", c + "/stands", c + "/brief", c + "/handback", c + "/customer", c + "/pins", c + "/replay", c + "/replay?part=1", c + "/draw", c + "/hand", "/open"}
}

// TestOnlyByItsOwnName: a name that somebody lets lead to this machine is none of the
// page's, with or without a session.
func TestOnlyByItsOwnName(t *testing.T) {
	b := newBay(t)
	for _, host := range []string{"rebound.example", "rebound.example:7412", "127.0.0.1.rebound.example", "[::1]:7412", ""} {
		for _, path := range append(b.pages(), "/join", "/live", "/assets/page.js", "/nowhere") {
			r := b.request("GET", path, nil)
			r.Host = host
			got, text := b.answer(r)
			require.Equal(t, http.StatusMisdirectedRequest, got.StatusCode, "%s asked by %q", path, host)
			require.NotContains(t, text, "Quillon")
		}
	}
}

// TestOtherSitesWriteNothing: a form on another site, with this browser's cookie, is
// refused, whichever way the browser says where it comes from.
func TestOtherSitesWriteNothing(t *testing.T) {
	b := newBay(t)
	for header, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://rebound.example"} {
		for _, path := range []string{"/case/" + b.stream + "/say", "/case/" + b.stream + "/hear", "/case/" + b.stream + "/draw", "/case/" + b.stream + "/attach", "/case/" + b.stream + "/again", "/open", "/join"} {
			r := b.request("POST", path, url.Values{"line": {"note from elsewhere"}, "code": {"x"}, "name": {"x"}})
			r.Header.Set(header, value)
			got, _ := b.answer(r)
			require.Equal(t, http.StatusForbidden, got.StatusCode, "%s %s", path, header)
		}
	}
	require.EqualValues(t, 1, b.head())
	r := b.request("POST", "/case/"+b.stream+"/say", url.Values{"line": {"note from here"}})
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	got, _ := b.answer(r)
	require.Equal(t, http.StatusOK, got.StatusCode)
	require.EqualValues(t, 2, b.head())
}

// TestStrangersSeeNothing: without the key there is the page to join on and nothing
// else; what is asked by scripts is refused in a way that they understand.
func TestStrangersSeeNothing(t *testing.T) {
	b := newBay(t)
	for _, session := range []string{"", "another", testKey + "x", testKey[1:]} {
		for _, path := range append(b.pages(), "/live") {
			r := httptest.NewRequest("GET", "http://127.0.0.1"+path, nil)
			r.AddCookie(&http.Cookie{Name: cookie, Value: session})
			got, text := b.answer(r)
			require.Contains(t, []int{http.StatusSeeOther, http.StatusUnauthorized}, got.StatusCode, path)
			require.NotContains(t, text, "Quillon")
		}
		r := httptest.NewRequest("POST", "http://127.0.0.1/case/"+b.stream+"/say", strings.NewReader("line=note+x"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.AddCookie(&http.Cookie{Name: cookie, Value: session})
		got, _ := b.answer(r)
		require.Equal(t, http.StatusUnauthorized, got.StatusCode)
		got, _ = b.answer(httptest.NewRequest("GET", "http://127.0.0.1/enter?key="+session, nil))
		require.Empty(t, got.Cookies(), "a key that is wrong is no session")
	}
	require.EqualValues(t, 1, b.head())
	got, _ := b.answer(httptest.NewRequest("GET", "http://127.0.0.1/enter?key="+testKey, nil))
	require.Equal(t, http.StatusSeeOther, got.StatusCode)
	require.Len(t, got.Cookies(), 1)
	c := got.Cookies()[0]
	require.True(t, c.HttpOnly)
	require.Equal(t, http.SameSiteLaxMode, c.SameSite)
	require.False(t, c.Secure, "it is served on this machine, without TLS")
	b.Secure = true
	got, _ = b.answer(httptest.NewRequest("GET", "http://127.0.0.1/enter?key="+testKey, nil))
	require.True(t, got.Cookies()[0].Secure)
}

// TestPolicy: every answer, errors too, tells the browser to run nothing but the page's
// own files, and no page holds anything that this would stop.
func TestPolicy(t *testing.T) {
	b := newBay(t)
	inline := regexp.MustCompile(`(?i)<script(?:[^>]*)>[^<]|<style|\son[a-z]+\s*=|\sstyle\s*=|javascript:|(?:src|href)\s*=\s*"(?:https?:)?//`)
	for _, path := range append(b.pages(), "/join", "/trust", "/nowhere", "/case/nothing", "/assets/page.js", "/assets/page.css", "/assets/circuit.css") {
		got, text := b.answer(b.request("GET", path, nil))
		policy := got.Header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", path)
		require.NotContains(t, policy, "unsafe", path)
		require.Contains(t, policy, "frame-ancestors 'none'", path)
		require.Equal(t, "nosniff", got.Header.Get("X-Content-Type-Options"), path)
		require.Equal(t, "no-store", got.Header.Get("Cache-Control"), path)
		if !strings.HasPrefix(path, "/assets/") {
			require.Empty(t, inline.FindString(text), path)
		}
	}
}

// TestHostileText: whatever was recorded, in any place that a page shows, comes as text
// and leaves the rest of the page as it was.
func TestHostileText(t *testing.T) {
	b := newBay(t)
	evil := `"><script>alert(1)</script><img src=x onerror=alert(2)>` + "'`{{.}}</title></textarea>\u202egnp.exe\u2066\x07#1"
	b.save(
		&eventv1.Event{Kind: &eventv1.Event_ConcernStated{ConcernStated: &eventv1.ConcernStated{Concern: &eventv1.Concern{Statement: evil, JustBefore: evil, Works: []string{evil}}}}},
		&eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: evil}}, By: evil},
		&eventv1.Event{Kind: &eventv1.Event_PartFitted{PartFitted: &eventv1.PartFitted{Component: evil, Part: evil, Removed: evil, WhySaid: evil, Supplier: evil}}},
		&eventv1.Event{Kind: &eventv1.Event_Belief{Belief: &eventv1.Belief{Statement: evil, Basis: eventv1.Basis_BASIS_TOLD, ToldBy: evil, Component: evil}}},
		&eventv1.Event{Kind: &eventv1.Event_Reading{Reading: &eventv1.Reading{Red: evil, Black: evil, Value: &eventv1.Quantity{Digits: "12.1", Unit: "V"}}}},
		&eventv1.Event{Kind: &eventv1.Event_TemporaryOn{TemporaryOn: &eventv1.TemporaryOn{Temporary: eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER, What: evil, Where: []string{evil}, Undo: evil}}},
		&eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: &eventv1.CircuitDrawn{Name: evil, Source: evil, Points: []*eventv1.PointSeen{{Point: evil, Colour: evil, Pin: evil, Where: evil}}}}},
		&eventv1.Event{Kind: &eventv1.Event_Seen{Seen: &eventv1.Seen{What: evil, Component: evil}}},
	)
	shown := 0
	for _, path := range b.pages() {
		text := b.get(path)
		require.NotContains(t, text, "<script>alert", path)
		require.NotContains(t, text, "<img", path)
		require.NotContains(t, text, "\u202e", path)
		require.NotContains(t, text, "\u2066", path)
		require.NotContains(t, text, "\x07", path)
		shown += strings.Count(html.UnescapeString(text), "<script>alert(1)")
	}
	require.Greater(t, shown, 20, "what was recorded is shown, as text")
	// Refused, it goes back as text too.
	r := b.request("POST", "/case/"+b.stream+"/say", url.Values{"line": {evil}})
	r.Header.Del("Accept")
	got, text := b.answer(r)
	require.Equal(t, http.StatusUnprocessableEntity, got.StatusCode)
	require.NotContains(t, text, "<script>alert")
	require.Contains(t, html.UnescapeString(text), `value=""><script>alert(1)`, "what was typed stands in the field again")
	for _, query := range []string{"?q=" + url.QueryEscape(evil), "?red=" + url.QueryEscape(evil) + "&black=" + url.QueryEscape(evil)} {
		require.NotContains(t, b.get("/case/"+b.stream+query), "<script>alert")
	}
	require.NotContains(t, b.get("/case/"+b.stream+"/pins?find="+url.QueryEscape(evil)), "<script>alert")
}

// TestSay: a line is kept as the commands keep it, with what it was typed as, and the
// page is told what became of it.
func TestSay(t *testing.T) {
	b := newBay(t)
	code, got := b.says("12.31 V at fan.C1-2 to batt-, key on")
	require.Equal(t, http.StatusOK, code, got)
	require.EqualValues(t, 2, got["seq"])
	require.Equal(t, true, got["waiting"], "there is no server")
	require.Contains(t, got["text"], "12.31 V")
	step := b.last()
	require.Equal(t, "12.31 V at fan.C1-2 to batt-, key on", step.Event.GetTyped())
	require.Equal(t, "fan.C1-2", step.Says.GetReading().GetRed())
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_ON, step.Says.GetReading().GetConditions().GetKey())

	// What this device recorded last is carried over.
	code, got = b.says("12.1 V, same leads, same state")
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, "batt-", b.last().Says.GetReading().GetBlack())
	require.Equal(t, eventv1.KeyPosition_KEY_POSITION_ON, b.last().Says.GetReading().GetConditions().GetKey())
	code, got = b.says("assume feed is good, because last")
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, []string{b.before(1).ID}, b.last().Says.GetBecause())

	// A command of this home goes on where the page left off.
	m, err := b.home.Memory()
	require.NoError(t, err)
	require.Equal(t, b.last().ID, m.Last[b.stream])
	require.Equal(t, "fan.C1-2", m.Red[b.stream])
}

func (b *bay) before(n uint64) *cases.Step {
	c, err := b.home.Kept(b.who, b.stream)
	require.NoError(b.t, err)
	return c.Case.Step(c.Case.Head() - n)
}

// TestSayNot: what is not understood, or cannot be, says where and what would have been
// right, keeps nothing, and asks before it takes what hardly can be.
func TestSayNot(t *testing.T) {
	b := newBay(t)
	code, got := b.says("12.31 V at fan.C1-2 to batt-, should be")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.NotEmpty(t, got["error"])
	require.Greater(t, got["column"], 30.0)
	require.NotEmpty(t, got["understood"])
	require.Equal(t, "12.31 V at fan.C1-2 to batt-, should be", got["line"])
	code, got = b.says("  ")
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, got["error"], "nothing to write down")
	code, got = b.says("temp off jumper")
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	code, got = b.post("/case/"+b.stream+"/say", url.Values{"form": {"reading"}, "value": {"12"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, got["error"], "where the red lead was")
	code, got = b.post("/case/"+b.stream+"/say", url.Values{"line": {"note x"}, "happened": {"Monday"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, got["error"], "2026-03-02T12:00:00")
	require.EqualValues(t, 1, b.head(), "nothing of it is kept")

	code, got = b.says("1200 V at fan.C1-2 to batt-, key on")
	require.Equal(t, http.StatusConflict, code, got)
	require.NotEmpty(t, got["questions"])
	require.EqualValues(t, 1, b.head())
	code, got = b.post("/case/"+b.stream+"/say", url.Values{"line": {"1200 V at fan.C1-2 to batt-, key on"}, "yes": {"1"}})
	require.Equal(t, http.StatusOK, code, got)

	code, _ = b.post("/case/"+newID()+"/say", url.Values{"line": {"note x"}})
	require.Equal(t, http.StatusNotFound, code)
	code, _ = b.post("/case/"+b.stream+"/say", url.Values{"line": {"note " + strings.Repeat("x", most)}})
	require.Equal(t, http.StatusRequestEntityTooLarge, code)
}

// TestSayTwice: an entry that is sent again since its answer was lost is kept once, also
// when both come at the same time.
func TestSayTwice(t *testing.T) {
	b := newBay(t)
	form := url.Values{"line": {"note said once"}, "id": {newID()}, "happened": {time.Now().Add(-time.Hour).UTC().Format(time.RFC3339)}}
	done := make(chan int)
	for range 8 {
		go func() {
			w := httptest.NewRecorder()
			b.ServeHTTP(w, b.request("POST", "/case/"+b.stream+"/say", form))
			done <- w.Code
		}()
	}
	for range 8 {
		require.Equal(t, http.StatusOK, <-done)
	}
	require.EqualValues(t, 2, b.head())
	require.InDelta(t, time.Now().Add(-time.Hour).Unix(), b.last().Happened().GetUnixSeconds(), 5, "it happened when it was typed")
}

// TestPlacedSections: the sections that the page of a case has a place for are sections of
// a brief; every other has its place behind them.
func TestPlacedSections(t *testing.T) {
	b := newBay(t)
	code, got := b.says("12.31 V at fan.C1-2 to batt-, key on")
	require.Equal(t, http.StatusOK, code, got)
	c, err := b.home.Kept(b.who, b.stream)
	require.NoError(t, err)
	table := suspect.Default()
	doc := brief.Brief(c.Case.Judge(&table), nil)
	for _, title := range placed() {
		is := slices.ContainsFunc(doc.Sections, func(s brief.Section) bool { return s.Title == title })
		require.True(t, is || title == "Circuit as drawn", "a brief has no section %q", title)
	}
	text := html.UnescapeString(b.get("/case/" + b.stream))
	for _, s := range doc.Sections {
		for _, l := range s.Lines {
			if s.Title == "Next" || s.Title == "What was done, in the order it was done" {
				continue // said in other words: as steps, and by the timeline
			}
			require.Contains(t, text, strings.SplitN(l.Text, " #", 2)[0], "%s is not on the page of the case", s.Title)
		}
	}
}

// TestSaid: entries that a line rests on are links, what else looks like one is not.
func TestSaid(t *testing.T) {
	got := string(said("c", brief.Line{Text: "fitted (#5), not #7 <b>", Entries: []uint64{5, 12}}))
	require.Contains(t, got, `(<a class="ref" href="/case/c?q=from%3A5+through%3A5#timeline" data-seq="5" aria-label="entry 5">#5</a>)`)
	require.Contains(t, got, `not #7 &lt;b&gt;`)
	require.Contains(t, got, `data-seq="12"`)
	require.Equal(t, 2, strings.Count(got, "<a "))
}

// TestRows: a timeline is sent in pieces, and what came behind a seq comes alone.
func TestRows(t *testing.T) {
	b := newBay(t)
	for i := range 100 {
		b.save(&eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: fmt.Sprintf("note %d", i)}}})
	}
	require.Equal(t, rowsAtOnce, strings.Count(b.get("/case/"+b.stream), `<li id="e`))
	require.Equal(t, 3, strings.Count(b.get("/case/"+b.stream+"/rows?after=98"), `<li id="e`))
	require.Equal(t, 0, strings.Count(b.get("/case/"+b.stream+"/rows?after=101"), `<li id="e`))
	older := b.get("/case/" + b.stream + "/rows?before=62")
	require.Equal(t, rowsAtOnce, strings.Count(older, `<li id="e`))
	require.Contains(t, older, `<li id="e61"`)
	require.Contains(t, older, `data-before="22"`)
	for _, path := range []string{"/replay?at=0", "/replay?at=x", "/brief?at=-1", "/rows?after=x"} {
		got, _ := b.answer(b.request("GET", "/case/"+b.stream+path, nil))
		require.Equal(t, http.StatusNotFound, got.StatusCode, path)
	}
}
