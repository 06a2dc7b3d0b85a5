package quick

import (
	"fmt"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// other writes the kinds that take a part or two.
func (w *writer) other(e *eventv1.Event) {
	switch k := e.GetKind().(type) {
	case *eventv1.Event_Seen:
		s := k.Seen
		w.add("saw " + w.text(s.What))
		if s.Component != "" {
			w.add("about component " + name(s.Component))
		}
		if s.Point != "" {
			w.add("about point " + name(s.Point))
		}
		w.add(notation.Word(s.Outcome))
		if s.OutsideConcern {
			w.add("outside the concern")
		}
		if s.Told != "" {
			w.add("told " + name(s.Told))
		}
	case *eventv1.Event_CodesRead:
		w.codes(k.CodesRead)
	case *eventv1.Event_CodesCleared:
		text := "cleared codes"
		if k.CodesCleared.Module != "" {
			text += " in " + name(k.CodesCleared.Module)
		}
		w.add(text)
		w.add(w.text(k.CodesCleared.Why))
	case *eventv1.Event_EvidenceDisturbed:
		d := k.EvidenceDisturbed
		text := map[eventv1.Disturbance]string{
			eventv1.Disturbance_DISTURBANCE_BATTERY_DISCONNECTED: "battery disconnected",
			eventv1.Disturbance_DISTURBANCE_MODULE_PROGRAMMED:    "programmed", eventv1.Disturbance_DISTURBANCE_MODULE_RELEARNED: "relearned",
		}[d.Disturbance]
		if d.Module != "" {
			text += " " + name(d.Module)
		}
		w.add(text)
		w.labelled("supply", notation.Format(d.Supply))
		w.extra = w.text(d.Said)
	case *eventv1.Event_Approval:
		w.approval(k.Approval)
	case *eventv1.Event_TimeSpent:
		what := w.text(k.TimeSpent.What)
		if p, err := newParser(what, Context{}); err == nil {
			if lead, _ := p.matchAny(0, afterValue...); lead > 0 || p.isNumber(0) {
				what = "on " + what
			}
		}
		w.add(fmt.Sprintf("%d min %s", k.TimeSpent.Minutes, what))
		w.labelled("charge", notation.FormatMoney(k.TimeSpent.Charge))
	case *eventv1.Event_ConcernStated:
		w.concern(k.ConcernStated)
	case *eventv1.Event_ConcernDuplicated:
		d := k.ConcernDuplicated
		if d.UnsafeToRepeat || d.OnRecord || d.Tries > 0 && d.Failures == 0 {
			w.add("not duplicated")
		} else {
			w.add("saw it")
		}
		if d.UnsafeToRepeat {
			w.add("unsafe to repeat")
		}
		if d.OnRecord {
			w.add("on record")
		}
		w.verdict(d.Tries, d.Failures, 0)
		w.conditions(d.Conditions)
		w.add(w.text(d.What))
	case *eventv1.Event_ConcernActingUp:
		w.add("acting up")
		w.conditions(k.ConcernActingUp.Conditions)
		w.add(w.text(k.ConcernActingUp.What))
	case *eventv1.Event_ConcernGoneAway:
		w.add("gone away")
		w.conditions(k.ConcernGoneAway.Conditions)
		w.add(w.text(k.ConcernGoneAway.What))
	default:
		w.last(e)
	}
}

// last writes what ends a job.
func (w *writer) last(e *eventv1.Event) {
	switch k := e.GetKind().(type) {
	case *eventv1.Event_WorkedOn:
		w.add("worked on " + name(k.WorkedOn.Area))
		w.add(w.text(k.WorkedOn.What))
		if len(k.WorkedOn.Components) > 0 {
			w.add("touched " + names(k.WorkedOn.Components))
		}
	case *eventv1.Event_MadeSafe:
		s := k.MadeSafe
		w.add("made safe " + notation.Word(s.Hazard))
		w.answer(s.LockedOff, "locked off", "not locked off")
		w.answer(s.ProvenDead, "proven dead", "not proven dead")
		w.answer(s.TesterProven, "tester proven", "tester not proven")
		if s.QualifiedHow != "" {
			w.add("qualified " + name(s.QualifiedHow))
		}
		w.extra = w.text(s.Said)
	case *eventv1.Event_Repair:
		r := k.Repair
		text := "repaired " + name(r.Component)
		if r.From != "" {
			text += " from " + name(r.From) + " to " + name(r.To)
		}
		w.add(text)
		if what := w.text(r.What); what != "repaired" {
			w.add(what)
		}
		if r.Mode != 0 {
			w.add(phrase(modes, r.Mode))
		}
		w.labelled("cost", notation.FormatMoney(r.Cost))
	case *eventv1.Event_RepairChecked:
		c := k.RepairChecked
		w.add("checked repair " + w.references(c.Repairs))
		if len(c.Before) > 0 {
			w.add("before " + w.references(c.Before))
		}
		if len(c.After) > 0 {
			w.add("after " + w.references(c.After))
		}
		w.answer(c.Rescanned, "rescanned", "not rescanned")
		w.answer(c.Relearned, "relearned", "not relearned")
		w.answer(c.ConcernTried, "concern tried", "concern not tried")
		w.presence(c.Concern)
		w.conditions(c.Conditions)
		w.add(notation.Word(c.Outcome))
		w.extra = w.text(c.Said)
	case *eventv1.Event_MeterChecked:
		m := k.MeterChecked
		verb := " checked on "
		if strings.HasPrefix(m.Source, "zeroed") || strings.HasPrefix(m.Source, "leads") {
			verb = " "
		}
		w.add(noun(m.Instrument) + verb + w.text(m.Source))
		w.add(notation.Format(m.Shown))
		w.add(notation.Word(m.Outcome))
	case *eventv1.Event_Closed:
		w.add("close " + notation.Word(k.Closed.Outcome))
		w.extra = w.text(k.Closed.Said)
	}
}

func (w *writer) codes(r *eventv1.CodesRead) {
	from := ""
	if r.Module != "" {
		from = " from " + name(r.Module)
	}
	switch r.Answer {
	case eventv1.CodesAnswer_CODES_ANSWER_NONE:
		w.add("codes none" + from)
	case eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER:
		w.add("codes: " + name(r.Module) + " does not answer")
	default:
		for i, c := range r.Codes {
			text := strings.Join(strings.Fields(c.Code+" "+notation.Word(c.State)+" "+c.Said), " ")
			if i == 0 {
				text = "codes " + text
			}
			if i == len(r.Codes)-1 {
				text += from
			}
			w.add(text)
		}
	}
	w.instrument(r.Instrument)
	w.conditions(r.Conditions)
}

func (w *writer) approval(a *eventv1.Approval) {
	text := "approved"
	if a.Refused {
		text = "refused"
	}
	if a.Who != "" {
		who := name(a.Who)
		// Of somebody called what begins another kind of line.
		if p, err := newParser(who+" "+text, Context{}); err != nil || p.recognise(grammars()) != Approve {
			who = `"` + a.Who + `"`
		}
		text = who + " " + text
	}
	if a.UpTo != nil {
		text += " " + notation.FormatMoney(a.UpTo)
	}
	w.add(text)
	w.add(a.How)
	w.labelled("for", w.text(a.What))
}

func (w *writer) concern(s *eventv1.ConcernStated) {
	c := s.GetConcern()
	w.add("concern " + w.text(c.GetStatement()))
	w.add(c.GetConditions())
	if m := c.GetOnset(); m != nil {
		text := m.Said
		if text == "" {
			text = notation.FormatRFC3339(m)
		}
		w.add("since " + text)
	}
	w.labelled("just after", c.GetJustBefore())
	w.add(c.GetFrequency())
	for _, t := range c.GetWorks() {
		w.add("works " + t)
	}
	for _, t := range c.GetDoesNotWork() {
		w.add("does not work " + t)
	}
	w.labelled("said by", s.SaidBy)
}
