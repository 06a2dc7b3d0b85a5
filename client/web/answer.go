package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"

	"knowngood.example/cases/path"
	"knowngood.example/cases/quick"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// heard is how a line, or a form, was understood.
type heard struct {
	Understood string `json:"understood"`
	// Line that a form made.
	Line string `json:"line"`
	// New are names that are not known in the case, with those alike.
	New []string `json:"new,omitempty"`
	// Picture of a circuit that is drawn, HTML, and what it lacks.
	Picture template.HTML `json:"picture,omitempty"`
}

// notHeard says where a line was not understood; Column counts characters from 1.
type notHeard struct {
	Error      string   `json:"error"`
	Column     int      `json:"column,omitempty"`
	Length     int      `json:"length,omitempty"`
	Understood []string `json:"understood,omitempty"`
	// Line as it was read, also that which a form made: to be changed.
	Line string `json:"line,omitempty"`
	// Field of a form that it is about.
	Field string `json:"field,omitempty"`
	// Problems are the places of a drawing that were not understood.
	Problems []problem `json:"problems,omitempty"`
	// Asks: it is taken once somebody says that it is right.
	Asks bool `json:"-"`
}

// kept is what became of a line.
type kept struct {
	heard
	Case string `json:"case"`
	ID   string `json:"id"`
	Seq  uint64 `json:"seq"`
	Text string `json:"text"`
	// Waiting: it is saved and not sent yet.
	Waiting bool `json:"waiting"`
}

// questions are about values that hardly can be.
type questions []string

func (q questions) Error() string { return strings.Join(q, "\n") }

// impossible: the line is understood and cannot be so.
type impossible struct{ error }

// told says what became of what was kept.
func (v *visit) told(s spoken) error {
	out, event := kept{heard: s.heard, Case: s.event.GetStream()}, s.event
	err := v.desk.Case(v.r.Context(), event.GetStream(), func(c *Case) error {
		out.ID, out.Text = event.GetId(), out.Understood
		// For a moment an entry may be nowhere here: taken by the server, and not told yet.
		// It is kept all the same, and its row comes.
		if step := c.ByID(event.GetId()); step != nil {
			out.Seq, out.Waiting, out.Text = step.Seq, step.Seq > c.Sent, c.Describe(step, v.who.Names)
			if f := fileOf(c, step); f != nil {
				out.Text = f.Name + ", " + f.Size
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if wantsJSON(v.r) {
		writeJSON(v.w, http.StatusOK, out)
		return nil
	}
	http.Redirect(v.w, v.r, fmt.Sprintf("/case/%s#e%d", event.GetStream(), out.Seq), http.StatusSeeOther)
	return nil
}

// refused answers for a line, or a form, that was not kept. What was typed goes back with
// it.
func (v *visit) refused(line string, err error) error {
	var wrong *quick.Error
	var field *client.Wrong
	var sketch *path.Error
	var asks questions
	var cannot impossible
	var place *client.Refusal
	no := notHeard{Error: client.Clean(err.Error()), Line: line}
	code := http.StatusUnprocessableEntity
	switch {
	case errors.As(err, &wrong):
		no = notHeard{Error: client.Clean(wrong.What), Column: wrong.Column, Length: wrong.Length, Understood: wrong.Understood, Line: line}
	case errors.As(err, &sketch):
		no = notDrawn(sketch)
	case errors.As(err, &field):
		no.Field, no.Error = field.Field, client.Clean(strings.ReplaceAll(field.Field, "-", " ")+field.Says)
	case errors.As(err, &asks):
		code, no.Asks = http.StatusConflict, true
	case errors.As(err, &cannot), errors.As(err, &place) && place.Reason == boardv1.Reason_REASON_IMPOSSIBLE:
	case errors.As(err, &place) && place.Reason == boardv1.Reason_REASON_PLACE_TAKEN:
		code, no.Asks = http.StatusConflict, true
		asks = questions{no.Error}
	default:
		return err
	}
	if !wantsJSON(v.r) {
		return v.again(code, &no, line)
	}
	if code == http.StatusConflict {
		writeJSON(v.w, code, map[string]any{"questions": asks})
		return nil
	}
	writeJSON(v.w, code, no)
	return nil
}

// again shows the page that a form stands on once more, with what was typed in it.
func (v *visit) again(code int, no *notHeard, line string) error {
	switch v.r.PostForm.Get("form") {
	case "draw":
		return v.drawing(code, no)
	case "handoff", "takeup", "handback":
		return v.handing(code, no)
	case "open":
		return v.opening(code, no)
	}
	return v.caseWith(code, no, line, v.r.PostForm)
}

func writeJSON(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(code)
	json.NewEncoder(w).Encode(v) //nolint:errcheck // the reader is gone
}

// taken refuses an id that somebody else's entry has.
func taken(id string) error {
	return &client.Refusal{Reason: boardv1.Reason_REASON_ID_TAKEN, Text: fmt.Sprintf("id: %s stands in this case, and another device wrote it", id)}
}
