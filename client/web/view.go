package web

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	"knowngood.example/client/paper"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// view is one page: what stands around it, and its body.
type view struct {
	Title string
	// Who is at the page; nil: nobody is known.
	Who *Who
	// Case that the page is about; empty: none. Here is which page of it.
	Case, Here string
	Body       any
}

// parse reads the templates: each page is laid into the same layout.
func (p *Page) parse() error {
	shared, err := template.New("layout").Funcs(p.words()).ParseFS(files, "pages/layout.html", "pages/parts.html")
	if err != nil {
		return fmt.Errorf("the page's own files: %w", err)
	}
	p.pages = map[string]*template.Template{}
	for _, name := range []string{"board", "case", "document", "draw", "hand", "open", "pins", "replay", "join", "trust", "error"} {
		one, err := shared.Clone()
		if err == nil {
			one, err = one.ParseFS(files, "pages/"+name+".html")
		}
		if err != nil {
			return fmt.Errorf("the page's own files: %w", err)
		}
		p.pages[name] = one
	}
	return nil
}

// words are what templates say things with.
func (p *Page) words() template.FuncMap {
	return template.FuncMap{
		"clean":   client.Clean,
		"short":   notation.ShortID,
		"percent": func(f float64) string { return fmt.Sprintf("%.0f", 100*f) },
		"when":    p.when,
		"entry":   entryLink,
		"said":    said,
		"about":   func(stream, point string) string { return readAt(stream, point, "") },
		"money":   money,
		"count":   count,
		"list":    func(all ...string) []string { return all },
		"cash":    notation.FormatMoney,
		"word":    func(a eventv1.Answer) string { return notation.Word(a) },
		"field":   func(name, value string) field { return field{name, value} },
		"basis":   basisWords,
	}
}

// field is one of a form that asks as others do.
type field struct{ Name, Value string }

// entryLink leads to an entry in the timeline.
func entryLink(stream string, seq uint64) string {
	return "/case/" + url.PathEscape(stream) + "?q=" + url.QueryEscape(fmt.Sprintf("from:%d through:%d", seq, seq)) + "#timeline"
}

// said is the text of a line, in which the entries it rests on are links; those that it
// does not name stand behind it.
func said(stream string, l brief.Line) template.HTML {
	link := func(seq uint64) string {
		return fmt.Sprintf(`<a class="ref" href="%s" data-seq="%d" aria-label="entry %d">#%d</a>`, template.HTMLEscapeString(entryLink(stream, seq)), seq, seq, seq)
	}
	named := map[uint64]bool{}
	var b strings.Builder
	text, from := client.Clean(l.Text), 0
	for _, at := range entryNumber.FindAllStringIndex(text, -1) {
		seq, err := strconv.ParseUint(text[at[0]+1:at[1]], 10, 64)
		if err != nil || !slices.Contains(l.Entries, seq) || len(named) >= 2*fewRefs {
			continue // somebody's own words, or one of hundreds
		}
		b.WriteString(template.HTMLEscapeString(text[from:at[0]]) + link(seq))
		named[seq], from = true, at[1]
	}
	b.WriteString(template.HTMLEscapeString(text[from:]))
	more := 0
	for _, seq := range l.Entries {
		switch {
		case named[seq] || strings.Contains(text, fmt.Sprintf("#%d", seq)):
		case len(named) >= fewRefs:
			more++
		default:
			named[seq] = true
			b.WriteString(" " + link(seq))
		}
	}
	if more > 0 {
		fmt.Fprintf(&b, " and %d more", more)
	}
	return template.HTML(b.String()) //nolint:gosec // escaped above
}

// fewRefs are as many as somebody follows; a line of a long case rests on hundreds.
const fewRefs = 10

var entryNumber = regexp.MustCompile(`#[0-9]+`)

// when is a moment in words, in the page's zone; the machine's form stands beside it.
func (p *Page) when(m *eventv1.Moment) string {
	t, ok := notation.TimeOf(m)
	switch {
	case !ok:
		return client.Clean(m.GetSaid())
	case m.GetPrecision() == eventv1.Precision_PRECISION_DAY:
		return notation.FormatRFC3339(m)
	}
	t, now := t.In(p.Zone), p.Now().In(p.Zone)
	if t.Format(time.DateOnly) == now.Format(time.DateOnly) {
		return "today " + t.Format("15:04")
	}
	if t.Year() == now.Year() {
		return t.Format("2 Jan 15:04")
	}
	return t.Format("2 Jan 2006")
}

func money(list []*eventv1.Money) string {
	var out []string
	for _, m := range list {
		out = append(out, notation.FormatMoney(m))
	}
	return strings.Join(out, " and ")
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// write sends a page, whole or not at all.
func (p *Page) write(w http.ResponseWriter, code int, name string, v *view) {
	var b bytes.Buffer
	if err := p.pages[name].ExecuteTemplate(&b, "layout", v); err != nil {
		p.Logger.Error("a page could not be made", "page", name, "error", err)
		http.Error(w, "this page could not be made here", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	w.Write(b.Bytes()) //nolint:errcheck // the reader is gone
}

// page sends a page to whoever visits.
func (v *visit) page(code int, name string, out *view) error {
	out.Who = v.who
	v.write(v.w, code, name, out)
	return nil
}

// part sends a part of a page.
func (v *visit) part(page, name string, body any) error {
	var b bytes.Buffer
	if err := v.pages[page].ExecuteTemplate(&b, name, body); err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, err := v.w.Write(b.Bytes())
	return err
}

// boardView is the board.
type boardView struct {
	Waiting, Others []boardCase
	Closed          bool
}

type boardCase struct {
	brief.BoardLine
	ShopName, WaitsName string
	You                 bool
}

func board(v *visit) error {
	closed := v.r.FormValue("closed") != ""
	lines, err := v.desk.Board(v.r.Context(), closed)
	if err != nil {
		return err
	}
	b := boardView{Closed: closed}
	for _, l := range lines {
		c := boardCase{l, v.who.Names.Of(l.Shop), v.who.Names.Of(l.WaitsForShop), l.WaitsForShop == v.who.Shop}
		if c.You {
			b.Waiting = append(b.Waiting, c)
		} else {
			b.Others = append(b.Others, c)
		}
	}
	return v.page(http.StatusOK, "board", &view{Title: "Board", Body: b})
}

// documentView is a brief or hand-back.
type documentView struct {
	ID, Name string
	Doc      *brief.Document
	// At is the entry that the case stands at, Head its last.
	At, Head uint64
}

// maker makes a document of a case.
type maker = func(*cases.Judged, cases.Names) *brief.Document

// documents by the last part of their address.
func documents() map[string]maker {
	return map[string]maker{"brief": brief.Brief, "handback": brief.HandBack, "customer": brief.Customer}
}

func (v *visit) document(name string) error {
	return v.made(name, func(d documentView) error {
		return v.page(http.StatusOK, "document", &view{Title: d.Doc.Title, Case: d.ID, Here: name, Body: d})
	})
}

// onPaper sends a document as PDF.
func (v *visit) onPaper(name string) error {
	return v.made(name, func(d documentView) error {
		b, err := paper.PDF(d.Doc, v.Now())
		if err != nil {
			return err
		}
		v.w.Header().Set("Content-Type", "application/pdf")
		v.w.Header().Set("Content-Disposition", fmt.Sprintf(`inline; filename="%s-%s.pdf"`, name, notation.ShortID(d.ID)))
		_, err = v.w.Write(b)
		return err
	})
}

// made makes a document of the case as it stood at the entry that is asked for.
func (v *visit) made(name string, use func(documentView) error) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		at, err := v.seq("at", c.Head())
		if err != nil {
			return err
		}
		d := documentView{ID: c.Stream, Name: name, At: at, Head: c.Head()}
		if at < c.Head() {
			d.Doc = documents()[name](c.AsOf(at).Judge(c.Table), v.who.Names)
		} else {
			d.Doc = v.stood.of(c).document(name, v.who.Names)
		}
		return use(d)
	})
}

// pinsView is the points at hand.
type pinsView struct {
	ID    string
	Find  string
	Pins  []brief.Pin
	Title string
}

func showPins(v *visit) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		b := pinsView{ID: c.Stream, Find: v.r.FormValue("find"), Title: c.VehicleWords()}
		for _, p := range brief.Pins(c.Case) {
			text := strings.ToLower(fmt.Sprint(p))
			if strings.Contains(text, strings.ToLower(strings.TrimSpace(b.Find))) {
				b.Pins = append(b.Pins, p)
			}
		}
		return v.page(http.StatusOK, "pins", &view{Title: "Points at hand", Case: c.Stream, Here: "pins", Body: b})
	})
}
