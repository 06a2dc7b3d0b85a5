package brief

import (
	"fmt"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// done lists what was done to the vehicle, in job order, by whom, on whose word.
func (w *writer) done() Section {
	s := Section{Title: "What was done, in the order it was done", None: "Nothing is recorded as done to the vehicle."}
	for _, step := range w.Jobs() {
		if text := w.act(step); text != "" {
			p := phrase{text, w.who(step)}
			p.add("%s", moment(step.Happened()))
			p.add("%s", w.placed(step))
			s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(step)})
		}
	}
	return s
}

// act says in a few words what the step did to the vehicle; empty when nothing.
func (w *writer) act(step *cases.Step) string {
	switch k := step.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		return fmt.Sprintf("fitted: %s, %s", k.PartFitted.GetComponent(), partWords(k.PartFitted))
	case *eventv1.Event_PartRemoved, *eventv1.Event_PartPutBack:
		return w.DescribeNow(step, w.names)
	case *eventv1.Event_Repair:
		return fmt.Sprintf("repaired: %s, %s", k.Repair.GetComponent(), or(k.Repair.GetWhat(), "how is not said"))
	case *eventv1.Event_CodesCleared:
		return "codes cleared: " + w.DescribeNow(step, w.names)
	case *eventv1.Event_EvidenceDisturbed:
		return w.DescribeNow(step, w.names)
	case *eventv1.Event_WorkedOn:
		return "worked on: " + w.DescribeNow(step, w.names)
	case *eventv1.Event_MadeSafe:
		return "made safe: " + w.DescribeNow(step, w.names)
	case *eventv1.Event_TemporaryOn:
		return "put on for now: " + w.DescribeNow(step, w.names)
	case *eventv1.Event_TemporaryOff:
		return "undone: " + w.DescribeNow(step, w.names)
	}
	return ""
}

func partWords(p *eventv1.PartFitted) string {
	text := or(notation.Word(p.GetState()), "new or used is not said")
	if p.GetPart() != "" {
		text += ", " + p.GetPart()
	}
	if p.GetBorrowedFrom() != "" {
		text += ", from " + p.GetBorrowedFrom()
	}
	return text
}

// parts lists what was fitted, whether a test stood behind it, what it cost, and
// what tested it since.
func (w *writer) parts() Section {
	s := Section{Title: "Parts fitted", None: "No part is recorded as fitted."}
	for _, f := range w.Fittings {
		p := phrase{fmt.Sprintf("%s (%s)", f.Component.Name, partWords(f.Part))}
		p.add("number %s", f.Part.GetPartNumber())
		p.add("%s", answered(f.Part.GetNumberMatches(), "the number matches", "the number does not match"))
		p.add("why: %s", notation.Word(f.Part.GetWhy()))
		p.add("%s", f.Part.GetWhySaid())
		p = append(p, or(money(f.Part.GetCost()), "no cost recorded"))
		l := Line{Entries: seqs(f.Step), Mark: gradeWords(w.Graded(f))}
		behind, after := evidenceSteps(f.Failing), evidenceSteps(f.After)
		l.Entries = append(l.Entries, seqs(append(behind, after...)...)...)
		p.add("before it failed: %s", refs(behind...))
		p.add("seen to be bad before: %s", refs(f.Damage...))
		l.Entries = append(l.Entries, seqs(f.Damage...)...)
		switch {
		case f.PutBack != nil:
			p = append(p, "taken out again: "+refs(f.PutBack))
			l.Entries = append(l.Entries, f.PutBack.Seq)
		case len(after) == 0:
			p = append(p, "nothing has tested it since")
		default:
			p = append(p, "since: "+outcomes(f.After))
		}
		p.add("%s", answered(f.Part.GetOldKept(), "old part kept", "old part not kept"))
		l.Text = p.String()
		s.Lines = append(s.Lines, l)
	}
	return s
}

// gradeWords is the grade, with the reason that stands beside it.
func gradeWords(g cases.Graded) string {
	text := g.Grade.String()
	if r := g.Reason(); r != "" {
		text += "; " + r
	}
	return text
}

func evidenceSteps(all []*cases.Evidence) []*cases.Step {
	var out []*cases.Step
	for _, e := range all {
		out = append(out, e.Step)
	}
	return out
}

// outcomes says what came of each: 'pass #7, fail #9'.
func outcomes(all []*cases.Evidence) string {
	text := ""
	for i, e := range all {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprintf("%s #%d", or(notation.Word(e.Outcome), "not judged"), e.Step.Seq)
	}
	return text
}
