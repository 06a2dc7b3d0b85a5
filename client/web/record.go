package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/path"
	"knowngood.example/cases/quick"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
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

// spoken is what somebody asks to be written down, as far as it is understood.
type spoken struct {
	heard
	event *eventv1.Event
	// trial: nothing of it will be kept.
	trial bool
}

// understand reads the line, or the form.
func (v *visit) understand(c *Case, s *spoken) error {
	var err error
	switch v.r.PostForm.Get("form") {
	case "draw":
		err = v.drawn(c, s)
	case "handoff", "takeup", "handback":
		err = v.handed(c, s)
	default:
		if s.Line, err = v.line(); err != nil {
			return err
		}
		var p *quick.Parsed
		if p, err = v.parse(c, s.Line); err == nil {
			s.heard, s.event = heardAs(p), p.Event
			s.event.Typed = s.Line
		}
	}
	if err != nil {
		return err
	}
	s.event.Stream = c.Stream
	return v.laid(s)
}

// laid fills in who did it and when, where the form says so: as the commands' flags do.
func (v *visit) laid(s *spoken) error {
	field := func(name string) string { return strings.TrimSpace(v.r.PostForm.Get(name)) }
	if by := field("by"); by != "" {
		s.event.By = by
		s.Understood += "; done by " + client.Clean(by)
	}
	if when := field("when"); when != "" {
		m, err := notation.ParseMoment(when, v.Now().In(v.Zone))
		if err != nil {
			return &client.Wrong{Field: "when", Says: ": " + err.Error()}
		}
		s.event.Happened = m
		s.Understood += "; done " + v.when(m)
	}
	if field("before") != "" {
		s.event.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
		s.Understood += "; before the case was opened"
	}
	return nil
}

func hear(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	s := spoken{trial: true}
	err := v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		if err := v.understand(c, &s); err != nil {
			return err
		}
		if check.Transition(envelope.KindOf(s.event)) {
			v.expects(c, s.event)
		}
		return v.holds(c, s.event)
	})
	var asks questions
	if err != nil && !errors.As(err, &asks) {
		return v.refused(s.Line, err)
	}
	writeJSON(v.w, http.StatusOK, s.heard)
	return nil
}

// expects is the place that a transition wants: the next.
func (v *visit) expects(c *Case, e *eventv1.Event) uint64 {
	next := c.Head() + 1
	e.Expect = &next
	return next
}

// since asks whether a transition is still right where entries came since its form was
// opened.
func (v *visit) since(c *Case, e *eventv1.Event) error {
	next := v.expects(c, e)
	seen, err := strconv.ParseUint(v.r.PostForm.Get("expect"), 10, 64)
	if err != nil || seen >= next || v.r.PostForm.Get("yes") == "1" {
		return nil
	}
	ask := count(int(next-seen), "entry has come", "entries have come") + " since you looked."
	for seq := next - 1; seq >= seen && seq > 0 && seq+3 >= next; seq-- {
		ask += fmt.Sprintf(" #%d: %s.", seq, strings.TrimSuffix(client.Clean(c.Describe(c.Step(seq), v.who.Names)), "."))
	}
	return questions{ask + " Is it still right?"}
}

func say(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	var s spoken
	err := v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		if err := v.understand(c, &s); err != nil {
			return err
		}
		s.event.Id = v.r.PostFormValue("id")
		if s.event.Id != "" && c.ByID(s.event.Id) != nil {
			return nil // sent again: whose it is, is decided below
		}
		if s.event.GetHappened() == nil {
			var err error
			if s.event.Happened, err = v.typedAt(); err != nil {
				return err
			}
		}
		if check.Transition(envelope.KindOf(s.event)) {
			if err := v.since(c, s.event); err != nil {
				return err
			}
		}
		return v.holds(c, s.event)
	})
	if err == nil {
		err = v.desk.Record(v.r.Context(), s.event)
	}
	if err != nil {
		return v.refused(s.Line, err)
	}
	return v.told(s)
}

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

func (v *visit) stream() string { return v.r.PathValue("case") }

// line is what was typed, or what the form makes.
func (v *visit) line() (string, error) {
	if v.r.PostForm.Get("form") != "" {
		return formLine(v.r.PostForm)
	}
	line := strings.TrimSpace(v.r.PostForm.Get("line"))
	if line == "" {
		return "", impossible{errors.New("there is nothing to write down yet: say what was done, as you would aloud, such as '12.31 V at fan.C1-2 to batt-, key on'")}
	}
	return line, nil
}

// typedAt is when the line was typed.
func (v *visit) typedAt() (*eventv1.Moment, error) {
	now := v.Now().In(v.Zone)
	if said := v.r.PostFormValue("happened"); said != "" {
		at, err := time.Parse(time.RFC3339, said)
		if err != nil {
			return nil, impossible{fmt.Errorf("happened: %q is no moment; it is written as 2026-03-02T12:00:00+01:00", said)}
		}
		if at.Before(now) {
			return client.Moment(at), nil
		}
	}
	return client.Moment(now), nil
}

// parse reads the line with what is known of the case, by the parser that the
// commands use. The last leads and conditions are those that this device recorded.
func (v *visit) parse(c *Case, line string) (*quick.Parsed, error) {
	last, reading, conditions := lately(c.Case, v.who.Device)
	q := client.Hearing(c.Case, last, v.Now().In(v.Zone), v.who.Currency)
	q.Red, q.Black, q.At = reading.GetRed(), reading.GetBlack(), reading.GetAt()
	q.Conditions = conditions
	return quick.Parse(line, q)
}

// lately is the last entry that the device recorded in the case, its last reading with
// leads, and the last conditions.
func lately(c *cases.Case, device string) (id string, reading *eventv1.Reading, conditions *eventv1.Conditions) {
	steps := c.Steps()
	for i := len(steps) - 1; i >= 0 && (reading == nil || conditions == nil); i-- {
		s := steps[i]
		if s.Entry.GetDevice() != device {
			continue
		}
		id = cmp.Or(id, s.ID)
		if r := s.Event.GetReading(); reading == nil && (r.GetRed() != "" || r.GetBlack() != "" || r.GetAt() != "") {
			reading = r
		}
		if conditions == nil {
			if conditions = s.Event.GetReading().GetConditions(); conditions == nil {
				conditions = s.Event.GetTest().GetConditions()
			}
		}
	}
	return id, reading, conditions
}

// holds holds the event against the checks that the commands use, once it says who did
// it as they do.
func (v *visit) holds(c *Case, e *eventv1.Event) error {
	if e.GetBy() != "" { // a person by name is meant by id
		id, known, err := v.who.Known.Person(e.GetBy())
		if err != nil {
			return &client.Wrong{Field: "by", Says: ": " + err.Error()}
		}
		if known {
			e.By = id
		}
	}
	r := check.Event(e, client.Checks(c.Case, v.Now(), v.who.Currency))
	if err := r.Err(); err != nil {
		return impossible{err}
	}
	if asks := r.Questions(); len(asks) > 0 && v.r.PostFormValue("yes") != "1" {
		return questions(asks)
	}
	return nil
}

func heardAs(p *quick.Parsed) heard {
	out := heard{Understood: client.Clean(p.Understood), Line: client.Clean(p.Line)}
	for _, n := range p.New {
		text := fmt.Sprintf("%q is new in this case", n.Text)
		if len(n.Nearest) > 0 {
			text += "; known and alike: " + strings.Join(n.Nearest, ", ")
		}
		out.New = append(out.New, client.Clean(text))
	}
	return out
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

// stepOf is an event that is no entry yet, to be said in words.
func stepOf(e *eventv1.Event) *cases.Step {
	return &cases.Step{Record: cases.Record{Event: e, Known: true}}
}
