package cases

import (
	"slices"

	"knowngood.example/cases/suspect"
)

// stays are what was in the place of a component, one behind the other, as far as a
// horizon knows. They are worked out once for each component that is asked about: every
// test and every sighting asks what was there.
type stays struct {
	known []stay // in job order, of the lives that were known
	back  []stay // of all lives, those in which something came back that was there before
}

type stay struct {
	job, life int
	part      suspect.Part
	there     bool // something is
}

func (a *asker) staysOf(comp *Component) *stays {
	if out := a.stays[comp]; out != nil {
		return out
	}
	out := new(stays)
	for n, l := range comp.Lives {
		s := stay{life: n, part: suspect.Part{Key: comp.Key, Life: a.body(comp, n)}}
		if l.From != nil {
			s.job = l.From.Job
		}
		_, s.there = a.lifePrior(l)
		if n == 0 || l.From != nil && a.horizon.sees(l.From) {
			out.known = append(out.known, s)
		}
		if l.From != nil && s.part.Life != n {
			out.back = append(out.back, s)
		}
	}
	if a.stays == nil {
		a.stays = map[*Component]*stays{}
	}
	a.stays[comp] = out
	return out
}

// at is what was there at a step.
func (s *stays) at(job int) stay {
	n, _ := slices.BinarySearchFunc(s.known[1:], job+1, func(x stay, job int) int { return x.job - job })
	return s.known[n]
}

// partAt is what was in the place of a component at a step, false when nothing
// was.
func (a *asker) partAt(comp *Component, job int) (suspect.Part, bool) {
	s := a.staysOf(comp).at(job)
	return s.part, s.there
}

// inPlaceAt are all that were there at a step.
func (a *asker) inPlaceAt(job int) []suspect.Part {
	out := make([]suspect.Part, 0, len(a.spoken))
	for _, comp := range a.spoken {
		if p, there := a.partAt(comp, job); there {
			out = append(out, p)
		}
	}
	return out
}

// lifeAt is the life that a component had at a step, as far as it was known.
func (a *asker) lifeAt(comp *Component, job int) int { return a.staysOf(comp).at(job).life }

// handledSince reports whether the very part was out and put back between the
// test and now: it is what it was, and proves nothing any more.
func (a *asker) handledSince(comp *Component, s *Step, p suspect.Part) bool {
	between := func(job int) bool { return job > s.Job && job < a.horizon.job }
	if from := comp.Lives[p.Life].From; from != nil && between(from.Job) && a.body(comp, p.Life) == p.Life {
		return true
	}
	return slices.ContainsFunc(a.staysOf(comp).back, func(x stay) bool { return x.part.Life == p.Life && between(x.job) })
}
