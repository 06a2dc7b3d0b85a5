package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// heard is how a line was understood.
type heard struct {
	Understood string `json:"understood"`
	// Line that a form made.
	Line string `json:"line"`
	// New are names that are not known in the case, with those alike.
	New []string `json:"new,omitempty"`
}

// notHeard says where a line was not understood; Column counts characters from 1.
type notHeard struct {
	Error      string   `json:"error"`
	Column     int      `json:"column,omitempty"`
	Length     int      `json:"length,omitempty"`
	Understood []string `json:"understood,omitempty"`
	// Line as it was read, also that which a form made: to be changed.
	Line string `json:"line,omitempty"`
}

// kept is what became of a line.
type kept struct {
	heard
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

func hear(v *visit) error {
	line, err := v.line()
	if err != nil {
		return v.refused(line, err)
	}
	var out heard
	err = v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		p, err := v.parse(c, line)
		if err == nil {
			out = heardAs(p)
			err = v.holds(c, p.Event)
		}
		return err
	})
	var asks questions
	if err != nil && !errors.As(err, &asks) {
		return v.refused(line, err)
	}
	writeJSON(v.w, http.StatusOK, out)
	return nil
}

func say(v *visit) error {
	line, err := v.line()
	if err != nil {
		return v.refused(line, err)
	}
	var out kept
	var event *eventv1.Event
	err = v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		p, err := v.parse(c, line)
		if err != nil {
			return err
		}
		out.heard, event = heardAs(p), p.Event
		event.Stream, event.Id, event.Typed = c.Stream, v.r.PostFormValue("id"), line
		if event.Id != "" && c.ByID(event.Id) != nil {
			return nil // sent again: whose it is, is decided below
		}
		if event.GetHappened() == nil {
			if event.Happened, err = v.typedAt(); err != nil {
				return err
			}
		}
		if check.Transition(envelope.KindOf(event)) {
			next := c.Head() + 1
			event.Expect = &next
		}
		return v.holds(c, event)
	})
	if err == nil {
		err = v.desk.Record(v.r.Context(), event)
	}
	if err != nil {
		return v.refused(line, err)
	}
	err = v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		out.ID, out.Text = event.GetId(), out.Understood
		// For a moment an entry may be nowhere here: taken by the server, and not told yet.
		// It is kept all the same, and its row comes.
		if step := c.ByID(event.GetId()); step != nil {
			out.Seq, out.Waiting, out.Text = step.Seq, step.Seq > c.Sent, c.Describe(step, v.who.Names)
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
	http.Redirect(v.w, v.r, fmt.Sprintf("/case/%s#e%d", v.stream(), out.Seq), http.StatusSeeOther)
	return nil
}

func (v *visit) stream() string { return v.r.PathValue("case") }

// line is what was typed, or what the form makes.
func (v *visit) line() (string, error) {
	if err := v.r.ParseForm(); err != nil {
		return "", err
	}
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

// holds holds the event against the checks that the commands use.
func (v *visit) holds(c *Case, e *eventv1.Event) error {
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

// refused answers for a line that was not kept. What was typed goes back with it.
func (v *visit) refused(line string, err error) error {
	var wrong *quick.Error
	var asks questions
	var cannot impossible
	no := notHeard{Error: client.Clean(err.Error()), Line: line}
	code := http.StatusUnprocessableEntity
	switch {
	case errors.As(err, &wrong):
		no = notHeard{client.Clean(wrong.What), wrong.Column, wrong.Length, wrong.Understood, line}
	case errors.As(err, &asks):
		code = http.StatusConflict
	case errors.As(err, &cannot):
	default:
		return err
	}
	if !wantsJSON(v.r) {
		return v.caseWith(code, &no, line, v.r.PostForm)
	}
	if code == http.StatusConflict {
		writeJSON(v.w, code, map[string]any{"questions": asks})
		return nil
	}
	writeJSON(v.w, code, no)
	return nil
}

func writeJSON(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(code)
	json.NewEncoder(w).Encode(v) //nolint:errcheck // the reader is gone
}

// formLine makes of the fields of a short form the line that says the same, so that
// there is one way in.
func formLine(f url.Values) (string, error) {
	get := func(name string) string { return strings.Join(strings.Fields(f.Get(name)), " ") }
	var l []string
	add := func(format, text string) {
		if text != "" {
			l = append(l, fmt.Sprintf(format, text))
		}
	}
	need := func(name, what string) (string, error) {
		if s := get(name); s != "" {
			return s, nil
		}
		return "", impossible{fmt.Errorf("%s is missing", what)}
	}
	switch kind := f.Get("form"); kind {
	case "reading":
		value, err := need("value", "the value that was read")
		if err != nil {
			return "", err
		}
		red, err := need("red", "where the red lead was")
		if err != nil {
			return "", err
		}
		text := strings.TrimSpace(value + " " + get("unit"))
		if get("drop") != "" {
			text += " drop"
		}
		text += " at " + name(red)
		if black := get("black"); black != "" {
			text += " to " + name(black)
		}
		l = append(l, text)
		add("%s", get("state"))
		add("%s", get("conditions"))
		add("should be %s", get("should"))
		add("%s", get("outcome"))
	case "test":
		did, err := need("did", "what was done to find out")
		if err != nil {
			return "", err
		}
		covers, err := need("covers", "which part the test covers")
		if err != nil {
			return "", err
		}
		outcome, err := need("outcome", "what came of it: pass, fail or inconclusive")
		if err != nil {
			return "", err
		}
		l = append(l, "test "+did, "covers "+names(covers), outcome)
	case "fitted":
		part, err := need("part", "which part was fitted")
		if err != nil {
			return "", err
		}
		l = append(l, "fit "+cmp.Or(get("state"), "new")+" "+name(part)+" in")
		add("%s", get("old"))
		add("%s", get("why"))
		add("cost %s", get("cost"))
	case "belief":
		statement, err := need("statement", "what is believed")
		if err != nil {
			return "", err
		}
		switch get("basis") {
		case "told":
			l = append(l, "they say "+statement)
		case "looked up", "remember":
			l = append(l, get("basis")+" "+statement)
		default:
			l = append(l, "assume "+statement)
		}
	case "temporary":
		what, err := need("what", "what stays on the vehicle for now")
		if err != nil {
			return "", err
		}
		l = append(l, "temp "+what)
		add("undo %s", get("undo"))
	case "undone":
		entry, err := need("entry", "which change was undone")
		if err != nil {
			return "", err
		}
		l = append(l, "temp off "+entry)
	case "note":
		text, err := need("text", "the note")
		if err != nil {
			return "", err
		}
		return "note " + text, nil
	default:
		return "", impossible{fmt.Errorf("there is no form %q; there are reading, test, fitted, belief, temporary, undone, note", client.Clean(kind))}
	}
	return strings.Join(l, ", "), nil
}

// name quotes a name that the parser could take for more than that.
func name(s string) string {
	if strings.Contains(s, `"`) || notation.Key(s) == "" {
		return s
	}
	return `"` + s + `"`
}

func names(list string) string {
	var out []string
	for _, s := range strings.Split(list, ",") {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, name(s))
		}
	}
	return strings.Join(out, ", ")
}

// taken refuses an id that somebody else's entry has.
func taken(id string) error {
	return &client.Refusal{Reason: boardv1.Reason_REASON_ID_TAKEN, Text: fmt.Sprintf("id: %s stands in this case, and another device wrote it", id)}
}
