package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"html"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/textproto"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/check"
)

// upload is a form with a file in it; fields that begin with '+' come behind the file.
func (b *bay) upload(name, kind string, content []byte, fields map[string]string) (int, map[string]any) {
	b.t.Helper()
	r := b.bringing(name, kind, bytes.NewReader(content), fields)
	w, text := b.answer(r)
	out := map[string]any{}
	require.NoError(b.t, json.Unmarshal([]byte(text), &out), text)
	return w.StatusCode, out
}

func (b *bay) bringing(name, kind string, content io.Reader, fields map[string]string) *http.Request {
	var head, tail bytes.Buffer
	m := multipart.NewWriter(&head)
	for k, v := range fields {
		if k[0] != '+' {
			require.NoError(b.t, m.WriteField(k, v))
		}
	}
	if name != "" {
		_, err := m.CreatePart(textproto.MIMEHeader{"Content-Disposition": {`form-data; name="file"; filename="` + name + `"`}, "Content-Type": {kind}})
		require.NoError(b.t, err)
	}
	rest := multipart.NewWriter(&tail)
	require.NoError(b.t, rest.SetBoundary(m.Boundary()))
	for k, v := range fields {
		if k[0] == '+' {
			if tail.Len() == 0 {
				tail.WriteString("\r\n") // behind the file
			}
			require.NoError(b.t, rest.WriteField(k[1:], v))
		}
	}
	require.NoError(b.t, rest.Close())
	r := httptest.NewRequest("POST", "http://127.0.0.1/case/"+b.stream+"/attach", io.MultiReader(&head, content, &tail))
	r.Header.Set("Content-Type", m.FormDataContentType())
	r.Header.Set("Accept", "application/json")
	r.AddCookie(&http.Cookie{Name: cookie, Value: testKey})
	return r
}

// TestAttach: a file is kept with the case, where no server answers too, shown in the
// timeline, and got back as it was, by headers that let it be nothing but bytes.
func TestAttach(t *testing.T) {
	b := newBay(t)
	photo := append([]byte("\xff\xd8\xff\xe0invented"), bytes.Repeat([]byte{7}, 100_000)...)
	code, got := b.upload("splice S4.jpg", "image/jpeg", photo, map[string]string{"entry": "1", "+by": "previous shop", "+when": "yesterday", "id": newID()})
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, true, got["waiting"])
	step := b.last()
	a := step.Says.GetAttachment()
	sum := sha256.Sum256(photo)
	require.Equal(t, sum[:], a.GetSha256())
	require.EqualValues(t, len(photo), a.GetSize())
	require.Equal(t, "splice S4.jpg", a.GetName())
	require.Equal(t, "image/jpeg", a.GetMediaType())
	require.Equal(t, b.before(1).ID, a.GetEntry())
	require.Equal(t, "previous shop", step.Says.GetBy(), "fields behind the file count too")
	page := html.UnescapeString(b.get("/case/" + b.stream))
	link := "/case/" + b.stream + "/file/" + step.ID
	require.Contains(t, page, `<img src="`+link+`"`)
	require.Contains(t, page, "splice S4.jpg, 100 kB")
	r, text := b.answer(b.request("GET", link, nil))
	require.Equal(t, http.StatusOK, r.StatusCode)
	require.Equal(t, string(photo), text)
	require.Equal(t, "image/jpeg", r.Header.Get("Content-Type"))
	require.Equal(t, `attachment; filename="splice S4.jpg"`, r.Header.Get("Content-Disposition"))
	require.Equal(t, "nosniff", r.Header.Get("X-Content-Type-Options"))
	require.Equal(t, "no-store", r.Header.Get("Cache-Control"), "what is erased is not shown from a browser's store")
	waiting, err := b.home.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Len(t, waiting, 1, "it goes once a server answers")

	for _, path := range []string{"/file/" + b.before(1).ID, "/file/x", "/file/" + newID()} {
		got, _ := b.answer(b.request("GET", "/case/"+b.stream+path, nil))
		require.Equal(t, http.StatusNotFound, got.StatusCode, path)
	}
}

// TestAttachedHostile: what could run in a browser is given as bytes to be kept, whatever
// it says that it is and whatever it is called.
func TestAttachedHostile(t *testing.T) {
	b := newBay(t)
	evil := []byte(`<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"><script>alert(2)</script></svg>`)
	for name, kind := range map[string]string{"a.html": "text/html", "a.svg": "image/svg+xml", "a.xhtml": "application/xhtml+xml", "a.js": "text/javascript", "a.pdf": "application/pdf", "noname": "text/html; charset=utf-7", "b.svg": "image/png"} {
		code, got := b.upload(name, kind, evil, nil)
		require.Equal(t, http.StatusOK, code, got)
		r, _ := b.answer(b.request("GET", "/case/"+b.stream+"/file/"+b.last().ID, nil))
		require.Equal(t, "application/octet-stream", r.Header.Get("Content-Type"), name)
		require.Contains(t, r.Header.Get("Content-Disposition"), "attachment", name)
		require.Contains(t, r.Header.Get("Content-Security-Policy"), "sandbox", name)
		require.Equal(t, "nosniff", r.Header.Get("X-Content-Type-Options"), name)
	}
	require.NotContains(t, b.get("/case/"+b.stream), "<img", "none of them is shown in the page")
	// It says that it is a photograph, and is none: a browser may try to draw it, and can do nothing else.
	code, got := b.upload("c.jpg", "text/html", evil, nil)
	require.Equal(t, http.StatusOK, code, got)
	r, _ := b.answer(b.request("GET", "/case/"+b.stream+"/file/"+b.last().ID, nil))
	require.Equal(t, "image/jpeg", r.Header.Get("Content-Type"))
	require.Equal(t, "nosniff", r.Header.Get("X-Content-Type-Options"))

	for said, kept := range map[string]string{`../../etc/passwd`: "passwd", `C:\\Users\\x\\capture.bin`: "capture.bin", `.profile`: "profile"} {
		code, got := b.upload(said, "application/octet-stream", evil, nil)
		require.Equal(t, http.StatusOK, code, got)
		require.Equal(t, kept, b.last().Says.GetAttachment().GetName())
	}
	for _, said := range []string{`a\"><script>alert(3)</script>.jpg`, "a\u202egpj.exe"} {
		code, got := b.upload(said, "image/jpeg", evil, nil)
		if code == http.StatusOK {
			text := b.get("/case/" + b.stream)
			require.NotContains(t, text, "<script>alert", got)
			require.NotContains(t, text, "\u202e", got)
			r, _ := b.answer(b.request("GET", "/case/"+b.stream+"/file/"+b.last().ID, nil))
			require.NotContains(t, r.Header.Get("Content-Disposition"), `"><`)
		}
	}
}

// endless is a file that has no end.
type endless struct{ given int64 }

func (e *endless) Read(b []byte) (int, error) {
	clear(b)
	e.given += int64(len(b))
	return len(b), nil
}

// TestAttachNot: what cannot be attached says why, and leaves no file behind; nobody who
// may not write brings one at all.
func TestAttachNot(t *testing.T) {
	b := newBay(t)
	for _, c := range []struct {
		name    string
		content string
		fields  map[string]string
		says    string
	}{
		{"", "", nil, "choose one first"},
		{"a.jpg", "", nil, "it is empty"},
		{"a.jpg", "x", map[string]string{"entry": "99"}, "no entry 99"},
		{"a.jpg", "x", map[string]string{"when": "whenever"}, "when"},
		{"a.jpg", "x", map[string]string{"name": "a/b"}, "plain file name"},
		{"a.jpg", "x", map[string]string{"+file": "x"}, "one file at a time"},
	} {
		code, got := b.upload(c.name, "image/jpeg", []byte(c.content), c.fields)
		require.Equal(t, http.StatusUnprocessableEntity, code, "%s: %v", c.says, got)
		require.Contains(t, got["error"], c.says)
	}
	require.EqualValues(t, 1, b.head())
	waiting, err := b.home.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Empty(t, waiting)

	big := new(endless)
	w, text := b.answer(b.bringing("a.bin", "application/octet-stream", io.LimitReader(big, check.MaxFile+2*most), nil))
	require.Contains(t, []int{http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge}, w.StatusCode, text)
	require.Contains(t, text, "256 MiB")
	waiting, err = b.home.FilesWaiting(t.Context())
	require.NoError(t, err)
	require.Empty(t, waiting)

	stranger := new(endless)
	r := b.bringing("a.bin", "application/octet-stream", stranger, nil)
	r.Header.Del("Cookie")
	w, _ = b.answer(r)
	require.Equal(t, http.StatusUnauthorized, w.StatusCode)
	b.stream = newID()
	w, _ = b.answer(b.bringing("a.bin", "application/octet-stream", stranger, nil))
	require.Equal(t, http.StatusNotFound, w.StatusCode)
	require.Zero(t, stranger.given, "not a byte of it is read")
}
