package brief

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// circuits shows each circuit that is drawn: the way from plus to minus with what
// stands of each part, the stretch the trouble is in, and each reading beside what
// it should have been, what it rules out and what it leaves.
func (w *writer) circuits() []Section {
	var out []Section
	tellings := w.Tellings()
	stretch, together := w.Stretch()
	for _, d := range w.Circuits() {
		s := Section{Title: "Circuit as drawn"}
		var drawn []*cases.Step
		for _, e := range d.Elements {
			if !slices.Contains(drawn, e.By) {
				drawn = append(drawn, e.By)
			}
		}
		for _, step := range drawn {
			s.Lines = append(s.Lines, Line{Text: w.DescribeNow(step, w.names), Entries: seqs(step), Mark: "drawn"})
		}
		var here []string
		var entries []uint64
		for _, c := range stretch {
			if slices.ContainsFunc(d.Elements, func(e cases.DrawnElement) bool { return e.Component == c }) {
				name, by := w.partWords(w.Part(c))
				here = append(here, name)
				entries = append(entries, by...)
			}
		}
		if len(here) > 0 {
			slices.Sort(entries)
			s.Lines = append(s.Lines, Line{
				Text: fmt.Sprintf("the trouble is here, one or another of them: %s", strings.Join(here, ", ")), Entries: slices.Compact(entries), Mark: cases.Percent(together),
			})
		}
		for _, t := range tellings {
			if slices.ContainsFunc(t.Drawn.Elements, func(e cases.DrawnElement) bool { return e.Component == d.Elements[0].Component }) {
				s.Lines = append(s.Lines, w.telling(t))
			}
		}
		out = append(out, s)
	}
	if p := w.Judgement().Probability(suspect.NotAsDrawn); len(out) > 0 && p > 0.2 {
		out[0].Lines = append([]Line{{Text: "the drawing itself may be wrong: trace it at the car before anything is condemned by it", Mark: cases.Percent(p)}}, out[0].Lines...)
	}
	return out
}

func (w *writer) telling(t cases.Telling) Line {
	r := t.Step.Says.GetReading()
	unit := cases.ReadingUnit(r)
	p := phrase{cases.ReadingWords(r)}
	p.add("%s", cases.ConditionWords(r.GetConditions()))
	well := cases.SpanWords(t.Well, unit)
	p = append(p, "with nothing wrong "+well)
	if best := cases.SpanWords(t.Best, unit); best != well {
		p = append(p, "by the likeliest explanation "+best)
	}
	if t.Doubt != "" {
		p = append(p, t.Doubt)
	}
	switch {
	case !t.Fits && len(t.Leaves) == 0:
		p = append(p, "no single fault of what is drawn shows that")
	case !t.Fits:
		p.add("as the only thing wrong it takes one of these: %s", words(t, t.Leaves))
	case len(t.RulesOut) == 0:
		p = append(p, "rules out nothing by itself")
	default:
		p.add("rules out %s", words(t, t.RulesOut))
		p.add("but not %s", leaves(t))
	}
	l := Line{Text: p.String(), Entries: seqs(t.Step), Mark: "as it should be"}
	if !t.Fits {
		l.Mark = "not as it should be"
	}
	return l
}

func words(t cases.Telling, all []cases.Ruled) string {
	var out []string
	for _, r := range all {
		out = append(out, t.Words(r))
	}
	return strings.Join(out, "; ")
}

// leaves says what a reading that is as it should be does not clear, of what people
// take it to clear: a feed that is not open may still be high in resistance.
func leaves(t cases.Telling) string {
	for _, r := range t.Leaves {
		if r.Mode == suspect.HighResistance {
			return t.Words(r)
		}
	}
	return ""
}
