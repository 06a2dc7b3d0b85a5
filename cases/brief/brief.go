package brief

import (
	"fmt"

	"knowngood.example/cases"
	"knowngood.example/cases/review"
)

// Brief is the page for whoever is called in: what is wrong, what was done by
// whom, what is proven and by which entries, what would explain the rest, which
// test comes next, what is only believed, what is temporary. Names of shops
// and people come from names; an id it does not hold is shown by its end.
func Brief(c *cases.Judged, names cases.Names) *Document {
	w := &writer{c, names}
	now, overtaken := w.showed()
	tests, bring := w.next()
	d := &Document{
		Title: fmt.Sprintf("Brief: %s", w.title()),
		Sections: []Section{
			w.findings("To look at first", false),
			w.concern(),
			w.question(),
			w.proven(),
			w.explained(),
			tests,
			bring,
		},
		Cautions: w.cautions(),
	}
	d.Sections = append(d.Sections, w.circuits()...)
	d.Sections = append(d.Sections,
		w.done(),
		w.parts(),
		now,
		overtaken,
		w.believed(),
		w.settled(),
		w.destroyed(),
		w.temporary(),
		w.atHand(),
		w.spent(),
		w.outside(),
	)
	return w.finish(d)
}

func (w *writer) title() string {
	text := w.VehicleWords()
	if said := w.ConcernWords(); said != "" {
		text += ", " + said
	}
	entries := "1 entry"
	if w.Head() != 1 {
		entries = fmt.Sprintf("%d entries", w.Head())
	}
	return fmt.Sprintf("%s (%s, %s)", text, w.Standing(), entries)
}

// findings lists what the review found, what is urgent first, with what would
// clear it where the page has room.
func (w *writer) findings(title string, clears bool) Section {
	s := Section{Title: title, None: "The review found nothing to look at."}
	for _, f := range review.Run(w.Judged) {
		l := Line{Text: f.Why, Entries: f.Entries, Mark: f.Severity.String()}
		if clears {
			l.Text += " To clear it: " + f.Clears
		}
		s.Lines = append(s.Lines, l)
	}
	return s
}

// finish adds what this build could not read: a page must not look whole when it
// is not.
func (w *writer) finish(d *Document) *Document {
	var lines []Line
	for _, s := range w.Strange {
		lines = append(lines, Line{Text: w.Describe(s, w.names), Entries: seqs(s), Mark: "not understood here"})
	}
	for _, s := range w.Steps() {
		if s.Erased() {
			lines = append(lines, Line{Text: "erased; what it said is not on this page", Entries: seqs(s), Mark: "erased"})
		}
	}
	if len(lines) > 0 {
		d.Sections = append(d.Sections, Section{Title: "Not on this page", Lines: lines})
	}
	return d
}
