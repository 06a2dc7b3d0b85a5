package web

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"

	"knowngood.example/client"
	"knowngood.example/client/picture"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Options of a page.
type Options struct {
	// Secure: it is served over TLS.
	Secure bool
	// Hosts are the names and addresses, without port, that it may be asked by.
	Hosts func() []string
	// Authority is a certificate, DER, that a device may be told to trust; nil: none.
	Authority []byte
	// Zone that times are shown and read in.
	Zone *time.Location
	Now  func() time.Time
	// NewID mints a UUIDv7.
	NewID func() string
	// Logger takes faults; never what was recorded, never a session.
	Logger *slog.Logger
}

// Page answers requests.
type Page struct {
	Options
	door   Door
	pages  map[string]*template.Template
	charts charts
	stood  standing
	serve  http.Handler
}

//go:embed pages assets
var files embed.FS

// New makes the page of a door.
func New(door Door, o Options) (*Page, error) {
	p := &Page{Options: o, door: door}
	if p.Logger == nil {
		p.Logger = slog.New(slog.DiscardHandler)
	}
	if err := p.parse(); err != nil {
		return nil, err
	}
	assets, err := fs.Sub(files, "assets")
	if err != nil {
		return nil, fmt.Errorf("the page's own files: %w", err)
	}
	mux := http.NewServeMux()
	at := func(pattern string, f func(*visit) error) { mux.Handle(pattern, limited(most, p.visited(whole(f)))) }
	at("GET /{$}", board)
	at("GET /case/{case}", showCase)
	at("GET /case/{case}/rows", showRows)
	at("GET /case/{case}/stands", showStands)
	for name := range documents() {
		at("GET /case/{case}/"+name, func(v *visit) error { return v.document(name) })
		at("GET /case/{case}/"+name+"/pdf", func(v *visit) error { return v.onPaper(name) })
	}
	at("GET /case/{case}/pins", showPins)
	at("GET /case/{case}/replay", showReplay)
	at("POST /case/{case}/hear", hear)
	at("POST /case/{case}/say", say)
	at("POST /case/{case}/again", sayAgain)
	at("GET /case/{case}/draw", showDraw)
	at("POST /case/{case}/draw", showDraw)
	at("GET /case/{case}/hand", showHand)
	mux.Handle("POST /case/{case}/attach", limited(mostFile, p.visited(attach)))
	mux.Handle("GET /case/{case}/file/{entry}", p.visited(showFile))
	at("GET /open", showOpen)
	at("POST /open", openCase)
	mux.Handle("GET /live", p.visited(live))
	mux.HandleFunc("GET /join", p.askJoin)
	mux.Handle("POST /join", limited(most, http.HandlerFunc(p.join)))
	mux.HandleFunc("GET /enter", p.enter)
	mux.HandleFunc("GET /trust", p.trust)
	mux.HandleFunc("GET /trust/authority.crt", p.authority)
	mux.HandleFunc("GET /assets/circuit.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Write(picture.Style) //nolint:errcheck // the reader is gone
	})
	mux.Handle("GET /assets/", http.StripPrefix("/assets/", http.FileServerFS(assets)))
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		p.fail(w, r, fmt.Errorf("%w: there is no such page", client.ErrNotFound))
	})
	p.serve = p.guarded(http.NewCrossOriginProtection().Handler(mux))
	return p, nil
}

func (p *Page) ServeHTTP(w http.ResponseWriter, r *http.Request) { p.serve.ServeHTTP(w, r) }

// most is how much a request may bring.
const most = 64 << 10

// limited lets a request bring so much and no more, for as long as it goes on.
func limited(n int64, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if n > most {
			r.Body = unhurried{r.Body, http.NewResponseController(w)}
		}
		r.Body = http.MaxBytesReader(w, r.Body, n)
		next.ServeHTTP(w, r)
	})
}

// policy lets the page use what it brings itself and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; " +
	"form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// guarded refuses what is asked by a name that is not the page's, and says what
// browsers are to hold to.
func (p *Page) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		host := r.Host
		if name, _, err := net.SplitHostPort(host); err == nil {
			host = name
		}
		if !slices.Contains(p.Hosts(), strings.Trim(host, "[]")) {
			http.Error(w, "this page is not known by that name; ask it by the address it printed", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// visit is one request of somebody who is known.
type visit struct {
	*Page
	w    http.ResponseWriter
	r    *http.Request
	who  *Who
	desk Desk
}

const cookie = "knowngood"

func (p *Page) visited(f func(*visit) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		session := ""
		if c, err := r.Cookie(cookie); err == nil {
			session = c.Value
		}
		who, desk, err := p.door.Enter(r.Context(), session, from(r))
		if err == nil {
			err = f(&visit{p, w, r, who, desk})
		}
		if err != nil {
			p.fail(w, r, err)
		}
	}
}

// whole lets an answer be made before any of it is sent: while a case is looked at, others
// wait for it, and they are not to wait for somebody who reads slowly.
func whole(f func(*visit) error) func(*visit) error {
	return func(v *visit) error {
		out := v.w
		made := &answer{ResponseWriter: out}
		v.w = made
		if err := f(v); err != nil {
			return err
		}
		if made.code != 0 {
			out.WriteHeader(made.code)
		}
		out.Write(made.body.Bytes()) //nolint:errcheck // the reader is gone
		return nil
	}
}

// answer keeps what is written until it is whole.
type answer struct {
	http.ResponseWriter
	code int
	body bytes.Buffer
}

func (a *answer) WriteHeader(code int) { a.code = code }

func (a *answer) Write(b []byte) (int, error) { return a.body.Write(b) }

// from is the address of the other side, without its port.
func from(r *http.Request) string {
	if host, _, err := net.SplitHostPort(r.RemoteAddr); err == nil {
		return host
	}
	return r.RemoteAddr
}

// status of an error, and whether it is a fault of ours.
func status(err error) (code int, fault bool) {
	var no *client.Refusal
	var long *http.MaxBytesError
	switch {
	case errors.Is(err, ErrStranger):
		return http.StatusUnauthorized, false
	case errors.As(err, &long):
		return http.StatusRequestEntityTooLarge, false
	case errors.As(err, &no):
		switch no.Reason {
		case boardv1.Reason_REASON_WHO_ARE_YOU:
			return http.StatusUnauthorized, false
		case boardv1.Reason_REASON_NOT_FOUND:
			return http.StatusNotFound, false
		case boardv1.Reason_REASON_NOT_ALLOWED, boardv1.Reason_REASON_DEVICE, boardv1.Reason_REASON_JOIN_CODE:
			return http.StatusForbidden, false
		case boardv1.Reason_REASON_LIMIT:
			return http.StatusTooManyRequests, false
		case boardv1.Reason_REASON_NO_ROOM, boardv1.Reason_REASON_STOPPED:
			return http.StatusServiceUnavailable, false
		}
		return http.StatusUnprocessableEntity, false
	case errors.Is(err, client.ErrNotFound):
		return http.StatusNotFound, false
	case errors.Is(err, client.ErrOffline):
		return http.StatusServiceUnavailable, false
	}
	return http.StatusInternalServerError, true
}

// fail answers with an error: what is ours goes to our log, not to the page.
func (p *Page) fail(w http.ResponseWriter, r *http.Request, err error) {
	if r.Context().Err() != nil {
		return // nobody is there any more
	}
	code, fault := status(err)
	text := err.Error()
	if fault {
		p.Logger.Error("a request failed", "path", r.Pattern, "error", err)
		text = "this failed here; what you typed is kept in the page: try again"
	}
	if code == http.StatusUnauthorized && r.Method == http.MethodGet && !wantsJSON(r) && r.Pattern != "GET /live" && !strings.Contains(r.Pattern, "/rows") && !strings.Contains(r.Pattern, "/stands") {
		http.Redirect(w, r, "/join", http.StatusSeeOther)
		return
	}
	if wantsJSON(r) {
		writeJSON(w, code, map[string]any{"error": text})
		return
	}
	p.write(w, code, "error", &view{Title: "That did not work", Body: text})
}

func wantsJSON(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "application/json")
}
