package brief

import (
	"fmt"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// concern is the section that says which vehicle and what is wrong with it.
func (w *writer) concern() Section {
	s := Section{Title: "Vehicle and concern", None: "The opening of the case is not here."}
	if w.Opening == nil {
		return s
	}
	o := w.Opening.Says.GetCaseOpened()
	s.Lines = append(s.Lines, Line{Text: w.vehicle(o), Entries: seqs(w.Opening)})
	for _, step := range w.Concerns {
		con, said := o.GetConcern(), ""
		if st := step.Says.GetConcernStated(); st != nil {
			con, said = st.GetConcern(), st.GetSaidBy()
		}
		s.Lines = append(s.Lines, concernLines(step, con, said)...)
	}
	return Section{Title: s.Title, Lines: append(s.Lines, w.presence()...)}
}

func (w *writer) vehicle(o *eventv1.CaseOpened) string {
	v := o.GetVehicle()
	p := phrase{w.VehicleWords()}
	p.add("VIN %s", v.GetVin())
	p.add("plate %s", v.GetPlate())
	if v.GetOdometer() != nil {
		p.add("%s", notation.Format(v.GetOdometer()))
	}
	if v.GetSystemVolts() != 0 {
		p = append(p, fmt.Sprintf("%d V system", v.GetSystemVolts()))
	}
	p.add("%s", answered(v.GetHighVoltage(), "high voltage on board", ""))
	p.add("%s", answered(o.GetCrash(), "has had a crash", ""))
	p.add("%s", answered(o.GetFlood(), "has been flooded", ""))
	p.add("%s", answered(o.GetRodents(), "has had rodents", ""))
	p.add("added equipment: %s", strings.Join(o.GetAddedEquipment(), ", "))
	p.add("%s", answered(o.GetCanBeMoved(), "", "cannot be moved"))
	p.add("work order %s", o.GetWorkOrder())
	if o.GetInvented() {
		p = append(p, "invented for demonstration")
	}
	return p.String()
}

func concernLines(step *cases.Step, c *eventv1.Concern, said string) []Line {
	var p, began phrase
	p.add("%s", c.GetStatement())
	p.add("when: %s", c.GetConditions())
	p.add("how often: %s", c.GetFrequency())
	p.add("works: %s", strings.Join(c.GetWorks(), ", "))
	p.add("does not work: %s", strings.Join(c.GetDoesNotWork(), ", "))
	p.add("said by %s", said)
	began.add("began %s", moment(c.GetOnset()))
	began.add("just before: %s", c.GetJustBefore())
	var out []Line
	if len(p) > 0 {
		out = append(out, Line{Text: "Concern: " + p.String(), Entries: seqs(step)})
	}
	if len(began) > 0 {
		out = append(out, Line{Text: "Onset: " + began.String(), Entries: seqs(step)})
	}
	return out
}

// presence says whether anybody saw it, and how it behaved since.
func (w *writer) presence() []Line {
	var out []Line
	seen := false
	for _, step := range w.Presence {
		l := Line{Text: w.DescribeNow(step, w.names), Entries: seqs(step)}
		switch k := step.Says.GetKind().(type) {
		case *eventv1.Event_ConcernDuplicated:
			seen = true
			l.Mark = "duplicated"
			if k.ConcernDuplicated.GetUnsafeToRepeat() {
				l.Mark = "not duplicated"
			}
		case *eventv1.Event_ConcernActingUp:
			l.Mark = "acting up"
		case *eventv1.Event_ConcernGoneAway:
			l.Mark = "gone away"
		}
		out = append(out, l)
	}
	if !seen {
		out = append(out, Line{Text: "Nobody is recorded to have duplicated the concern.", Mark: "not duplicated"})
	}
	for _, step := range w.CameBack {
		out = append(out, Line{Text: w.DescribeNow(step, w.names), Entries: seqs(step), Mark: "came back"})
	}
	return out
}

// question is the section on what was asked, of whom and within which limits.
func (w *writer) question() Section {
	s := Section{Title: "Question asked", None: "The case has not been handed off with a question."}
	for _, h := range w.Handoffs {
		p := phrase{"no question is given"}
		if q := h.Says.GetQuestion(); q != "" {
			p[0] = fmt.Sprintf("%q", q)
		}
		p.add("asked of %s", strings.Join(strings.Fields(w.names.Of(h.Says.GetToPerson())+" "+w.names.Of(h.Says.GetToShop())), " "))
		p = append(p, w.who(h.Step))
		p = append(p, "limits: "+or(cases.LimitWords(h.Says.GetLimits()), "none recorded"))
		if limit := h.Says.GetLimits().GetMinutes(); limit != 0 {
			p = append(p, fmt.Sprintf("%d min spent since", w.minutesSince(h.Step)))
		}
		l := Line{Text: p.String(), Entries: seqs(h.Step, h.TakenUp, h.Back), Mark: "not taken up"}
		switch {
		case h.Back != nil:
			l.Mark = "handed back"
		case h.TakenUp != nil:
			l.Mark = "taken up"
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}

func (w *writer) minutesSince(h *cases.Step) uint64 {
	var n uint64
	for _, t := range w.Time {
		if t.Job > h.Job {
			n += uint64(t.Says.GetTimeSpent().GetMinutes())
		}
	}
	return n
}
