package brief

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// HandBack is the page that hands the case back: what was found and how it was
// proven, what was repaired and checked, what is still temporary or left open,
// what was not looked at, what was spent. Before a hand-back is recorded it is
// the page as it would read now, and says so. Names as in Brief.
func HandBack(c *cases.Judged, names cases.Names) *Document {
	w := &writer{c, names}
	back := w.back()
	title := "Hand-back"
	if back == nil {
		title = "Hand-back, not given yet"
	}
	d := &Document{
		Title: fmt.Sprintf("%s: %s", title, w.title()),
		Sections: []Section{
			w.found(back),
			w.proof(back),
			w.proven(),
			w.beforeAndAfter(),
			w.repaired(),
			w.checked(),
			w.leftOpen(back),
			w.notDone(back),
			w.believed(),
			w.settled(),
			w.oldParts(back),
			w.spent(),
			w.checkLater(),
			w.outside(),
			w.findings("Still to be looked at", true),
		},
		Cautions: w.cautions(),
	}
	return w.finish(d)
}

// back is the last hand-back, nil when none was given.
func (w *writer) back() *cases.Step {
	var last *cases.Step
	for _, h := range w.Handoffs {
		if h.Back != nil && (last == nil || h.Back.Job > last.Job) {
			last = h.Back
		}
	}
	return last
}

// said is what the hand-back says; nil when none was given.
func said(back *cases.Step) *eventv1.HandedBack {
	if back == nil {
		return nil
	}
	return back.Says.GetHandedBack()
}

func (w *writer) found(back *cases.Step) Section {
	s := Section{Title: "Found", None: "No hand-back is recorded, and the case is not closed."}
	if h := said(back); h != nil {
		p := phrase{or(h.GetFound(), "what was found is not said"), w.who(back)}
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(back)})
		s.Lines = append(s.Lines, causeLine(back))
	}
	if w.Closed != nil {
		s.Lines = append(s.Lines, Line{Text: w.DescribeNow(w.Closed, w.names), Entries: seqs(w.Closed), Mark: "closed"})
	}
	return s
}

func causeLine(back *cases.Step) Line {
	h := said(back)
	if h.GetCause() == "" {
		return Line{Text: "Cause: not found.", Entries: seqs(back)}
	}
	p := phrase{"Cause: " + h.GetCause()}
	p.add("%s", notation.Word(h.GetCauseMode()))
	return Line{Text: p.String(), Entries: seqs(back)}
}

// proof is what the hand-back says proves the cause, with the entries it names;
// and every test that went round something, whoever names it.
func (w *writer) proof(back *cases.Step) Section {
	s := Section{Title: "How it was proven", None: "No proof is recorded."}
	named := map[*cases.Step]bool{}
	if back != nil {
		if proof := said(back).GetProof(); proof != "" {
			s.Lines = append(s.Lines, Line{Text: proof, Entries: seqs(back)})
		}
		for _, b := range back.Because {
			named[b] = true
			text, mark := w.result(b)
			if text == "" {
				text, mark = b.KindWords()+": "+or(w.DescribeNow(b, w.names), "withdrawn or not readable here"), "named"
			}
			s.Lines = append(s.Lines, Line{Text: text, Entries: seqs(b), Mark: mark})
		}
	}
	for _, step := range w.Jobs() {
		t := step.Says.GetTest()
		round := t.GetManner() == eventv1.TestManner_TEST_MANNER_BYPASS || t.GetManner() == eventv1.TestManner_TEST_MANNER_SUBSTITUTION
		if round && !named[step] {
			text, mark := w.result(step)
			s.Lines = append(s.Lines, Line{Text: text, Entries: seqs(step), Mark: mark})
		}
	}
	return s
}

// repaired lists what was mended and what is in place of what was there.
func (w *writer) repaired() Section {
	s := Section{Title: "Repaired and fitted", None: "Nothing is recorded as repaired or fitted."}
	for _, r := range w.Repairs {
		p := phrase{w.DescribeNow(r.Step, w.names), w.who(r.Step)}
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(r.Step), Mark: "repaired"})
	}
	s.Lines = append(s.Lines, w.parts().Lines...)
	return s
}

// checked lists the checks after repair, reading by reading, and what was not
// checked.
func (w *writer) checked() Section {
	s := Section{Title: "Checked", None: "No check after repair is recorded."}
	for _, step := range w.Checks {
		r := step.Says.GetRepairChecked()
		p := phrase{"checked " + w.steps(r.GetRepairs())}
		p = append(p,
			"concern tried again: "+or(notation.Word(r.GetConcernTried()), "not said"),
			"concern: "+or(notation.Word(r.GetConcern()), "not said"),
			"codes read again: "+or(notation.Word(r.GetRescanned()), "not said"))
		p.add("relearned: %s", notation.Word(r.GetRelearned()))
		p.add("%s", cases.ConditionWords(r.GetConditions()))
		p.add("%s", r.GetSaid())
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: w.seqsOf(r.GetRepairs(), step), Mark: or(notation.Word(r.GetOutcome()), "not judged")})
		s.Lines = append(s.Lines, w.readings("before", r.GetBefore())...)
		s.Lines = append(s.Lines, w.readings("after", r.GetAfter())...)
	}
	for _, r := range w.Repairs {
		if len(r.Checks) == 0 {
			s.Lines = append(s.Lines, Line{Text: "No check names the repair of " + or(r.Says.GetComponent(), "what was repaired") + ".", Entries: seqs(r.Step), Mark: "not checked"})
		}
	}
	return s
}

func (w *writer) steps(ids []string) string {
	text := ""
	for i, id := range ids {
		if i > 0 {
			text += ", "
		}
		text += w.Ref(id)
	}
	return or(text, "what, is not said")
}

func (w *writer) seqsOf(ids []string, more ...*cases.Step) []uint64 {
	out := seqs(more...)
	for _, id := range ids {
		out = append(out, seqs(w.ByID(id))...)
	}
	return out
}

func (w *writer) readings(when string, ids []string) []Line {
	var out []Line
	for _, id := range ids {
		text, mark := "not here: "+w.Ref(id), ""
		step := w.ByID(id)
		if step != nil {
			if text, mark = w.result(step); text == "" {
				text = or(w.DescribeNow(step, w.names), "withdrawn or not readable here")
			}
		}
		out = append(out, Line{Text: when + ": " + text, Entries: seqs(step), Mark: mark})
	}
	return out
}

func (w *writer) leftOpen(back *cases.Step) Section {
	s := w.temporary()
	s.Title = "Still temporary, or left open"
	for _, left := range said(back).GetLeftOpen() {
		s.Lines = append(s.Lines, Line{Text: left, Entries: seqs(back), Mark: "left open"})
	}
	return s
}

// notDone lists what the hand-back says was not done, and each component that the
// case speaks of and nobody tested or looked at since it was last fitted or
// disturbed.
func (w *writer) notDone(back *cases.Step) Section {
	s := Section{Title: "Not looked at, not done", None: "Nothing is recorded as not done, and everything the case names has been tested or looked at since it was last fitted or disturbed."}
	for _, item := range said(back).GetNotDone() {
		s.Lines = append(s.Lines, Line{Text: item, Entries: seqs(back), Mark: "not done"})
	}
	var untested []*cases.Component
	for _, c := range w.Components {
		if !lookedAt(c) && !c.OnlyDrawn() {
			untested = append(untested, c)
		}
	}
	slices.SortFunc(untested, func(a, b *cases.Component) int {
		if d := a.Steps[0].Job - b.Steps[0].Job; d != 0 {
			return d
		}
		return strings.Compare(a.Key, b.Key)
	})
	for _, c := range untested {
		text := c.Name + " has not been tested"
		if from := c.Lives[c.Present()].From; from != nil {
			text += fmt.Sprintf(" since #%d", from.Seq)
		}
		s.Lines = append(s.Lines, Line{Text: text, Entries: seqs(c.Steps[0]), Mark: "not tested"})
	}
	return s
}

func lookedAt(c *cases.Component) bool {
	from := 0
	if l := c.Lives[c.Present()]; l.From != nil {
		from = l.From.Job
	}
	seen := slices.ContainsFunc(c.Steps, func(s *cases.Step) bool { return s.Job > from && s.Says.GetSeen() != nil })
	return seen || slices.ContainsFunc(c.Since(), func(e *cases.Evidence) bool {
		return e.Outcome == eventv1.Outcome_OUTCOME_PASS || e.Outcome == eventv1.Outcome_OUTCOME_FAIL
	})
}

func (w *writer) oldParts(back *cases.Step) Section {
	s := Section{Title: "Old parts", None: "Nothing is recorded of old parts."}
	if where := said(back).GetOldParts(); where != "" {
		s.Lines = append(s.Lines, Line{Text: where, Entries: seqs(back)})
	}
	s.Lines = append(s.Lines, w.keptParts()...)
	return s
}

func (w *writer) checkLater() Section {
	s := Section{Title: "To check later", None: "Nothing is recorded to check later."}
	for _, d := range w.ChecksDue {
		s.Lines = append(s.Lines, Line{Text: w.DescribeNow(d, w.names), Entries: seqs(d)})
	}
	return s
}
