package web

import (
	"encoding/pem"
	"net/http"
	"time"
)

// A session lasts as long as the device is known; browsers keep none longer.
const sessionLife = 400 * 24 * time.Hour

func (p *Page) remember(w http.ResponseWriter, session string) {
	http.SetCookie(w, &http.Cookie{
		Name: cookie, Value: session, Path: "/", MaxAge: int(sessionLife / time.Second), HttpOnly: true, Secure: p.Secure, SameSite: http.SameSiteLaxMode,
	})
}

// joining is what the page to join on shows.
type joining struct {
	Code, Name, Error string
	Trust             bool
}

func (p *Page) askJoin(w http.ResponseWriter, r *http.Request) {
	p.write(w, http.StatusOK, "join", &view{Title: "Join a shop", Body: joining{Code: r.FormValue("code"), Trust: p.Authority != nil}})
}

func (p *Page) join(w http.ResponseWriter, r *http.Request) {
	j := joining{Code: r.PostFormValue("code"), Name: r.PostFormValue("name"), Trust: p.Authority != nil}
	session, err := p.door.Join(r.Context(), from(r), j.Code, j.Name)
	if err != nil {
		code, fault := status(err)
		if fault {
			p.Logger.Error("a join failed", "error", err)
		}
		if code == http.StatusInternalServerError {
			code = http.StatusUnprocessableEntity
		}
		j.Error = err.Error()
		p.write(w, code, "join", &view{Title: "Join a shop", Body: j})
		return
	}
	p.remember(w, session)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// enter takes a key from a link that was printed here: it is a session of its own.
func (p *Page) enter(w http.ResponseWriter, r *http.Request) {
	key := r.URL.Query().Get("key")
	if _, _, err := p.door.Enter(r.Context(), key, from(r)); err != nil {
		p.fail(w, r, err)
		return
	}
	p.remember(w, key)
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

func (p *Page) trust(w http.ResponseWriter, _ *http.Request) {
	p.write(w, http.StatusOK, "trust", &view{Title: "Let this device trust the page", Body: p.Authority != nil})
}

func (p *Page) authority(w http.ResponseWriter, r *http.Request) {
	if p.Authority == nil {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	w.Write(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: p.Authority})) //nolint:errcheck // the reader is gone
}
