package brief

import (
	"fmt"

	"knowngood.example/cases"
)

// spent is what was agreed to and what was spent, in full, each currency by
// itself.
func (w *writer) spent() Section {
	s := Section{Title: "Approved and spent", None: "No approval, cost or time is recorded."}
	for _, a := range w.Approvals {
		mark := "approved"
		if a.Says.GetApproval().GetRefused() {
			mark = "refused"
		}
		s.Lines = append(s.Lines, Line{Text: w.DescribeNow(a, w.names), Entries: seqs(a), Mark: mark})
	}
	if len(w.Approvals) == 0 && len(w.Fittings)+len(w.Repairs)+len(w.Time) > 0 {
		s.Lines = append(s.Lines, Line{Text: "No approval is recorded."})
	}
	sum := w.Spend()
	for _, g := range cases.Grades() {
		var fits, unpriced []*cases.Step
		for _, f := range w.Fittings {
			if w.Graded(f).Grade != g {
				continue
			}
			fits = append(fits, f.Step)
			if f.Part.GetCost() == nil {
				unpriced = append(unpriced, f.Step)
			}
		}
		if len(fits) == 0 {
			continue
		}
		l := Line{Text: fmt.Sprintf("Parts: %s", purse(sum.Parts[g])), Entries: seqs(fits...), Mark: g.String()}
		if len(unpriced) > 0 {
			l.Text += fmt.Sprintf("; no cost recorded for %s", refs(unpriced...))
		}
		s.Lines = append(s.Lines, l)
	}
	if m := sum.Guessed.Moneys(); len(m) > 0 {
		s.Lines = append(s.Lines, Line{Text: "Of that on parts with neither a test nor another reason: " + purse(sum.Guessed)})
	}
	if len(w.Repairs) > 0 {
		l := Line{Text: "Repairs: " + purse(sum.Repairs)}
		for _, r := range w.Repairs {
			l.Entries = append(l.Entries, r.Step.Seq)
		}
		s.Lines = append(s.Lines, l)
	}
	if len(w.Time) > 0 {
		s.Lines = append(s.Lines, Line{Text: fmt.Sprintf("Time: %d min, charged %s", sum.Minutes, purse(sum.Time)), Entries: seqs(w.Time...)})
	}
	if len(s.Lines) > 0 {
		total := sum.Total()
		text := "In all: " + purse(total)
		if len(sum.Approved) > 0 {
			text += "; approved: " + purse(sum.Approved)
		}
		s.Lines = append(s.Lines, Line{Text: text})
	}
	return s
}
