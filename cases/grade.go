package cases

import (
	"slices"

	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Grade is what the evidence said of a part at the moment it was replaced.
type Grade int

// The grades; the first that matches is given.
const (
	// NoEvidence: nothing spoke for it more than for the rest.
	NoEvidence Grade = iota
	// AgainstEvidence: what came out was proven good in every mode, or its odds had
	// fallen below a tenth of what they were when only the concern was known.
	AgainstEvidence
	// NarrowedTo: its probability was 0.95 or more, and a test on it alone had
	// failed.
	NarrowedTo
	// PointedTo: its odds were three times what they were when only the concern was
	// known, or more, and it was part of a leading explanation.
	PointedTo
	grades
)

func (g Grade) String() string {
	return [...]string{"no evidence", "against the evidence", "narrowed to", "pointed to"}[g]
}

// Grades lists the grades, the best founded first.
func Grades() []Grade { return []Grade{NarrowedTo, PointedTo, NoEvidence, AgainstEvidence} }

// Graded is a fitting with its grade.
type Graded struct {
	*Fitting
	Grade Grade
	// Probability that what came out was bad, as of then, and before any test, when
	// only the concern was known.
	Probability, Before float64
	// WrittenUp holds the tests that count and were entered after the part was.
	WrittenUp []*Step
}

const (
	againstOdds = 0.1 // of the odds when only the concern was known
	pointedOdds = 3.0
	// leading explanations are those within this factor of the best.
	leadingWithin = 10.0
)

// grade of a fitting rests on what was earlier in job order and could be known to
// whoever fitted the part: what their own shop recorded, and of others what lay in
// the log they had seen. Corrections made after the part was fitted do not change
// it.
func (c *Case) grade(t *suspect.Table, f *Fitting, then *grading) Graded {
	g := Graded{Fitting: f}
	at := c.asOfFitting(f, then)
	step := at.ByID(f.Step.ID)
	g.Fitting = f
	var seen uint64
	if step.Event != nil {
		seen = step.Event.GetObservedThrough()
	}
	comp := at.Component(f.Part.GetComponent())
	if comp == nil {
		return g
	}
	h := horizon{job: step.Job, about: comp, counts: func(s *Step) bool { return s.Shop == step.Shop || s.Seq <= seen || s == at.Opening }}
	a := &asker{Case: at, table: t, horizon: h}
	if a.knowsMoreThan(manyComponents) {
		h.only = at.neighbours(comp)
	}
	_, p, _ := at.askWith(t, h, then.setups)
	part := suspect.Part{Key: comp.Key, Life: at.body(comp, a.lifeAt(comp, step.Job-1))}
	if !slices.ContainsFunc(p.Faults, func(x suspect.Fault) bool { return x.Part == part }) {
		return g // nothing was in its place
	}
	// That somebody had worked there is more than the concern.
	only := suspect.Problem{Faults: slices.Clone(p.Faults)}
	for i := range only.Faults {
		if c := at.Components[only.Faults[i].Part.Key]; c != nil && at.workedOn(c, h) {
			only.Faults[i].Prior /= t.WorkedOn
		}
	}
	for _, e := range p.Evidence {
		id, _ := e.Source()
		switch s := at.ByID(id); {
		case len(only.Evidence) == 0 && isSighting(e):
			only.Evidence = append(only.Evidence, e)
		case s != nil && s.Seq > step.Seq && !isSighting(e):
			g.WrittenUp = append(g.WrittenUp, c.ByID(id))
		}
	}
	now, before := suspect.Judge(p), suspect.Judge(only)
	g.Probability, g.Before = now.Probability(part), before.Probability(part)
	odds := suspect.Odds(g.Probability) / suspect.Odds(g.Before)
	switch {
	case now.ProvenGood(part) || odds < againstOdds:
		g.Grade = AgainstEvidence
	case now.NarrowedTo(part):
		g.Grade = NarrowedTo
	case odds >= pointedOdds && leading(now, part) && byTests(p, part, g.Before):
		g.Grade = PointedTo
	}
	return g
}

// byTests reports whether the tests alone raised the odds as far. That something
// else was exchanged in vain points at whatever is left, and at nothing.
func byTests(p suspect.Problem, part suspect.Part, before float64) bool {
	tests := p
	tests.Evidence = nil
	sighted := false
	for _, e := range p.Evidence {
		if !isSighting(e) || !sighted {
			tests.Evidence = append(tests.Evidence, e)
		}
		sighted = sighted || isSighting(e)
	}
	return suspect.Odds(suspect.Judge(tests).Probability(part)) >= pointedOdds*suspect.Odds(before)
}

// manyComponents is from how many on a grade looks at those only that a test
// covers together with the part: judging all of them for every part fitted takes
// too long, and what no test connects hardly changes the odds.
const manyComponents = 60

// neighbours are the component and those that a test covers together with it.
func (c *Case) neighbours(comp *Component) []*Component {
	out := []*Component{comp}
	for _, e := range comp.Evidence {
		k, _ := judge(e.Step)
		for _, cov := range k.covers {
			if n := c.Component(cov.GetComponent()); n != nil && !slices.Contains(out, n) && len(out) < manyComponents {
				out = append(out, n)
			}
		}
	}
	return out
}

func isSighting(e suspect.Evidence) bool { _, ok := e.(*suspect.Sighting); return ok }

// lifeBefore is the life that the step ended.
func lifeBefore(c *Component, s *Step) int {
	n := 0
	for i, l := range c.Lives {
		if l.From != nil && l.From.Job < s.Job {
			n = i
		}
	}
	return n
}

func leading(j *suspect.Judgement, p suspect.Part) bool {
	all := j.Explanations()
	for _, e := range all {
		if e.Probability*leadingWithin >= all[0].Probability && slices.Contains(e.Parts, p) {
			return true
		}
	}
	return false
}

// grading is what one part after another is graded with: the case without some
// corrections, folded for the last one and folded again where the next needs it without
// others; and what names and set-ups come to, which is the same whichever are left out.
type grading struct {
	without []uint64
	made    *Case
	spelt   map[string]string
	setups  map[*eventv1.Event]string
}

// asOfFitting is the case without the corrections that came after the fitting and
// are of what was there before it: a grade given at its moment stays.
func (c *Case) asOfFitting(f *Fitting, then *grading) *Case {
	var without []uint64
	for _, s := range c.corrections {
		if s.Seq <= f.Step.Seq {
			continue
		}
		target := c.byID[s.Event.GetCorrection().GetEntry()]
		if target != nil && target.Seq < f.Step.Seq {
			without = append(without, s.Seq)
		}
	}
	if len(without) == 0 {
		return c
	}
	if then.made == nil || len(then.made.log) != len(c.log) {
		then.made = room(c.Stream, len(c.log))
		then.made.spelt = then.spelt
		for _, s := range c.log {
			if _, err := then.made.add(s.Record); err != nil {
				panic(err) // these records made c
			}
		}
	} else if slices.Equal(then.without, without) {
		return then.made
	}
	for _, s := range then.made.corrections {
		_, is := slices.BinarySearch(without, s.Seq)
		s.Known = c.log[s.Seq-1].Known && !is // without: it is kept and changes nothing
	}
	then.made.refold()
	then.without = without
	return then.made
}
