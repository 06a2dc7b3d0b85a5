package web

import (
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/client"
	"knowngood.example/client/picture"
)

// rowsAtOnce is how much of a timeline is sent at once.
const rowsAtOnce = 40

// linesAtOnce is how many lines of a section the page of a case shows; the brief has
// them all.
const linesAtOnce = 12

// caseView is the page of a case.
type caseView struct {
	ID, Vehicle, Concern, State string
	Waits, WaitsName, Shop      string
	You, Invented               bool
	Head                        uint64
	Entries                     int
	Stands                      standsView
	Timeline                    timelineView
	Form                        formView
	// TakeUp: it was handed to the reader's shop, and waits to be taken up. ReadBack: it came
	// back to it, and nobody has had it since.
	TakeUp, ReadBack bool
}

// standsView is what stands: the part that changes with an entry.
type standsView struct {
	ID               string
	Question         brief.Section
	Temporary, Look  section
	Proven, Believed section
	Explained        section
	Next             []advice
	Withheld         []cases.Withheld
	NoNext           string
	Pictures         []pictures
	Circuits         []section
	AtHand           section
	Rest             []section
	Cautions         []string
	Drawings         []drawing
	// Refused is what was written down here and the server did not take.
	Refused []refusedRow
}

// section of a document, cut to what a page has room for.
type section struct {
	brief.Section
	ID   string
	More int
}

// pictures of one circuit: as wide as a phone, and as wide as a desk has room for.
type pictures struct{ Narrow, Wide template.HTML }

const narrow, wide = 326, 740

func picturesOf(stream string, judged *cases.Judged) []pictures {
	var out []pictures
	link := func(point string) string { return readAt(stream, point, "") }
	for _, c := range picture.Case(judged) {
		// Package picture escapes every name, and its own tests hold it to that.
		out = append(out, pictures{template.HTML(picture.Of(c, narrow, link)), template.HTML(picture.Of(c, wide, link))}) //nolint:gosec // see above
	}
	return out
}

// advice is a test to do next.
type advice struct {
	cases.Advice
	Says []string
	// Write leads to a form that has the leads in already.
	Write string
}

// timelineView is entries, the newest first.
type timelineView struct {
	ID   string
	Rows []row
	// Before is the seq that the next older rows lie before; 0: there are none.
	Before uint64
	Query  string
	Wrong  string
}

type row struct {
	cases.Row
	Who, Shop, Word string
	Waiting         bool
	File            *attachedFile
}

// formView is what the form to write down with holds.
type formView struct {
	ID, Line string
	Fields   url.Values
	Wrong    *notHeard
	Points   []string
	Parts    []string
	People   []string
	On       []onNow
	Open     string
}

// onNow is something temporary, and how a line refers to it.
type onNow struct{ Entry, Text string }

// Get is what a field holds.
func (f formView) Get(name string) string { return f.Fields.Get(name) }

func showCase(v *visit) error { return v.caseWith(http.StatusOK, nil, "", nil) }

// caseWith shows a case, with a line that was not kept where there is one.
func (v *visit) caseWith(code int, wrong *notHeard, line string, fields url.Values) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		timeline, err := v.timeline(c, v.r.URL.Query().Get("q"))
		if err != nil {
			return err
		}
		stands, err := v.stands(c)
		if err != nil {
			return err
		}
		b := caseView{
			ID: c.Stream, Vehicle: c.VehicleWords(), Concern: c.ConcernWords(), State: c.Standing(), Shop: v.who.Names.Of(c.OwnerShop), Head: c.Head(),
			Entries: int(c.Head()), Stands: stands, Timeline: timeline, Form: v.form(c, wrong, line, fields),
		}
		if h := client.OpenHandoff(c.Case, v.who.Shop); h != nil {
			b.TakeUp = h.TakenUp == nil
		}
		if c.Opening != nil {
			b.Invented = c.Opening.Says.GetCaseOpened().GetInvented()
		}
		waits, shop := c.Waits()
		b.You, b.Waits, b.WaitsName = shop == v.who.Shop, waits, v.who.Names.Of(shop)
		if n := len(c.Handoffs); n > 0 {
			b.ReadBack = b.You && c.Handoffs[n-1].Back != nil
		}
		return v.page(code, "case", &view{Title: b.Vehicle + ", " + b.Concern, Case: c.Stream, Here: "case", Body: b})
	})
}

func showStands(v *visit) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		stands, err := v.stands(c)
		if err != nil {
			return err
		}
		return v.part("case", "stands", stands)
	})
}

// placed are the sections of a brief that have a place of their own on the page of a
// case; the timeline stands for the one that lists what was done.
func placed() []string {
	return []string{
		"To look at first", "Question asked", "Proven", "What would explain it", "Next", "Circuit as drawn", "What was done, in the order it was done",
		"Only believed", "Temporary, still on", "Points at hand",
	}
}

func (v *visit) stands(c *Case) (standsView, error) {
	stood := v.stood.of(c)
	judged, doc := stood.judged, stood.document("brief", v.who.Names)
	s := standsView{ID: c.Stream}
	for _, text := range doc.Cautions { // what closes every one of them is said once, behind the last
		s.Cautions = append(s.Cautions, strings.TrimSuffix(text, brief.Deferring))
	}
	if len(s.Cautions) > 0 {
		s.Cautions = append(s.Cautions, strings.TrimSpace(brief.Deferring))
	}
	of := func(title string) section {
		i := slices.IndexFunc(doc.Sections, func(s brief.Section) bool { return s.Title == title })
		if i < 0 {
			return section{ID: c.Stream}
		}
		return cut(c.Stream, doc.Sections[i])
	}
	s.Question, s.Look, s.Temporary = of("Question asked").Section, of("To look at first"), of("Temporary, still on")
	s.Proven, s.Believed, s.Explained, s.AtHand = of("Proven"), of("Only believed"), of("What would explain it"), of("Points at hand")
	s.Pictures, s.Drawings = picturesOf(c.Stream, judged), drawings(c.Case)
	next := judged.Next()
	s.NoNext, s.Withheld = of("Next").None, next.Withheld
	for i, a := range next.Advice {
		if i == 3 {
			break
		}
		s.Next = append(s.Next, adviceOf(c.Stream, a))
	}
	for _, one := range doc.Sections {
		switch {
		case one.Title == "Circuit as drawn":
			s.Circuits = append(s.Circuits, cut(c.Stream, one))
		case !slices.Contains(placed(), one.Title) && len(one.Lines) > 0:
			s.Rest = append(s.Rest, cut(c.Stream, one))
		}
	}
	refused, err := v.tray(c)
	s.Refused = refused
	return s, err
}

func cut(stream string, s brief.Section) section {
	out := section{Section: s, ID: stream}
	if n := len(s.Lines); n > linesAtOnce {
		out.Lines, out.More = s.Lines[:linesAtOnce], n-linesAtOnce
	}
	return out
}

// readAt leads to the form for a reading, with the leads in it already.
func readAt(stream, red, black string) string {
	q := url.Values{"red": {red}}
	if black != "" {
		q.Set("black", black)
	}
	return "/case/" + url.PathEscape(stream) + "?" + q.Encode() + "#write"
}

func adviceOf(stream string, a cases.Advice) advice {
	out := advice{Advice: a}
	if a.IfWell != "" {
		out.Says = append(out.Says, "Well: "+a.IfWell, "Bad: "+a.IfBad)
	}
	for _, f := range a.Expect {
		out.Says = append(out.Says, f.String())
	}
	if w := a.WriteDown(); w != "" {
		out.Says = append(out.Says, w)
	}
	if a.Red != "" {
		out.Write = readAt(stream, a.Red, a.Black)
	}
	return out
}

func showRows(v *visit) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		after, err := v.seq("after", 0)
		if err != nil {
			return err
		}
		before, err := v.seq("before", 0)
		if err != nil {
			return err
		}
		if before > 0 {
			return v.part("case", "rows", v.rows(c, before-1, rowsAtOnce))
		}
		t := v.rows(c, c.Head(), int(min(c.Head()-min(after, c.Head()), 500)))
		t.Before = 0 // the page has those
		return v.part("case", "rows", t)
	})
}

// rows are so many entries up to a seq, the newest first.
func (v *visit) rows(c *Case, through uint64, n int) timelineView {
	t := timelineView{ID: c.Stream}
	seq := min(through, c.Head())
	for ; seq > 0 && len(t.Rows) < n; seq-- {
		t.Rows = append(t.Rows, v.row(c, c.Row(c.Step(seq), v.who.Names)))
	}
	t.Before = 0
	if seq > 0 {
		t.Before = seq + 1
	}
	return t
}

func (v *visit) row(c *Case, r cases.Row) row {
	s, file := r.Step, fileOf(c, r.Step)
	if file != nil && !file.Gone {
		file.Unsent = v.desk.Unsent(v.r.Context(), c.Stream, s.Says.GetAttachment())
	}
	return row{r, v.who.Names.Of(s.By), v.who.Names.Of(s.Shop), s.OnWhoseWord(v.who.Names), s.Seq > c.Sent, file}
}

// timeline is the newest entries, or those that a query asks for.
func (v *visit) timeline(c *Case, text string) (timelineView, error) {
	if text = strings.TrimSpace(text); text == "" {
		return v.rows(c, c.Head(), rowsAtOnce), nil
	}
	t := timelineView{ID: c.Stream, Query: text}
	q, err := cases.ParseQuery(text, v.Now().In(v.Zone))
	if err != nil {
		t.Wrong = client.Clean(err.Error())
		return t, nil
	}
	rows := c.Timeline(q, v.who.Names)
	slices.Reverse(rows)
	for i, r := range rows {
		if i == 10*rowsAtOnce {
			t.Wrong = fmt.Sprintf("and %d older ones: ask for less", len(rows)-i)
			break
		}
		t.Rows = append(t.Rows, v.row(c, r))
	}
	return t, nil
}

// form is the form to write down with: what was typed is in it again.
func (v *visit) form(c *Case, wrong *notHeard, line string, fields url.Values) formView {
	f := formView{ID: c.Stream, Line: line, Fields: fields, Wrong: wrong}
	if f.Fields == nil {
		q := v.r.URL.Query()
		f.Fields = url.Values{"red": {q.Get("red")}, "black": {q.Get("black")}}
		if q.Get("red") != "" {
			f.Open = "reading"
		}
	} else if f.Open = fields.Get("form"); f.Open != "" {
		f.Line = ""
	}
	for _, p := range c.Points {
		f.Points = append(f.Points, p.Name)
	}
	f.Parts = partsOf(c.Case)
	f.People = v.people()
	for _, t := range c.StillOn() {
		on := onNow{strconv.FormatUint(t.On.Seq, 10), t.What}
		if t.Earlier != nil {
			on.Entry = t.Earlier.GetEntry()
		}
		f.On = append(f.On, on)
	}
	slices.Sort(f.Points)
	return f
}

// people are those who may have done something, by name.
func (v *visit) people() []string {
	var out []string
	for _, p := range v.who.Known.People {
		if !p.Left && !slices.Contains(out, p.Name) {
			out = append(out, p.Name)
		}
	}
	slices.Sort(out)
	return out
}

// partsOf are the components of a case that people speak of.
func partsOf(c *cases.Case) []string {
	var out []string
	for _, p := range c.Components {
		if !p.OnlyDrawn() || len(p.Steps) > 0 {
			out = append(out, p.Name)
		}
	}
	slices.Sort(out)
	return out
}

// seq is an entry's number in the address; not there: otherwise.
func (v *visit) seq(name string, otherwise uint64) (uint64, error) {
	text := v.r.URL.Query().Get(name)
	if text == "" {
		return otherwise, nil
	}
	n, err := strconv.ParseUint(text, 10, 64)
	if err != nil || n == 0 && otherwise > 0 {
		return 0, fmt.Errorf("%w: %s: %q is no number of an entry; they count from 1", client.ErrNotFound, name, client.Clean(text))
	}
	if otherwise > 0 {
		n = min(n, otherwise)
	}
	return n, nil
}
