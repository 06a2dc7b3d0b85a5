package brief

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// showed splits the tests, readings and looks into what speaks of what is there
// now, and what speaks only of what was there before.
func (w *writer) showed() (now, overtaken Section) {
	now = Section{Title: "What tests and readings showed", None: "Nothing was tested, read or looked at that bears on what is there now."}
	overtaken = Section{Title: "Overtaken by what was fitted or disturbed since", None: "No test or reading has been overtaken."}
	bears := map[*cases.Step][]*cases.Evidence{}
	for _, e := range w.Evidence {
		bears[e.Step] = append(bears[e.Step], e)
	}
	for _, s := range w.Jobs() {
		text, mark := w.result(s)
		if text == "" {
			continue
		}
		since, left := w.since(s, w.spokenOf(s, bears[s]))
		p := phrase{text}
		p.add("%s", since)
		if s.By != s.RecordedBy {
			p = append(p, w.who(s))
		}
		p.add("%s", w.placed(s))
		l := Line{Text: p.String(), Entries: seqs(s), Mark: mark}
		if left {
			now.Lines = append(now.Lines, l)
		} else {
			overtaken.Lines = append(overtaken.Lines, l)
		}
	}
	return now, overtaken
}

// result says what came of a step, in words and in one; both empty when the step
// is no test, reading or look.
func (w *writer) result(s *cases.Step) (text, mark string) {
	var p phrase
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_Reading:
		r := k.Reading
		p = phrase{cases.ReadingWords(r)}
		p.add("%s", cases.ConditionWords(r.GetConditions()))
		p.add("should be %s", cases.ExpectationWords(r.GetShouldBe()))
		p.add("concern %s", notation.Word(r.GetConcern()))
		p.add("%s", tried(r.GetTries(), r.GetFailures()))
		p.add("meanwhile %s", r.GetMeanwhile())
		p.add("speaks of %s", covered(r.GetCovers()))
		return p.String(), or(notation.Word(r.GetOutcome()), "not judged")
	case *eventv1.Event_Test:
		t := k.Test
		p.add("%s", or(t.GetWhat(), "a test"))
		p.add("by %s", notation.Word(t.GetManner()))
		p.add("%s", t.GetResult())
		p.add("%s", cases.ConditionWords(t.GetConditions()))
		p.add("concern %s", notation.Word(t.GetConcern()))
		p.add("the concern %s", notation.Word(t.GetConcernChange()))
		p.add("%s", tried(t.GetTries(), t.GetFailures()))
		p.add("speaks of %s", covered(t.GetCovers()))
		return p.String(), or(notation.Word(t.GetOutcome()), or(notation.Word(t.GetConcernChange()), "not judged"))
	case *eventv1.Event_RepairChecked:
		return "check after repair: " + w.DescribeNow(s, w.names), or(notation.Word(k.RepairChecked.GetOutcome()), "not judged")
	case *eventv1.Event_CodesRead:
		return w.DescribeNow(s, w.names), "codes"
	case *eventv1.Event_Seen:
		if !k.Seen.GetOutsideConcern() {
			return w.DescribeNow(s, w.names), "seen"
		}
	}
	return "", ""
}

func covered(all []*eventv1.Covered) string {
	var out []string
	for _, c := range all {
		name := c.GetComponent()
		if c.GetExtent() == eventv1.Extent_EXTENT_MOSTLY {
			name += " (mostly)"
		}
		out = append(out, name)
	}
	return strings.Join(out, ", ")
}

// since says what was fitted, repaired or disturbed after the step, and whether
// the step still bears on anything that is there now. What speaks of no component
// is about the vehicle as it was, and stays.
func (w *writer) since(s *cases.Step, of []*cases.Component) (text string, left bool) {
	var p phrase
	for _, c := range of {
		i := slices.IndexFunc(c.Lives, func(l cases.Life) bool { return l.From != nil && l.From.Job > s.Job })
		switch {
		case i >= 0:
			p = append(p, overtook(c, c.Lives[i]))
			continue
		case c.ContactsSince != nil && c.ContactsSince.Job > s.Job:
			p = append(p, fmt.Sprintf("the contacts of %s were disturbed since (#%d)", c.Name, c.ContactsSince.Seq))
		}
		left = true
	}
	return p.String(), left || len(of) == 0
}

// spokenOf lists the components that the step speaks of: what it covers, what was
// looked at, what a check was of.
func (w *writer) spokenOf(s *cases.Step, bears []*cases.Evidence) []*cases.Component {
	var out []*cases.Component
	add := func(c *cases.Component) {
		if c != nil && !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	for _, e := range bears {
		add(e.Component)
	}
	for _, cov := range slices.Concat(s.Says.GetTest().GetCovers(), s.Says.GetReading().GetCovers()) {
		add(w.Component(cov.GetComponent()))
	}
	if seen := s.Says.GetSeen(); seen.GetComponent() != "" {
		add(w.Component(seen.GetComponent()))
	}
	return out
}

func overtook(c *cases.Component, l cases.Life) string {
	why := l.Why
	if !strings.HasPrefix(why, "its ") {
		why = "it was " + why
	}
	return fmt.Sprintf("says nothing of %s since %s (#%d)", c.Name, why, l.From.Seq)
}
