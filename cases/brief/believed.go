package brief

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// believed lists what is only held to be so: drawings among it, since a drawing is
// a belief until a reading agrees.
func (w *writer) believed() Section {
	s := Section{Title: "Only believed", None: "No belief is recorded that is not settled."}
	for _, b := range w.Unsettled() {
		s.Lines = append(s.Lines, w.belief(b))
	}
	for _, d := range w.Drawings {
		p := phrase{"drawing: " + w.DescribeNow(d, w.names), w.who(d)}
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(d), Mark: "drawn"})
	}
	return s
}

func (w *writer) belief(b *cases.Belief) Line {
	p := phrase{fmt.Sprintf("%q", b.Says.GetStatement())}
	l := Line{Entries: seqs(b.Step), Mark: or(notation.Word(b.Says.GetBasis()), "no basis given")}
	p.add("%s", cases.ToldBy(b.Says, w.names))
	if b.About != nil {
		p.add("about %s", b.About.Name)
	}
	if b.AtPoint != nil {
		p.add("about %s", b.AtPoint.Name)
	}
	p = append(p, w.who(b.Step))
	if len(b.Behind) > 0 {
		p.add("rests on %s", refs(b.Behind...))
	} else {
		p = append(p, "no reading or test is named for it")
	}
	p.add("relied on by %s", refs(b.ReliedOn...))
	l.Entries = append(l.Entries, seqs(append(slices.Clone(b.Behind), b.ReliedOn...)...)...)
	l.Text = p.String()
	return l
}

// settled lists the beliefs that were settled, by what.
func (w *writer) settled() Section {
	s := Section{Title: "Beliefs settled", None: "No belief has been settled."}
	for _, b := range w.Beliefs {
		if b.Settled == nil {
			continue
		}
		p := phrase{fmt.Sprintf("%q", b.Says.GetStatement())}
		p.add("%s", b.Settled.Says.GetBeliefSettled().GetHow())
		if len(b.Behind) > 0 {
			p.add("by %s", refs(b.Behind...))
		} else {
			p = append(p, "no reading or test is named for it")
		}
		l := Line{Entries: seqs(append([]*cases.Step{b.Step, b.Settled}, b.Behind...)...), Mark: "still not known", Text: p.String()}
		switch b.Holds {
		case eventv1.Answer_ANSWER_YES:
			l.Mark = "true"
		case eventv1.Answer_ANSWER_NO:
			l.Mark = "not true"
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}

// destroyed lists what was lost, and whether codes were written down before.
func (w *writer) destroyed() Section {
	s := Section{Title: "Evidence destroyed", None: "Nothing is recorded that destroyed evidence."}
	for _, d := range w.Destroyed {
		var before []*cases.Step
		for _, r := range w.Codes {
			if r.Job < d.Job {
				before = append(before, r)
			}
		}
		kind := "codes cleared"
		if d.Says.GetEvidenceDisturbed() != nil {
			kind = "evidence disturbed"
		}
		p := phrase{kind + ": " + w.DescribeNow(d, w.names), w.who(d)}
		if len(before) > 0 {
			p.add("codes were read before in %s", refs(before...))
		} else {
			p = append(p, "no codes are recorded before; what they would have told can no longer be known")
		}
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(append(before, d)...)})
	}
	return s
}
