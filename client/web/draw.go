package web

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/path"
	"knowngood.example/client"
	"knowngood.example/client/picture"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// drawView is the page to draw a circuit on.
type drawView struct {
	ID     string
	Fields url.Values
	Wrong  *notHeard
	// Instead is the drawing that is drawn anew; nil: a new one.
	Instead *drawing
	Sketch  *sketch
	People  []string
}

// drawing is one that stands in a case.
type drawing struct {
	Seq      uint64
	ID, Name string
}

// Get is what a field holds.
func (d drawView) Get(name string) string { return d.Fields.Get(name) }

// sketch is what a text draws.
type sketch struct {
	Pictures []pictures
	// Lacks are what it lacks, or what looks odd in it: it may be kept all the same.
	Lacks []problem
}

// problem is something about one place of a drawing, shown with the line it is in.
type problem struct {
	Where  string `json:"where"`
	What   string `json:"what"`
	Remedy string `json:"remedy"`
	// The line up to the place, what is meant there, and the rest.
	Before string `json:"before"`
	Meant  string `json:"meant"`
	After  string `json:"after"`
}

func problemOf(text string, p path.Problem) problem {
	line := []rune(path.LineOf(text, p))
	from := min(max(p.Column-1, 0), len(line))
	to := min(from+p.Length, len(line))
	where := fmt.Sprintf("column %d", p.Column)
	if strings.Contains(strings.TrimSpace(text), "\n") {
		where = fmt.Sprintf("line %d, column %d", p.Line, p.Column)
	}
	return problem{
		Where: where, What: client.Clean(p.What), Remedy: client.Clean(p.Remedy),
		Before: client.Clean(string(line[:from])), Meant: cmp.Or(client.Clean(string(line[from:to])), "…"), After: client.Clean(string(line[to:])),
	}
}

func notDrawn(err *path.Error) notHeard {
	no := notHeard{Error: "This is no drawing yet."}
	for _, p := range err.Problems {
		no.Problems = append(no.Problems, problemOf(err.Text, p))
	}
	if err.More > 0 {
		no.Error += fmt.Sprintf(" There are %d more places like these.", err.More)
	}
	return no
}

// sketchOf is the picture of a text, by the parser and the drawing that a case has.
func sketchOf(text string) (*sketch, string, error) {
	circuits, lacks, err := picture.Sketch(text)
	if err != nil {
		return nil, "", err
	}
	s, elements := new(sketch), 0
	for _, c := range circuits {
		elements += len(c.Elements)
		// Package picture escapes every name, and its own tests hold it to that.
		s.Pictures = append(s.Pictures, pictures{template.HTML(picture.Of(c, narrow, nil)), template.HTML(picture.Of(c, wide, nil))}) //nolint:gosec // see above
	}
	for _, l := range lacks {
		s.Lacks = append(s.Lacks, problemOf(text, l))
	}
	words := count(elements, "element", "elements") + " with the wires"
	if len(circuits) != 1 {
		words += ", in " + count(len(circuits), "circuit", "circuits")
	}
	return s, words, nil
}

// drawn makes the drawing that the fields say. What is drawn anew is a correction of the
// entry that drew it, so that nothing of the old one stays in the circuit.
func (v *visit) drawn(c *Case, s *spoken) error {
	f := v.r.PostForm
	text := strings.ReplaceAll(f.Get("path"), "\r\n", "\n")
	shown, words, err := sketchOf(text)
	if err != nil {
		return err
	}
	var picture bytes.Buffer
	if err := v.pages["draw"].ExecuteTemplate(&picture, "sketch", shown); err != nil {
		return err
	}
	s.Understood, s.Picture = words, template.HTML(picture.String()) //nolint:gosec // a template's
	read, err := path.Read(text)
	if err != nil {
		return err
	}
	drawn := read.Event
	if drawn.Basis, err = client.Choose[eventv1.Basis]("basis", f.Get("basis")); err != nil {
		return err
	}
	drawn.Name, drawn.Source = strings.TrimSpace(f.Get("name")), strings.TrimSpace(f.Get("source"))
	if drawn.Basis == 0 && s.trial {
		drawn.Basis = eventv1.Basis_BASIS_REMEMBERED // asked for when it is written down
	}
	if drawn.Basis == 0 {
		return &client.Wrong{Field: "basis", Says: " is missing: say where the drawing comes from, a diagram, traced by hand, or remembered"}
	}
	s.event = &eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: drawn}}
	id := f.Get("instead")
	if id == "" {
		return nil
	}
	step := c.ByID(id)
	if step == nil || step.Says.GetCircuitDrawn() == nil {
		return impossible{errors.New("the drawing that this takes the place of does not stand any more: draw it as a new one")}
	}
	why := strings.TrimSpace(f.Get("why"))
	if why == "" && s.trial {
		why = "drawn anew"
	}
	if why == "" {
		return &client.Wrong{Field: "why", Says: " is missing: say what was wrong with the drawing"}
	}
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(s.event)
	if err != nil {
		return fmt.Errorf("cannot marshal the drawing: %w", err)
	}
	s.Understood += fmt.Sprintf(", in the place of #%d", step.Seq)
	s.event = &eventv1.Event{Kind: &eventv1.Event_Correction{Correction: &eventv1.Correction{Entry: id, Why: why, Replacement: b}}}
	return nil
}

// asText is a drawing as it stands: as it was typed, where that says all of it.
func asText(k *eventv1.CircuitDrawn) string {
	text := k.GetSaid()
	read, err := path.Read(text)
	if err != nil || !alike(read.Event, k) {
		text = path.Write(k)
	}
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = client.Clean(strings.TrimRight(lines[i], "\r"))
	}
	return strings.Join(lines, "\n")
}

// alike reports whether two drawings draw the same.
func alike(a, b *eventv1.CircuitDrawn) bool {
	return proto.Equal(&eventv1.CircuitDrawn{Elements: a.GetElements(), Points: a.GetPoints()}, &eventv1.CircuitDrawn{Elements: b.GetElements(), Points: b.GetPoints()})
}

// drawings are those that stand in a case.
func drawings(c *cases.Case) []drawing {
	var out []drawing
	for _, s := range c.Drawings {
		if k := s.Says.GetCircuitDrawn(); k != nil {
			out = append(out, drawing{s.Seq, s.ID, k.GetName()})
		}
	}
	return out
}

// showDraw is the page to draw on; a POST shows what the text draws, and keeps nothing.
func showDraw(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	return v.drawing(http.StatusOK, nil)
}

func (v *visit) drawing(code int, no *notHeard) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		b := drawView{ID: c.Stream, Fields: v.r.PostForm, Wrong: no, People: v.people()}
		id := b.Get("instead")
		if seq, err := v.seq("instead", 0); err != nil {
			return err
		} else if seq > 0 && len(v.r.PostForm) == 0 {
			step := c.Step(seq)
			if step == nil || step.Says.GetCircuitDrawn() == nil {
				return fmt.Errorf("%w: entry %d draws no circuit that stands", client.ErrNotFound, seq)
			}
			k := step.Says.GetCircuitDrawn()
			b.Fields, id = url.Values{"path": {asText(k)}, "name": {client.Clean(k.GetName())}, "source": {client.Clean(k.GetSource())}, "basis": {notation.Word(k.GetBasis())}}, step.ID
		}
		for _, d := range drawings(c.Case) {
			if d.ID == id {
				b.Instead = &d
			}
		}
		if text := strings.ReplaceAll(b.Get("path"), "\r\n", "\n"); strings.TrimSpace(text) != "" {
			shown, _, err := sketchOf(text)
			var wrong *path.Error
			switch {
			case errors.As(err, &wrong) && b.Wrong == nil:
				no := notDrawn(wrong)
				b.Wrong = &no
			case err != nil && wrong == nil:
				return err
			}
			b.Sketch = shown
		}
		return v.page(code, "draw", &view{Title: "Draw a circuit: " + c.VehicleWords(), Case: c.Stream, Here: "draw", Body: b})
	})
}

// basisWords ask where a drawing comes from, by the word of its basis.
func basisWords(word string) string {
	switch word {
	case "looked up":
		return "from a diagram"
	case "traced":
		return "traced by hand on the vehicle"
	}
	return word
}
