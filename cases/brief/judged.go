package brief

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// proven lists what is proven of what is there now, bad first, each with the
// entries it rests on, their conditions and what it takes for granted.
func (w *writer) proven() Section {
	s := Section{Title: "Proven", None: "Nothing is proven yet: no one component is shown by itself to be bad, and none has two tests of different set-ups behind it."}
	var well []Line
	alike := map[string]int{} // of what is proven, the line that says it, from 1
	for _, c := range w.byName() {
		for _, v := range append(w.WereBad(c), w.Verdicts(c)...) {
			l := Line{Text: c.Name + ": " + v.String(), Entries: seqs(v.Entries...), Mark: "bad"}
			if v.Until != nil {
				l.Entries = append(l.Entries, v.Until.Seq)
			}
			switch at := alike[v.String()]; {
			case v.Standing == cases.ProvenBad:
				s.Lines = append(s.Lines, l)
			case v.Standing == cases.ProvenGood && at > 0: // the same of this one, by the same entries
				well[at-1].Text = strings.TrimSuffix(well[at-1].Text, ": "+v.String()) + ", " + l.Text
			case v.Standing == cases.ProvenGood:
				l.Mark = "proven"
				well = append(well, l)
				alike[v.String()] = len(well)
			}
		}
	}
	s.Lines = append(s.Lines, well...)
	if len(well) > 0 {
		s.Lines = append(s.Lines, Line{Text: "What is proven takes for granted that " + w.Assumed() + ".", Mark: "assumes"})
	}
	for _, a := range w.Again() {
		if step := w.ByID(a.Entry); step != nil {
			s.Lines = append([]Line{{
				Text: fmt.Sprintf("Read #%d again: it cannot be true with the rest, and until it is settled nothing counts as proven.", step.Seq), Entries: seqs(step), Mark: "read again",
			}}, s.Lines...)
		}
	}
	if j := w.Judgement(); j.Doubted() {
		s.Lines = append([]Line{{
			Text: "It may well not be as drawn (" + cases.Percent(j.Probability(suspect.NotAsDrawn)) + "): until that is settled nothing counts as proven.", Mark: "doubted",
		}}, s.Lines...)
	}
	return s
}

// byName lists the components in the order in which they were first spoken of.
func (w *writer) byName() []*cases.Component {
	var out []*cases.Component
	for _, c := range w.Components {
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b *cases.Component) int {
		return cmp.Or(cmp.Compare(a.Steps[0].Job, b.Steps[0].Job), strings.Compare(a.Key, b.Key))
	})
	return out
}

// fewExplanations are as many as a page has room for.
const fewExplanations = 5

// explained lists what would account for every test and reading, the likeliest
// first, and what speaks for it.
func (w *writer) explained() Section {
	s := Section{Title: "What would explain it", None: "Nothing recorded asks for a fault."}
	all := w.Judgement().Explanations()
	switch {
	case w.Judgement().NoFault() > 0.5:
		s.None = w.nothingAsks()
		all = nil
	case len(all) == 0:
		return w.likeliest()
	}
	for i, e := range all {
		if i == fewExplanations {
			s.Lines = append(s.Lines, Line{Text: "and more, less likely"})
			break
		}
		var names []string
		var entries []uint64
		for _, p := range e.Parts {
			name, by := w.partWords(p)
			names = append(names, name)
			entries = append(entries, by...)
		}
		share := "not weighed"
		if e.Probability > 0 {
			share = cases.Percent(e.Probability)
		}
		slices.Sort(entries)
		s.Lines = append(s.Lines, Line{Text: strings.Join(names, " and "), Entries: slices.Compact(entries), Mark: share})
	}
	if len(s.Lines) > 0 {
		s.Lines = append(s.Lines, Line{Text: "A share is the probability that it is exactly these. As a suspect a part counts alone or with another, so its probability is larger."})
	}
	return s
}

// nothingAsks says why no fault is asked for: it was tried, or nobody has looked.
func (w *writer) nothingAsks() string {
	if words := w.UnseenWords(); words != "" {
		return "No failing test of what is there now is recorded. " + words
	}
	return "Nothing recorded asks for a fault in what is there now."
}

// likeliest lists the likeliest suspects while no test has failed: what ranks
// them is how often such parts fail, and where somebody worked.
func (w *writer) likeliest() Section {
	s := Section{Title: "What would explain it", Lines: []Line{{Text: "No failed test speaks of what is there now. By how often such parts fail, where somebody worked, and what passed; each alone or with another:"}}}
	for i, one := range w.Judgement().Suspects() {
		if i == fewExplanations || one.Probability < 0.01 {
			break
		}
		name, entries := w.partWords(one.Part)
		s.Lines = append(s.Lines, Line{Text: name, Entries: entries, Mark: cases.Percent(one.Probability)})
	}
	return s
}

// partWords names a part, and the entries that speak of it.
func (w *writer) partWords(p suspect.Part) (string, []uint64) {
	c := w.Components[p.Key]
	if c == nil {
		return "something not named", nil
	}
	var entries []uint64
	for _, v := range w.Verdicts(c) {
		entries = append(entries, seqs(v.Entries...)...)
	}
	if p == w.Part(c) {
		return c.Name, entries
	}
	if next := p.Life + 1; next < len(c.Lives) {
		return fmt.Sprintf("%s as it was before #%d", c.Name, c.Lives[next].From.Seq), entries
	}
	return c.Name, entries
}

const (
	// fewTests are as many as somebody reads before doing one.
	fewTests = 3
	// likelyTests are those whose tools are worth carrying along.
	likelyTests = 8
)

// next lists the tests to do next, with what each outcome would say.
func (w *writer) next() (tests, bring Section) {
	tests = Section{Title: "Next", None: "No test of what is named would tell more."}
	if len(w.Components) == 0 {
		tests.None = "Nothing is named yet that could be tested: draw the circuit, or record what was fitted, read or seen."
	}
	if words := w.UnseenWords(); words != "" {
		tests.None = words
	}
	bring = Section{Title: "To bring", None: "Nothing in particular."}
	n := w.Next()
	var tools []string
	for i, a := range n.Advice {
		if i < likelyTests {
			for _, t := range a.Tools {
				if !slices.Contains(tools, t) {
					tools = append(tools, t)
				}
			}
		}
		if i < fewTests {
			if i > 0 && a.Caution != "" && a.Caution == n.Advice[i-1].Caution {
				a.Caution = "as before."
			}
			tests.Lines = append(tests.Lines, Line{Text: a.String(), Mark: a.Aim.String()})
		}
	}
	if more := len(n.Advice) - fewTests; more > 0 {
		tests.Lines = append(tests.Lines, Line{Text: fmt.Sprintf("and %d more, which tell less for their time", more)})
	}
	for _, held := range n.Withheld {
		tests.Lines = append(tests.Lines, Line{Text: held.Component.Name + ": " + held.Why, Mark: "withheld"})
	}
	if n.NotNamed > 0.5 {
		tests.Lines = append(tests.Lines, Line{Text: "Nothing that is named explains it as well as something that is not. Look at what else takes part, and name it."})
	}
	if len(tools) > 0 {
		bring.Lines = append(bring.Lines, Line{Text: strings.Join(tools, ", "), Mark: "for these tests"})
	}
	bring.Lines = append(bring.Lines, w.used().Lines...)
	return tests, bring
}

// beforeAndAfter holds what stood when the case was last handed off against what
// stands now.
func (w *writer) beforeAndAfter() Section {
	s := Section{Title: "When it was handed off, and now", None: "It was not handed off."}
	if len(w.Handoffs) == 0 {
		return s
	}
	off := w.Handoffs[len(w.Handoffs)-1].Step
	then := &writer{w.AsOf(off.Seq).Judge(w.Table), w.names}
	for _, at := range []struct {
		mark string
		w    *writer
		seq  uint64
	}{{"then", then, off.Seq}, {"now", w, w.Head()}} {
		text := at.w.standsInShort()
		s.Lines = append(s.Lines, Line{Text: text, Entries: []uint64{at.seq}, Mark: at.mark})
	}
	return s
}

// standsInShort says in one line what is proven, and what is likeliest.
func (w *writer) standsInShort() string {
	var bad, was, well []string
	untested, named := 0, 0
	for _, c := range w.byName() {
		if !c.OnlyDrawn() {
			named++
		}
		all := w.Verdicts(c)
		is := func(s cases.Standing) bool {
			return slices.ContainsFunc(all, func(v cases.Verdict) bool { return v.Standing == s })
		}
		if len(w.WereBad(c)) > 0 {
			was = append(was, c.Name)
		}
		switch {
		case is(cases.ProvenBad):
			bad = append(bad, c.Name)
		case is(cases.ProvenGood):
			well = append(well, c.Name)
		case is(cases.Untested) && !c.OnlyDrawn() && !lookedAt(c):
			untested++
		}
	}
	var p phrase
	p.add("proven bad: %s", strings.Join(bad, ", "))
	p.add("proven bad and exchanged or mended since: %s", strings.Join(was, ", "))
	p.add("something proven of: %s", strings.Join(well, ", "))
	if len(bad)+len(was)+len(well) == 0 {
		p = append(p, "nothing proven")
	}
	if w.Judgement().NoFault() > 0.5 {
		says := "nothing recorded asks for a fault in what is there now"
		if comp, at := w.Unseen(); comp != nil {
			says = fmt.Sprintf("the concern not seen since %s was changed (#%d)", comp.Name, at.Seq)
		}
		p = append(p, says)
	} else if all := w.Judgement().Suspects(); len(all) > 0 {
		name, _ := w.partWords(all[0].Part)
		p = append(p, fmt.Sprintf("likeliest: %s, %s", name, cases.Percent(all[0].Probability)))
	}
	if untested > 0 {
		p = append(p, fmt.Sprintf("%d of %d named not tested", untested, named))
	}
	return p.String()
}
