package web

import (
	"context"
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

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	"knowngood.example/client/picture"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Door lets people in.
type Door interface {
	// Enter says who holds a session, and gives them their desk; ErrStranger when
	// nobody does. From is the address of the other side.
	Enter(ctx context.Context, session, from string) (*Who, Desk, error)
	// Join turns a code, or a link, into a session.
	Join(ctx context.Context, from, code, name string) (session string, err error)
}

// Desk is what one person sees and writes. Errors are client.ErrNotFound, a
// *client.Refusal, or faults.
type Desk interface {
	// Board lists the cases, those that wait for the person's shop first.
	Board(ctx context.Context, closed bool) ([]brief.BoardLine, error)
	// Case calls look with a case as it is now. It must not be kept or changed.
	Case(ctx context.Context, stream string, look func(*Case) error) error
	// Record keeps one event of a case; what it leaves out is filled in. Once it
	// returns, Case shows the event. The same id again, of the same person, is no
	// second event.
	Record(ctx context.Context, e *eventv1.Event) error
	// Follow tells what comes behind a cursor, empty: from now on, until ctx ends. The
	// first news come at once.
	Follow(ctx context.Context, cursor string, tell func(News) error) error
}

// ErrStranger: nobody is known by that session.
var ErrStranger = errors.New("nobody is known here by that: join first")

// Who is at the page.
type Who struct {
	Person, Device, Shop string
	Name, ShopName       string
	// Currency the shop counts in, ISO 4217.
	Currency string
	// Names of the shops and people they have to do with.
	Names cases.Names
}

// Case as a desk shows it.
type Case struct {
	*cases.Case
	// Sent is the last seq that the log has; what lies beyond waits to be sent.
	Sent uint64
	// Table that judgements rest on.
	Table *suspect.Table
}

// News is what came behind a cursor, and how things stand.
type News struct {
	// Cursor behind the entries.
	Cursor  string
	Entries []client.Came
	// Waiting entries of this home, and why its server is not reached; empty: it is.
	Waiting int
	Off     string
}

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
	at := func(pattern string, f func(*visit) error) { mux.HandleFunc(pattern, p.visited(f)) }
	at("GET /{$}", board)
	at("GET /case/{case}", showCase)
	at("GET /case/{case}/rows", showRows)
	at("GET /case/{case}/stands", showStands)
	for name, make := range documents() {
		at("GET /case/{case}/"+name, func(v *visit) error { return v.document(name, make) })
		at("GET /case/{case}/"+name+"/pdf", func(v *visit) error { return v.onPaper(name, make) })
	}
	at("GET /case/{case}/pins", showPins)
	at("GET /case/{case}/replay", showReplay)
	at("POST /case/{case}/hear", hear)
	at("POST /case/{case}/say", say)
	at("GET /live", live)
	mux.HandleFunc("GET /join", p.askJoin)
	mux.HandleFunc("POST /join", p.join)
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
		r.Body = http.MaxBytesReader(w, r.Body, most)
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
