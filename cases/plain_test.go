package cases

import (
	"slices"

	"knowngood.example/cases/suspect"
)

// PlainGrade is the grade worked out the plain way: the case folded anew for the one
// part, what was in place looked for in all lives each time, every hypothesis asked
// about by itself, and everything proven that can be. It is the reference that
// Judged.Graded is held to.
func (c *Case) PlainGrade(t *suspect.Table, f *Fitting) Graded {
	g := Graded{Fitting: f}
	at := c.plainAsOf(f)
	step := at.ByID(f.Step.ID)
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
	a, p, _ := at.ask(t, h)
	life := a.plainLifeAt(comp, step.Job-1)
	part := suspect.Part{Key: comp.Key, Life: at.body(comp, life)}
	if !slices.ContainsFunc(p.Faults, func(x suspect.Fault) bool { return x.Part == part }) {
		return g
	}
	only := suspect.Problem{Faults: slices.Clone(p.Faults)}
	for i := range only.Faults {
		if c := at.Components[only.Faults[i].Part.Key]; c != nil && at.workedOn(c, h) {
			only.Faults[i].Prior /= t.WorkedOn
		}
	}
	tests := suspect.Problem{Faults: p.Faults}
	for _, e := range p.Evidence {
		id, _ := e.Source()
		s := at.ByID(id)
		switch {
		case len(only.Evidence) == 0 && isSighting(e):
			only.Evidence, tests.Evidence = append(only.Evidence, e), append(tests.Evidence, e)
		case !isSighting(e):
			tests.Evidence = append(tests.Evidence, e)
			if s != nil && s.Seq > step.Seq {
				g.WrittenUp = append(g.WrittenUp, c.ByID(id))
			}
		}
	}
	now, before := suspect.Judge(a.bluntly(p)), suspect.Judge(a.bluntly(only))
	g.Probability, g.Before = now.Probability(part), before.Probability(part)
	ways, ruled := 0, 0
	for _, x := range p.Faults {
		if x.Part == part {
			ways++
		}
	}
	proofs, _ := now.Proofs()
	for _, x := range proofs {
		if x.Part == part {
			ruled++
		}
	}
	odds := func(p float64) float64 { return suspect.Odds(p) / suspect.Odds(g.Before) }
	switch {
	case ways == ruled || odds(g.Probability) < againstOdds:
		g.Grade = AgainstEvidence
	case now.NarrowedTo(part):
		g.Grade = NarrowedTo
	case odds(g.Probability) >= pointedOdds && leading(now, part) && odds(suspect.Judge(a.bluntly(tests)).Probability(part)) >= pointedOdds:
		g.Grade = PointedTo
	}
	return g
}

// plainAsOf folds the case without the corrections made after the part was fitted of
// what was there before.
func (c *Case) plainAsOf(f *Fitting) *Case {
	out := New(c.Stream)
	for _, s := range c.log {
		r := s.Record
		if s.Kind == kindCorrection && s.Seq > f.Step.Seq {
			if t := c.byID[s.Event.GetCorrection().GetEntry()]; t != nil && t.Seq < f.Step.Seq {
				r.Known = false
			}
		}
		if _, err := out.add(r); err != nil {
			panic(err)
		}
	}
	out.refold()
	return out
}

func (a *asker) plainLifeAt(comp *Component, job int) int {
	n := 0
	for i, l := range comp.Lives {
		if l.From != nil && l.From.Job <= job && a.horizon.sees(l.From) {
			n = i
		}
	}
	return n
}

func (a *asker) plainPartAt(comp *Component, job int) (suspect.Part, bool) {
	n := a.plainLifeAt(comp, job)
	_, there := a.lifePrior(comp.Lives[n])
	return suspect.Part{Key: comp.Key, Life: a.body(comp, n)}, there
}

func (a *asker) plainHandledSince(comp *Component, s *Step, p suspect.Part) bool {
	for n, l := range comp.Lives {
		if l.From != nil && l.From.Job > s.Job && l.From.Job < a.horizon.job && a.body(comp, n) == p.Life {
			return true
		}
	}
	return false
}

// blunt is evidence that tells nothing of which faults are alike to it.
type blunt struct{ suspect.Plain }

// bluntCoverage still says which part it covers alone.
type bluntCoverage struct {
	blunt
	of *suspect.Coverage
}

func (b bluntCoverage) Direct(p suspect.Part) (fails, shows bool) { return b.of.Direct(p) }

// bluntly is the problem with sightings that know nothing but There, and tests that say
// nothing of what is alike to them. Readings on what is drawn stay.
func (a *asker) bluntly(p suspect.Problem) suspect.Problem {
	out := suspect.Problem{Faults: p.Faults}
	for _, e := range p.Evidence {
		switch e := e.(type) {
		case *suspect.Coverage:
			out.Evidence = append(out.Evidence, bluntCoverage{blunt{e}, e})
		case *suspect.Sighting:
			plain := *e
			plain.Parts = nil
			out.Evidence = append(out.Evidence, &plain)
		default:
			out.Evidence = append(out.Evidence, e)
		}
	}
	return out
}

// PlainlyThere compares what was in place at each step, and whether it was handled
// since, with the plain way; it returns the first that differs, empty when none does.
func (c *Case) PlainlyThere(t *suspect.Table, job int, seen uint64, shop string) string {
	h := horizon{job: job, counts: func(s *Step) bool { return s.Shop == shop || s.Seq <= seen || s == c.Opening }}
	a := &asker{Case: c, table: t, horizon: h}
	for _, comp := range c.met {
		for at := range len(c.jobs) + 2 {
			p, there := a.partAt(comp, at)
			if q, is := a.plainPartAt(comp, at); p != q || there != is || a.lifeAt(comp, at) != a.plainLifeAt(comp, at) {
				return comp.Key + " at " + itoa(uint64(at))
			}
			if s := c.Step(uint64(at)); s != nil {
				for life := range comp.Lives {
					q := suspect.Part{Key: comp.Key, Life: life}
					if a.handledSince(comp, s, q) != a.plainHandledSince(comp, s, q) {
						return comp.Key + " handled since " + itoa(s.Seq)
					}
				}
			}
		}
	}
	return ""
}
