package main

import (
	"bytes"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// says posts a form and reads the answer's JSON.
func (b *tablet) says(path string, form url.Values) (int, map[string]any) {
	b.t.Helper()
	code, text := b.ask(path, form)
	out := map[string]any{}
	require.NoError(b.t, json.Unmarshal([]byte(text), &out), text)
	return code, out
}

// attaches sends a file as a browser does.
func (b *tablet) attaches(stream, name string, content []byte) (int, string) {
	b.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	part, err := m.CreateFormFile("file", name)
	require.NoError(b.t, err)
	_, err = part.Write(content)
	require.NoError(b.t, err)
	require.NoError(b.t, m.Close())
	r, err := http.NewRequestWithContext(b.t.Context(), "POST", b.link+"/case/"+stream+"/attach", &body)
	require.NoError(b.t, err)
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Accept", "application/json")
	got, err := b.Do(r)
	require.NoError(b.t, err)
	defer got.Body.Close() //nolint:errcheck // only read
	text, err := io.ReadAll(got.Body)
	require.NoError(b.t, err)
	return got.StatusCode, string(text)
}

// webOf is a home's own page, as `knowngood web` serves it.
func webOf(t testing.TB, h *client.Home) *homePage {
	t.Helper()
	a := &app{world: world{err: os.Stderr, now: time.Now, getenv: os.Getenv}, home: h, show: &client.Output{Style: client.Style{Zone: time.UTC}}}
	page, err := a.startWeb(t.Context(), "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, page.stop()) })
	return page
}

// atHome is the browser of whoever sits at a home's own page.
func atHome(t testing.TB, m *member) *tablet {
	t.Helper()
	page := webOf(t, m.Home)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	tr := new(http.Transport)
	t.Cleanup(tr.CloseIdleConnections)
	b := &tablet{t, &http.Client{Jar: jar, Transport: tr, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, at(page.link, "")}
	got, text := b.ask(strings.TrimPrefix(page.link, b.link), nil)
	require.Equal(t, http.StatusSeeOther, got, text)
	return b
}

// eventually waits for what comes by itself.
func eventually(t testing.TB, what string, is func() bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); !is(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("it never came to be that %s", what)
		}
	}
}

// TestHandedOverOnThePage: on tablets of two shops a case is opened, drawn, handed off,
// taken up and handed back, with the words and limits that the commands have.
func TestHandedOverOnThePage(t *testing.T) {
	s := serveTablets(t, "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara := joins(t, s.shopServer, s.shops[0].Code, "Mara")
	ines := joins(t, s.shopServer, s.shops[1].Code, "Ines")
	bay, yard := s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Timo"), s.tablet(t).joins(ines.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Ilse")
	stream := mara.NewID()
	open := url.Values{"form": {"open"}, "case": {stream}, "id": {mara.NewID()}, "concern": {"the fan does not run"}, "make": {"Quillon"}, "model": {"Tarn"}, "system": {"12"}, "invented": {"1"}}
	code, got := bay.says("/open", open)
	require.Equal(t, http.StatusOK, code, got)
	code, got = bay.says("/open", open)
	require.Equal(t, http.StatusOK, code, got)
	require.EqualValues(t, 1, got["seq"], "sent twice it is one case")
	c := "/case/" + stream
	code, got = bay.says(c+"/say", url.Values{"form": {"draw"}, "path": {"batt+ > fuse F7 10A > fan motor > gnd G1"}, "basis": {"traced"}})
	require.Equal(t, http.StatusOK, code, got)

	// Nothing is handed to those who are not known, and nothing without a question.
	shop := ines.who.Shop
	for _, form := range []url.Values{
		{"form": {"handoff"}, "to": {shop}}, {"form": {"handoff"}, "question": {"why?"}}, {"form": {"handoff"}, "to": {"No Such Shop"}, "question": {"why?"}},
		{"form": {"handoff"}, "to": {shop}, "question": {"why?"}, "money": {"much"}}, {"form": {"handoff"}, "to": {shop}, "question": {"why?"}, "may-cut": {"perhaps"}},
		{"form": {"handoff"}, "to": {shop}, "question": {"why?"}, "minutes": {"-3"}}, {"form": {"handoff"}, "to": {shop}, "question": {"why?"}, "person": {"Nobody"}},
		{"form": {"takeup"}}, {"form": {"handback"}, "found": {"nothing"}},
	} {
		code, got := bay.says(c+"/say", form)
		require.Equal(t, http.StatusUnprocessableEntity, code, "%v: %v", form, got)
		require.NotEmpty(t, got["error"])
	}
	_, page := bay.ask(c+"/hand", nil)
	require.Contains(t, page, `name="expect" value="3"`)
	require.Contains(t, page, "Lantern Lane Diagnostics")

	// Somebody writes between: it is shown, and asked whether it is still right.
	code, got = bay.says(c+"/say", url.Values{"line": {"note the customer called"}})
	require.Equal(t, http.StatusOK, code, got)
	off := url.Values{"form": {"handoff"}, "expect": {"3"}, "to": {shop}, "question": {"why does it not run?"}, "minutes": {"120"}, "money": {"200"}, "may-cut": {"no"}, "may-remove": {"yes"}, "limits": {"by Friday"}}
	code, got = bay.says(c+"/say", off)
	require.Equal(t, http.StatusConflict, code, got)
	require.Contains(t, got["questions"].([]any)[0], "the customer called")
	off.Set("yes", "1")
	code, got = bay.says(c+"/say", off)
	require.Equal(t, http.StatusOK, code, got)

	_, page = yard.ask("/", nil)
	require.Contains(t, page, "Waiting for you")
	_, page = yard.ask(c, nil)
	require.Contains(t, page, "Take it up")
	_, page = yard.ask(c+"/hand", nil)
	for _, says := range []string{"why does it not run?", "120 minutes", "200.00 EUR", "Wires may be cut: no", "Parts may be removed: yes", "by Friday"} {
		require.Contains(t, page, says)
	}
	require.NotContains(t, page, "Read the hand-back")
	code, got = yard.says(c+"/say", url.Values{"form": {"takeup"}, "said": {"meter at hand"}})
	require.Equal(t, http.StatusOK, code, got)
	code, got = yard.says(c+"/say", url.Values{"form": {"takeup"}})
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	require.Contains(t, got["error"], "taken up already")
	code, got = yard.says(c+"/say", url.Values{"form": {"handoff"}, "to": {mara.who.Shop}, "question": {"and you?"}})
	require.Equal(t, http.StatusForbidden, code, "the case is not theirs to hand on: %v", got)

	// A photograph goes with it, and comes to the other shop as it was.
	photo := append([]byte("\xff\xd8\xff\xe0"), bytes.Repeat([]byte{5}, 700_000)...)
	code, text := yard.attaches(stream, "splice.jpg", photo)
	require.Equal(t, http.StatusOK, code, text)
	var saved struct{ ID string }
	require.NoError(t, json.Unmarshal([]byte(text), &saved))
	code, text = bay.ask(c+"/file/"+saved.ID, nil)
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, string(photo), text)
	code, _ = s.tablet(t).joins(s.stranger(t), "Joss").attaches(stream, "x.jpg", photo)
	require.Equal(t, http.StatusNotFound, code)
	code, _ = s.tablet(t).attaches(stream, "x.jpg", photo)
	require.Equal(t, http.StatusUnauthorized, code)

	back := url.Values{
		"form": {"handback"}, "found": {"splice S4 corroded"}, "cause": {"splice S4"}, "mode": {"high resistance"}, "proof": {"10.6 V drop"}, "because": {"4, 6"},
		"not-done": {"second fan\nthe relay"}, "left-open": {"cover off"}, "old-parts": {"in a bag"},
	}
	back.Set("because", "99")
	code, got = yard.says(c+"/say", back)
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	back.Set("because", "3, 6")
	back.Set("check", "fan after a hot drive")
	code, got = yard.says(c+"/say", back)
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	back.Set("check-due", "in 14 days")
	back.Set("check-id", ines.NewID())
	back.Set("id", ines.NewID())
	for range 2 { // sent again it is the same
		code, got = yard.says(c+"/say", back)
		require.Equal(t, http.StatusOK, code, got)
	}
	_, page = bay.ask(c, nil)
	require.Contains(t, page, "Read the hand-back")
	_, page = yard.ask(c, nil)
	require.NotContains(t, page, "Read the hand-back", "it is not theirs to read next")
	held, err := mara.fetched(t.Context(), stream)
	require.NoError(t, err)
	h := held.Case.Handoffs[0]
	require.Equal(t, []string{"second fan", "the relay"}, h.Back.Says.GetHandedBack().GetNotDone())
	require.Equal(t, eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE, h.Back.Says.GetHandedBack().GetCauseMode())
	require.Len(t, h.Back.Says.GetBecause(), 2)
	require.Equal(t, "fan after a hot drive", held.Case.Step(h.Back.Seq-1).Says.GetCheckDue().GetWhat())
	require.Equal(t, h.Back.Seq, h.Back.Event.GetExpect())
	require.EqualValues(t, 20000, h.Says.GetLimits().GetMoney().GetMinor())
	require.Equal(t, "EUR", h.Says.GetLimits().GetMoney().GetCurrency(), "the shop's")
	code, _ = yard.says(c+"/say", url.Values{"line": {"note after handing back"}})
	require.Equal(t, http.StatusForbidden, code, "handing back ends their writing")

	// What an owner erases is not given any more, and the entry says so.
	_, conn, err := mara.Connect()
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, mara.EraseFile(t.Context(), conn, stream, saved.ID, "a face is in it", held.Case.ByID(saved.ID).Says.GetAttachment()))
	code, text = bay.ask(c+"/file/"+saved.ID, nil)
	require.Equal(t, http.StatusNotFound, code)
	require.Contains(t, text, "erased")
	_, page = bay.ask(c, nil)
	require.Contains(t, page, "splice.jpg: the file was erased")
	require.NotContains(t, page, "<img")
}

// stranger is a code for a shop that has to do with nothing.
func (s *tablets) stranger(t testing.TB) string {
	t.Helper()
	o, err := s.OpenShop(t.Context(), "Quarrel Hill Motors", "EUR", true)
	require.NoError(t, err)
	return o.Code
}

// TestRefusedOnThePage: a hand-off that was written down with no signal, and whose place
// somebody else took meanwhile, is refused when it is sent; the page shows it with why,
// and it is done again with one touch. A file that was attached meanwhile goes by itself.
func TestRefusedOnThePage(t *testing.T) {
	s := serveShops(t, "", "Tin Kettle Garage", "Lantern Lane Diagnostics")
	mara, ines := joins(t, s, s.shops[0].Code, "Mara"), joins(t, s, s.shops[1].Code, "Ines")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	b := atHome(t, mara)
	c := "/case/" + stream
	eventually(t, "the other shop is known", func() bool {
		_, page := b.ask(c+"/hand", nil)
		return strings.Contains(page, "Lantern Lane Diagnostics")
	})
	mara.road.set(false, 0)
	off := url.Values{"form": {"handoff"}, "expect": {"2"}, "to": {ines.who.Shop}, "question": {"why does it not run?"}}
	code, got := b.says(c+"/say", off)
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, true, got["waiting"])
	photo := bytes.Repeat([]byte("invented"), 100_000)
	code, text := b.attaches(stream, "splice.bin", photo)
	require.Equal(t, http.StatusOK, code, text)
	var saved struct{ ID string }
	require.NoError(t, json.Unmarshal([]byte(text), &saved))
	code, text = b.ask(c+"/file/"+saved.ID, nil)
	require.Equal(t, http.StatusOK, code, "with no signal too")
	require.Equal(t, string(photo), text)

	// From another machine of the shop somebody takes the place.
	other := mara.elsewhere(t, s)
	timo := joins(t, s, mara.elsewhere(t, s).invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Timo")
	require.NoError(t, timo.sync(t.Context(), 5*time.Second))
	timo.save(t, note(stream, "written meanwhile"))
	require.NoError(t, timo.sync(t.Context(), 5*time.Second))
	mara.road.set(true, 0)
	eventually(t, "the page shows what was refused", func() bool {
		_, page := b.ask(c, nil)
		return strings.Contains(page, "Not taken by the server")
	})
	_, page := b.ask(c+"/stands", nil)
	require.Contains(t, page, "why does it not run?")
	require.Contains(t, page, "Do it again now")
	list, err := mara.Tray()
	require.NoError(t, err)
	require.Len(t, list, 1)
	code, _ = b.ask(c+"/again", url.Values{"refused": {mara.NewID()}})
	require.Equal(t, http.StatusNotFound, code)
	eventually(t, "what came in between is here", func() bool {
		code, got = b.says(c+"/again", url.Values{"refused": {list[0].ID}})
		return code == http.StatusOK
	})
	eventually(t, "the other shop has it", func() bool {
		held, err := other.fetched(t.Context(), stream)
		return err == nil && len(held.Case.Handoffs) == 1
	})
	_, page = b.ask(c, nil)
	require.NotContains(t, page, "Not taken by the server")
	code, _ = b.ask(c+"/again", url.Values{"refused": {list[0].ID}})
	require.Equal(t, http.StatusNotFound, code, "once")

	eventually(t, "the file went by itself", func() bool {
		waiting, err := mara.FilesWaiting(t.Context())
		return err == nil && len(waiting) == 0
	})
	require.NoError(t, ines.sync(t.Context(), 5*time.Second))
	there := atHome(t, ines)
	code, text = there.ask(c+"/file/"+saved.ID, nil)
	require.Equal(t, http.StatusOK, code, "it is fetched when somebody wants it")
	require.Equal(t, string(photo), text)
}
