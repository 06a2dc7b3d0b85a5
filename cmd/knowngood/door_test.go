package main

import (
	"bufio"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// tablets is a server whose page is served over TLS, as 'serve --page' does it.
type tablets struct {
	*shopServer
	link string
}

func serveTablets(t testing.TB, shops ...string) *tablets {
	t.Helper()
	s := serveShops(t, "", shops...)
	a := &app{world: world{err: io.Discard, now: time.Now}, home: client.Open(t.TempDir(), ""), show: &client.Output{Style: client.Style{Zone: time.UTC}}}
	link, stop, err := a.pageOf(s.Server, nil, "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, stop()) })
	return &tablets{s, link}
}

// tablet is a browser that trusts the server's authority, and nothing else of it.
type tablet struct {
	t testing.TB
	*http.Client
	link string
}

func (s *tablets) tablet(t testing.TB) *tablet {
	t.Helper()
	root, err := x509.ParseCertificate(s.Authority())
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(root)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS13}, ForceAttemptHTTP2: true}
	t.Cleanup(tr.CloseIdleConnections)
	return &tablet{t, &http.Client{Transport: tr, Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}, strings.TrimSuffix(s.link, "/")}
}

// ask sends a request; a form makes it a POST that wants JSON.
func (b *tablet) ask(path string, form url.Values) (int, string) {
	b.t.Helper()
	method := "GET"
	if form != nil {
		method = "POST"
	}
	r, err := http.NewRequestWithContext(b.t.Context(), method, b.link+path, strings.NewReader(form.Encode()))
	require.NoError(b.t, err)
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", "application/json")
	}
	got, err := b.Do(r)
	require.NoError(b.t, err)
	defer got.Body.Close() //nolint:errcheck // only read
	text, err := io.ReadAll(got.Body)
	require.NoError(b.t, err)
	return got.StatusCode, string(text)
}

func (b *tablet) joins(code, name string) *tablet {
	b.t.Helper()
	got, text := b.ask("/join", url.Values{"code": {code}, "name": {name}})
	require.Equal(b.t, http.StatusSeeOther, got, text)
	return b
}

// invites asks for a code for somebody.
func (m *member) invites(t testing.TB, role eventv1.Role, stream string) string {
	t.Helper()
	_, conn, err := m.Connect()
	require.NoError(t, err)
	defer conn.Close()
	r, err := conn.Invite(t.Context(), &boardv1.InviteRequest{Role: role, Case: stream})
	require.NoError(t, client.Explain(err))
	return r.GetCode()
}

// TestWhoMayWhatOverHTTP: every page and every way to write, for every role and way to
// stand to a case. What is decided below holds here too, and a case that is somebody
// else's answers as one that does not exist.
func TestWhoMayWhatOverHTTP(t *testing.T) {
	s := serveTablets(t, "Tin Kettle Garage", "Lantern Lane Diagnostics", "Quarrel Hill Motors")
	mara, ines := joins(t, s.shopServer, s.shops[0].Code, "Mara"), joins(t, s.shopServer, s.shops[1].Code, "Ines")
	stream, nowhere := mara.NewID(), mara.NewID()
	mara.save(t, opens(mara, stream))
	mara.save(t, handsTo(ines.who.Shop, 2, stream))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))

	code, attached := s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Ada").attaches(stream, "b.txt", []byte("invented bytes"))
	require.Equal(t, http.StatusOK, code, attached)
	var saved struct{ ID string }
	require.NoError(t, json.Unmarshal([]byte(attached), &saved))
	file := "/case/" + stream + "/file/" + saved.ID
	withdrawn := s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Gone")
	_, conn, err := mara.Connect()
	require.NoError(t, err)
	people, err := conn.People(t.Context(), &boardv1.PeopleRequest{})
	require.NoError(t, err)
	for _, p := range people.GetPeople() {
		if p.GetName() == "Gone" {
			_, err := conn.WithdrawPerson(t.Context(), &boardv1.WithdrawPersonRequest{Person: p.GetPerson(), Why: "left"})
			require.NoError(t, err)
		}
	}
	require.NoError(t, conn.Close())

	const see, write, nothing, stranger = http.StatusOK, http.StatusCreated, http.StatusNotFound, http.StatusUnauthorized
	for name, c := range map[string]struct {
		who  *tablet
		here int
	}{
		"a technician of the shop":             {s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Timo"), write},
		"another owner of the shop":            {s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_OWNER, ""), "Ola"), write},
		"a technician of the shop it is with":  {s.tablet(t).joins(ines.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Ilse"), write},
		"a guest for the case":                 {s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_GUEST_SPECIALIST, stream), "Rosa"), write},
		"a guest of the shop, for no case":     {s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_GUEST_SPECIALIST, ""), "Rolf"), nothing},
		"the owner of a shop that has nothing": {s.tablet(t).joins(s.shops[2].Code, "Joss"), nothing},
		"somebody who was withdrawn":           {withdrawn, stranger},
		"nobody":                               {s.tablet(t), stranger},
	} {
		for _, page := range []string{"", "/rows", "/stands", "/brief", "/brief/pdf", "/handback", "/customer", "/pins", "/replay", "/draw", "/hand"} {
			got, text := c.who.ask("/case/"+stream+page, nil)
			switch c.here {
			case write:
				require.Equal(t, http.StatusOK, got, "%s: %s", name, page)
			case stranger:
				require.Contains(t, []int{http.StatusSeeOther, http.StatusUnauthorized}, got, "%s: %s", name, page)
			default:
				require.Equal(t, c.here, got, "%s: %s", name, page)
				_, other := c.who.ask("/case/"+nowhere+page, nil)
				require.Equal(t, strings.ReplaceAll(other, nowhere, "ID"), strings.ReplaceAll(text, stream, "ID"), "%s: %s: a case that is not theirs answers as none", name, page)
			}
			if c.here != write {
				require.NotContains(t, text, "Quillon", "%s: %s", name, page)
			}
		}
		got, board := c.who.ask("/", nil)
		require.Equal(t, c.here == write, got == http.StatusOK && strings.Contains(board, "Quillon"), name)
		require.Equal(t, c.here == write, strings.Contains(board, "Invented for demonstration"), name)
		for _, how := range []string{"hear", "say"} {
			got, text := c.who.ask("/case/"+stream+"/"+how, url.Values{"line": {"note by " + name}})
			if c.here == write {
				require.Equal(t, see, got, "%s: %s: %s", name, how, text)
			} else {
				require.Equal(t, c.here, got, "%s: %s: %s", name, how, text)
			}
			got, _ = c.who.ask("/case/"+nowhere+"/"+how, url.Values{"line": {"note"}})
			require.NotEqual(t, see, got, name)
		}
		got, text := c.who.attaches(stream, "a.txt", []byte("by "+name))
		if c.here == write {
			require.Equal(t, see, got, "%s: %s", name, text)
		} else {
			require.Equal(t, c.here, got, "%s: %s", name, text)
		}
		got, _ = c.who.attaches(nowhere, "a.txt", []byte("x"))
		require.NotEqual(t, see, got, name)
		got, text = c.who.ask(file, nil)
		if c.here == stranger {
			require.Equal(t, http.StatusSeeOther, got, name)
		} else {
			require.Equal(t, map[int]int{write: see, nothing: nothing}[c.here], got, "%s: %s", name, text)
		}
		if c.here != write {
			require.NotContains(t, text, "invented bytes", name)
		}
		got, text = c.who.ask("/open", url.Values{"form": {"open"}, "concern": {"x"}, "make": {"Quillon"}, "model": {"Tarn"}, "invented": {"1"}})
		switch {
		case strings.Contains(name, "guest"):
			require.Equal(t, http.StatusForbidden, got, "%s: %s", name, text)
		case c.here == stranger:
			require.Equal(t, stranger, got, name)
		default:
			require.Equal(t, see, got, "%s: %s", name, text)
		}
		// To close a case is for the shop whose it is.
		if name == "a technician of the shop it is with" || name == "a guest for the case" {
			got, text := c.who.ask("/case/"+stream+"/say", url.Values{"line": {"close not found"}})
			require.Equal(t, http.StatusForbidden, got, text)
		}
	}
	c, err := mara.fetched(t.Context(), stream)
	require.NoError(t, err)
	require.EqualValues(t, 3+4+4+1+1, c.Case.Head(), "opening, hand-off and grant; four notes; four files, and one before; the guest's grant")
}

func (m *member) fetched(ctx context.Context, stream string) (*client.Copy, error) {
	_, conn, err := m.Connect()
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	return m.Fetch(ctx, m.who, conn, stream)
}

// TestTabletLive: what others write comes to a tablet with a cursor, from which it goes
// on after a break; and verify says of its own entries whose key it was.
func TestTabletLive(t *testing.T) {
	s := serveTablets(t, "Tin Kettle Garage")
	mara := joins(t, s.shopServer, s.shops[0].Code, "Mara")
	stream := mara.NewID()
	mara.save(t, opens(mara, stream))
	require.NoError(t, mara.sync(t.Context(), 5*time.Second))
	bay := s.tablet(t).joins(mara.invites(t, eventv1.Role_ROLE_TECHNICIAN, ""), "Timo")

	events := func(ctx context.Context, after string, each func(event, id, data string) bool) {
		r, err := http.NewRequestWithContext(ctx, "GET", bay.link+"/live", nil)
		require.NoError(t, err)
		if after != "" {
			r.Header.Set("Last-Event-ID", after)
		}
		got, err := bay.Do(r)
		require.NoError(t, err)
		defer got.Body.Close() //nolint:errcheck // only read
		require.Equal(t, "text/event-stream; charset=utf-8", got.Header.Get("Content-Type"))
		var event, id, data string
		for in := bufio.NewScanner(got.Body); in.Scan(); {
			name, value, _ := strings.Cut(in.Text(), ": ")
			switch name {
			case "event":
				event = value
			case "id":
				id = value
			case "data":
				data = value
			case "":
				if event != "" && !each(event, id, data) {
					return
				}
				event, id, data = "", "", ""
			}
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	cursor := ""
	events(ctx, "", func(event, id, _ string) bool {
		if cursor == "" { // connected: now somebody writes
			require.Equal(t, "state", event)
			mara.save(t, note(stream, "from the office"))
			require.NoError(t, mara.sync(ctx, 5*time.Second))
			cursor = id
			return true
		}
		cursor = id
		return event != "entry"
	})
	for _, text := range []string{"one while it was away", "two"} {
		mara.save(t, note(stream, text))
	}
	require.NoError(t, mara.sync(ctx, 5*time.Second))
	var seqs []float64
	events(ctx, cursor, func(event, _, data string) bool {
		var e struct {
			Case string
			Seq  float64
		}
		require.NoError(t, json.Unmarshal([]byte(data), &e))
		if event == "entry" {
			require.Equal(t, stream, e.Case)
			seqs = append(seqs, e.Seq)
		}
		return len(seqs) < 2
	})
	require.Equal(t, []float64{3, 4}, seqs, "nothing is missed and nothing comes twice")

	got, text := bay.ask("/case/"+stream+"/say", url.Values{"line": {"12.1 V at fan.C1-2 to batt-, key on"}})
	require.Equal(t, http.StatusOK, got, text)
	require.Contains(t, text, `"waiting":false`)
	require.NoError(t, mara.sync(ctx, 5*time.Second))
	_, conn, err := mara.Connect()
	require.NoError(t, err)
	_, err = mara.HearNames(ctx, conn)
	require.NoError(t, errors.Join(err, conn.Close()))
	require.NoError(t, mara.Close())
	out := command(t, "--home", mara.dir, "verify", "-o", "csv")
	require.Contains(t, out, "a tablet whose key the server holds")
	require.NotContains(t, out, "does not hold")
}

// TestTabletTLS: the page is reached over TLS 1.3 alone, by the names that the
// certificate is for, and its cookie goes over nothing else.
func TestTabletTLS(t *testing.T) {
	s := serveTablets(t, "Tin Kettle Garage")
	bay := s.tablet(t)
	got, text := bay.ask("/trust/authority.crt", nil)
	require.Equal(t, http.StatusOK, got)
	require.Contains(t, text, "BEGIN CERTIFICATE")
	joined, err := bay.PostForm(bay.link+"/join", url.Values{"code": {s.shops[0].Code}, "name": {"Mara"}})
	require.NoError(t, err)
	require.NoError(t, joined.Body.Close())
	require.Len(t, joined.Cookies(), 1)
	require.True(t, joined.Cookies()[0].Secure, "the cookie is for TLS")
	require.True(t, joined.Cookies()[0].HttpOnly)
	u, err := url.Parse(bay.link)
	require.NoError(t, err)
	c, err := net.Dial("tcp", u.Host)
	require.NoError(t, err)
	old := tls.Client(c, &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS12}) //nolint:gosec // it must not come to anything
	require.Error(t, old.Handshake())
	require.NoError(t, c.Close())
	got, text = bay.ask("/join", url.Values{"code": {s.shops[0].Code}, "name": {"Mara again"}})
	require.Equal(t, http.StatusForbidden, got, text)
	require.Contains(t, text, "wrong, used or expired")
}
