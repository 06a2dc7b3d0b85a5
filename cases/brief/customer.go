package brief

import (
	"fmt"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
)

// Customer is the hand-back as the customer gets it: what was found and how it was proven,
// what was done, what is left open, what it cost. It names nobody who worked on the vehicle,
// grades no part that was fitted, and says nothing of what somebody believed; what is said in
// a hand-back it repeats as it was typed.
func Customer(c *cases.Judged, names cases.Names) *Document {
	w := &writer{c, names}
	back := w.back()
	title := w.VehicleWords()
	if said := w.ConcernWords(); said != "" {
		title += ", " + said
	}
	d := &Document{
		Title: "For the customer: " + title,
		Sections: []Section{
			w.asTold(),
			w.foundForCustomer(back),
			w.provenForCustomer(back),
			w.fittedForCustomer(),
			w.checkedForCustomer(),
			w.leftOpen(back),
			w.notDone(back),
			w.oldParts(back),
			w.cost(),
			w.checkLater(),
			w.alsoSeen(),
		},
	}
	return w.finishForCustomer(d)
}

// asTold is the vehicle, and what the customer said is wrong with it.
func (w *writer) asTold() Section {
	s := Section{Title: "Your vehicle and what is wrong with it", None: "The opening of the case is not here."}
	if w.Opening == nil {
		return s
	}
	o := w.Opening.Says.GetCaseOpened()
	s.Lines = append(s.Lines, Line{Text: w.vehicle(o), Entries: seqs(w.Opening)})
	for _, step := range w.Concerns {
		con := o.GetConcern()
		if st := step.Says.GetConcernStated(); st != nil {
			con = st.GetConcern()
		}
		s.Lines = append(s.Lines, concernLines(step, con, "")...)
	}
	return s
}

func (w *writer) foundForCustomer(back *cases.Step) Section {
	s := Section{Title: "Found", None: "Nothing is handed back yet, and the case is not closed."}
	if h := said(back); h != nil {
		s.Lines = append(s.Lines, Line{Text: or(h.GetFound(), "what was found is not said"), Entries: seqs(back)}, causeLine(back))
	}
	if w.Closed != nil {
		k := w.Closed.Says.GetClosed()
		p := phrase{notation.Word(k.GetOutcome())}
		p.add("%s", k.GetSaid())
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(w.Closed), Mark: "closed"})
	}
	return s
}

// provenForCustomer is what the hand-back says proves the cause, the tests it names, and
// what is proven bad.
func (w *writer) provenForCustomer(back *cases.Step) Section {
	s := Section{Title: "How it was proven", None: "No proof is recorded."}
	if back != nil {
		if proof := said(back).GetProof(); proof != "" {
			s.Lines = append(s.Lines, Line{Text: proof, Entries: seqs(back)})
		}
		for _, b := range back.Because {
			if text, mark := w.result(b); text != "" && b.Says.GetRepairChecked() == nil {
				s.Lines = append(s.Lines, Line{Text: text, Entries: seqs(b), Mark: mark})
			}
		}
	}
	for _, l := range w.proven().Lines {
		if l.Mark == "bad" || l.Mark == "proven" || l.Mark == "assumes" {
			s.Lines = append(s.Lines, l)
		}
	}
	return s
}

// fittedForCustomer is what was mended, and every part that went in, with what it cost.
func (w *writer) fittedForCustomer() Section {
	s := Section{Title: "Repaired and fitted", None: "Nothing is recorded as repaired or fitted."}
	for _, r := range w.Repairs {
		p := phrase{or(r.Says.GetComponent(), "wire "+r.Says.GetFrom()+" to "+r.Says.GetTo())}
		p.add("%s", r.Says.GetWhat())
		p.add("%s", notation.Word(r.Says.GetMode()))
		p.add("%s", money(r.Says.GetCost()))
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(r.Step), Mark: "repaired"})
	}
	for _, f := range w.Fittings {
		p := phrase{fmt.Sprintf("%s (%s)", f.Component.Name, partWords(f.Part))}
		p.add("number %s", f.Part.GetPartNumber())
		p = append(p, or(money(f.Part.GetCost()), "no cost recorded"))
		l := Line{Entries: seqs(f.Step), Mark: "fitted"}
		if f.PutBack != nil {
			l.Entries, l.Mark = append(l.Entries, f.PutBack.Seq), "fitted and taken out again"
		}
		l.Text = p.String()
		s.Lines = append(s.Lines, l)
	}
	return s
}

// checkedForCustomer is what came of each check after repair.
func (w *writer) checkedForCustomer() Section {
	s := Section{Title: "Checked", None: "No check after repair is recorded."}
	for _, step := range w.Checks {
		r := step.Says.GetRepairChecked()
		p := phrase{"concern tried again: " + or(notation.Word(r.GetConcernTried()), "not said"), "concern: " + or(notation.Word(r.GetConcern()), "not said")}
		p.add("%s", cases.ConditionWords(r.GetConditions()))
		p.add("%s", r.GetSaid())
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(step), Mark: or(notation.Word(r.GetOutcome()), "not judged")})
	}
	for _, r := range w.Repairs {
		if len(r.Checks) == 0 {
			s.Lines = append(s.Lines, Line{Text: or(r.Says.GetComponent(), "the wire") + " has not been checked since the repair", Entries: seqs(r.Step), Mark: "not checked"})
		}
	}
	return s
}

// cost is what was agreed to and what it comes to, by nothing but what it was for.
func (w *writer) cost() Section {
	s := Section{Title: "What it costs", None: "No approval, cost or time is recorded."}
	for _, a := range w.Approvals {
		k, mark := a.Says.GetApproval(), "agreed"
		if k.GetRefused() {
			mark = "not agreed"
		}
		p := phrase{}
		p.add("up to %s in all", money(k.GetUpTo()))
		p.add("%s", k.GetWhat())
		p.add("%s", k.GetHow())
		s.Lines = append(s.Lines, Line{Text: p.String(), Entries: seqs(a), Mark: mark})
	}
	sum := w.Spend()
	parts := cases.Purse{}
	for _, purse := range sum.Parts {
		for _, m := range purse.Moneys() {
			parts.Add(m)
		}
	}
	for _, x := range []struct {
		what  string
		steps []*cases.Step
		purse cases.Purse
	}{{"Parts", fittingSteps(w.Fittings), parts}, {"Repairs", repairSteps(w.Repairs), sum.Repairs}, {fmt.Sprintf("Time, %d min", sum.Minutes), w.Time, sum.Time}} {
		if len(x.steps) > 0 {
			s.Lines = append(s.Lines, Line{Text: x.what + ": " + purse(x.purse), Entries: seqs(x.steps...)})
		}
	}
	if len(s.Lines) > 0 {
		s.Lines = append(s.Lines, Line{Text: "In all: " + purse(sum.Total())})
	}
	return s
}

func fittingSteps(all []*cases.Fitting) []*cases.Step {
	var out []*cases.Step
	for _, f := range all {
		out = append(out, f.Step)
	}
	return out
}

func repairSteps(all []*cases.Repair) []*cases.Step {
	var out []*cases.Step
	for _, r := range all {
		out = append(out, r.Step)
	}
	return out
}

// alsoSeen is what was seen apart from the concern; this page tells it.
func (w *writer) alsoSeen() Section {
	s := Section{Title: "Also seen on the vehicle", None: "Nothing is recorded as seen apart from the concern."}
	for _, step := range w.Seen {
		if seen := step.Says.GetSeen(); seen.GetOutsideConcern() {
			s.Lines = append(s.Lines, Line{Text: seen.GetWhat(), Entries: seqs(step)})
		}
	}
	return s
}

// finishForCustomer says how many entries the page knows nothing of.
func (w *writer) finishForCustomer(d *Document) *Document {
	lost := w.finish(&Document{})
	if len(lost.Sections) > 0 {
		l := Line{Text: "what these entries say is not on this page", Mark: "erased, or not understood here"}
		for _, x := range lost.Sections[0].Lines {
			l.Entries = append(l.Entries, x.Entries...)
		}
		d.Sections = append(d.Sections, Section{Title: "Not on this page", Lines: []Line{l}})
	}
	return d
}
