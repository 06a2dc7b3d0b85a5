package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/quick"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// spoken is what somebody asks to be written down, as far as it is understood.
type spoken struct {
	heard
	event *eventv1.Event
	// first is written down before it; mostly nothing.
	first *eventv1.Event
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
			if off := s.event.GetTemporaryOff(); off != nil && off.GetTemporary() == "" {
				s.New = append(s.New, "nothing is entered that this takes off: it is written down as you say it")
			}
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
		id := v.r.PostFormValue("id")
		if id != "" && c.ByID(id) != nil { // sent again: whose it is, is decided below
			s.event = &eventv1.Event{Stream: c.Stream, Id: id}
			return nil
		}
		if err := v.understand(c, &s); err != nil {
			return err
		}
		s.event.Id = id
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
		if s.first != nil && c.ByID(s.first.GetId()) == nil { // not sent again
			s.first.Stream, s.first.Happened = c.Stream, s.event.GetHappened()
			*s.event.Expect++
			if err := v.holds(c, s.first); err != nil {
				return err
			}
		}
		return v.holds(c, s.event)
	})
	if err == nil && s.first.GetStream() != "" {
		err = v.desk.Record(v.r.Context(), s.first)
	}
	if err == nil {
		err = v.desk.Record(v.r.Context(), s.event)
	}
	if err != nil {
		return v.refused(s.Line, err)
	}
	return v.told(s)
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

// stepOf is an event that is no entry yet, to be said in words.
func stepOf(e *eventv1.Event) *cases.Step {
	return &cases.Step{Record: cases.Record{Event: e, Known: true}}
}
