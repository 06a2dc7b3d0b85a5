package brief

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// temporary lists what is still on the vehicle for now and how to undo it.
func (w *writer) temporary() Section {
	s := Section{Title: "Temporary, still on", None: "Nothing is recorded as temporary."}
	if len(w.Temporaries) > 0 {
		s.None = "Everything recorded as temporary is recorded as undone."
	}
	for _, t := range w.StillOn() {
		s.Lines = append(s.Lines, temporaryLine(t))
	}
	return s
}

func temporaryLine(t *cases.Temporary) Line {
	kind := notation.Word(t.Kind)
	p := phrase{or(t.What, kind)}
	switch t.Kind {
	case eventv1.TemporaryKind_TEMPORARY_KIND_OTHER, eventv1.TemporaryKind_TEMPORARY_KIND_PART_BORROWED:
	default:
		if t.What != "" && !strings.Contains(notation.Key(t.What), kind) {
			p[0] = kind + ": " + t.What
		}
	}
	var where []string
	for _, at := range t.Where {
		if !strings.Contains(t.What, at) {
			where = append(where, at)
		}
	}
	p.add("at %s", strings.Join(where, ", "))
	if t.Earlier != nil {
		p = append(p, "left by an earlier case")
	}
	p = append(p, "to undo: "+or(t.Undo, "not said"))
	return Line{Text: p.String(), Entries: seqs(t.On), Mark: "still on"}
}

// atHand lists the points of which a colour, a pin or a place was written down.
func (w *writer) atHand() Section {
	s := Section{Title: "Points at hand", None: "No pins or colours are recorded."}
	keys := make([]string, 0, len(w.Points))
	for key := range w.Points {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		at := w.Points[key]
		if at.Seen == nil {
			continue
		}
		p := phrase{at.Name}
		p.add("%s", at.Seen.GetColour())
		p.add("pin %s", at.Seen.GetPin())
		p.add("%s", at.Seen.GetWhere())
		p.add("%s", notation.Word(at.Seen.GetNet()))
		l := Line{Entries: seqs(at.Basis)}
		d := at.Basis.Says.GetCircuitDrawn()
		l.Mark = or(notation.Word(d.GetBasis()), "no basis given")
		p.add("according to %s", d.GetSource())
		if at.Last != nil {
			p.add("last read: %s", cases.ReadingWords(at.Last.Says.GetReading())+" "+refs(at.Last))
			l.Entries = append(l.Entries, at.Last.Seq)
		}
		l.Text = p.String()
		s.Lines = append(s.Lines, l)
	}
	return s
}

// used lists the instruments and kept parts that the record names.
func (w *writer) used() Section {
	var s Section
	var names []string
	used := map[string][]*cases.Step{}
	for _, step := range w.Jobs() {
		i := instrument(step.Says)
		name := or(i.GetName(), notation.Word(i.GetKind()))
		if name == "" || i.GetKind() == eventv1.InstrumentKind_INSTRUMENT_KIND_EYES_AND_HANDS {
			continue
		}
		if used[name] == nil {
			names = append(names, name)
		}
		used[name] = append(used[name], step)
	}
	for _, name := range names {
		s.Lines = append(s.Lines, Line{Text: fmt.Sprintf("%s was used", name), Entries: seqs(used[name]...), Mark: "instrument"})
	}
	for _, l := range w.keptParts() {
		if l.Mark == "kept" {
			s.Lines = append(s.Lines, l)
		}
	}
	return s
}

func instrument(e *eventv1.Event) *eventv1.Instrument {
	switch k := e.GetKind().(type) {
	case *eventv1.Event_Reading:
		return k.Reading.GetInstrument()
	case *eventv1.Event_Test:
		return k.Test.GetInstrument()
	case *eventv1.Event_CodesRead:
		return k.CodesRead.GetInstrument()
	case *eventv1.Event_MeterChecked:
		return k.MeterChecked.GetInstrument()
	}
	return nil
}

// keptParts says of each part that came out whether it was kept.
func (w *writer) keptParts() []Line {
	var out []Line
	add := func(step *cases.Step, what, where string, kept eventv1.Answer) {
		l := Line{Text: what, Entries: seqs(step)}
		switch kept {
		case eventv1.Answer_ANSWER_YES:
			l.Mark = "kept"
			if where != "" {
				l.Text += ", " + where
			}
		case eventv1.Answer_ANSWER_NO:
			l.Mark = "not kept"
		default:
			return
		}
		out = append(out, l)
	}
	for _, step := range w.Jobs() {
		if p := step.Says.GetPartFitted(); p != nil {
			add(step, or(p.GetRemoved(), "old "+p.GetComponent()), "", p.GetOldKept())
		}
		if p := step.Says.GetPartRemoved(); p != nil {
			add(step, p.GetComponent(), p.GetWhereKept(), p.GetKept())
		}
	}
	return out
}

// outside lists what was seen apart from the concern, and who was told.
func (w *writer) outside() Section {
	s := Section{Title: "Outside the concern", None: "Nothing is recorded as seen outside the concern."}
	for _, step := range w.Seen {
		seen := step.Says.GetSeen()
		if !seen.GetOutsideConcern() {
			continue
		}
		l := Line{Text: seen.GetWhat(), Entries: seqs(step), Mark: "nobody told"}
		if seen.GetTold() != "" {
			l.Mark = "told"
			l.Text += "; told to " + seen.GetTold()
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}
