package cases

import (
	"knowngood.example/cases/circuit"
	"maps"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Problem is what the tests and sightings of the case ask: which of its
// components, in which life, is bad. Beliefs are no evidence and have no part in
// it.
func (c *Case) Problem(t *suspect.Table) suspect.Problem {
	p, _ := c.problem(t, c.everything())
	return p
}

// everything is known.
func (c *Case) everything() horizon {
	return horizon{job: len(c.jobs) + 1, counts: func(*Step) bool { return true }}
}

// Part is what is in the place of the component now.
func (c *Case) Part(comp *Component) suspect.Part {
	return suspect.Part{Key: comp.Key, Life: c.body(comp, comp.Present())}
}

// body is the life in which the very thing that is there in life n was there
// first: the original that was put back is what it was.
func (c *Case) body(comp *Component, n int) int {
	l := comp.Lives[n]
	if l.From == nil {
		return n
	}
	if f := l.From.Says.GetPartFitted(); f.GetState() == eventv1.PartState_PART_STATE_ORIGINAL && l.Why == "fitted" {
		return 0
	}
	if l.From.Says.GetPartPutBack() != nil {
		for _, f := range c.Fittings {
			if f.PutBack == l.From {
				if before := lifeBefore(comp, f.Step); before < n {
					return c.body(comp, before)
				}
			}
		}
	}
	return n
}

// horizon says how much of a case somebody could have known.
type horizon struct {
	// job order: what comes at this place or later has not been done yet.
	job int
	// counts says of an earlier step whether it was known.
	counts func(*Step) bool
	// about is a component that is asked about, even if nobody spoke of it yet.
	about *Component
	// only these components, when it is not nil.
	only []*Component
}

func (h horizon) sees(s *Step) bool { return s.Job < h.job && h.counts(s) }

// asker gathers a problem.
type asker struct {
	*Case
	table   *suspect.Table
	horizon horizon
	// comings holds the steps that began a life of something, in job order: between
	// two of them nothing changed.
	comings []*Step
	spoken  []*Component // whom somebody spoke of, by key
	stays   map[*Component]*stays
	setups  map[*eventv1.Event]string // of each test and reading, once named
	named   map[string][]suspect.Mode // modes that evidence names, by component key
	wired   []*Drawn                  // the circuits that are drawn
	read    map[*Step]bool            // readings that are evidence on one of them
	steady  bool
	comes   bool // the concern comes and goes
}

func (c *Case) problem(t *suspect.Table, h horizon) (suspect.Problem, []*Read) {
	_, p, reads := c.ask(t, h)
	return p, reads
}

func (c *Case) ask(t *suspect.Table, h horizon) (*asker, suspect.Problem, []*Read) {
	return c.askWith(t, h, map[*eventv1.Event]string{})
}

// askWith is ask where set-ups may be known already.
func (c *Case) askWith(t *suspect.Table, h horizon, setups map[*eventv1.Event]string) (*asker, suspect.Problem, []*Read) {
	a := &asker{Case: c, table: t, horizon: h, setups: setups, named: map[string][]suspect.Mode{}}
	var p suspect.Problem
	known := a.known()
	a.spoken = known
	for _, comp := range known {
		for _, l := range comp.Lives[1:] {
			if h.sees(l.From) {
				a.comings = append(a.comings, l.From)
			}
		}
	}
	slices.SortFunc(a.comings, func(x, y *Step) int { return x.Job - y.Job })
	a.comings = slices.Compact(a.comings)
	a.howOften()
	a.wired, a.read = c.circuits(h), map[*Step]bool{}
	reads := a.reads()
	for _, r := range reads {
		a.read[r.Step] = true
	}
	p.Evidence = append(p.Evidence, a.sightings()...)
	p.Evidence = append(p.Evidence, a.tests()...)
	for _, r := range reads {
		p.Evidence = append(p.Evidence, r)
	}
	p.Faults = a.faults(known)
	return a, p, reads
}

// known lists the components that somebody spoke of, by key.
func (a *asker) known() []*Component {
	var out []*Component
	all := a.horizon.only
	if all == nil {
		all = slices.Collect(maps.Values(a.Components))
	}
	for _, comp := range all {
		if a.knows(comp) {
			out = append(out, comp)
		}
	}
	slices.SortFunc(out, func(x, y *Component) int { return strings.Compare(x.Key, y.Key) })
	return out
}

// knows reports whether somebody spoke of the component; where a part was borrowed
// from is no suspect for that.
func (a *asker) knows(comp *Component) bool {
	return comp == a.horizon.about || slices.ContainsFunc(comp.Steps, func(s *Step) bool {
		f := s.Says.GetPartFitted()
		return a.horizon.sees(s) && (f == nil || a.Key(f.GetComponent()) == comp.Key)
	})
}

// knowsMoreThan reports whether somebody spoke of more than n components.
func (a *asker) knowsMoreThan(n int) bool {
	if len(a.Components) <= n {
		return false
	}
	for _, comp := range a.met {
		if a.knows(comp) {
			if n--; n < 0 {
				return true
			}
		}
	}
	return false
}

func (a *asker) faults(known []*Component) []suspect.Fault {
	out := []suspect.Fault{{Part: suspect.NotNamed, Prior: a.table.NotNamed}}
	if len(a.wired) > 0 {
		out = append(out, suspect.Fault{Part: suspect.NotAsDrawn, Prior: a.table.NotAsDrawn})
	}
	for _, comp := range known {
		if a.onlySupply(comp) {
			continue
		}
		ways, kind := drawnModes(a.wired, comp)
		prior := a.table.Kind(comp.Name).Prior
		if ways != nil {
			prior = a.table.Kind(comp.Name + " " + notation.Word(kind)).Prior
		}
		if a.workedOn(comp, a.horizon) {
			prior *= a.table.WorkedOn
		}
		modes := a.modes(comp, ways)
		last, _ := a.partAt(comp, a.horizon.job-1)
		for n, l := range comp.Lives {
			if l.From != nil && !a.horizon.sees(l.From) {
				continue
			}
			times, there := a.lifePrior(l)
			if !there || a.body(comp, n) != n {
				continue
			}
			for _, m := range modes {
				out = append(out, suspect.Fault{
					Part: suspect.Part{Key: comp.Key, Life: n}, Mode: m.Mode,
					Prior: min(prior*times*m.Share, 0.5),
					Ended: last != suspect.Part{Key: comp.Key, Life: n},
				})
			}
		}
	}
	return out
}

// onlySupply reports whether nobody spoke of the component but in a drawing, as what
// feeds it: to draw a battery is not to suspect it.
func (a *asker) onlySupply(comp *Component) bool {
	if comp == a.horizon.about {
		return false
	}
	for _, s := range comp.Steps {
		d := s.Says.GetCircuitDrawn()
		if d == nil && a.horizon.sees(s) {
			return false
		}
		if slices.ContainsFunc(d.GetElements(), func(e *eventv1.Element) bool {
			return e.GetKind() != eventv1.ElementKind_ELEMENT_KIND_SUPPLY && a.Key(ElementName(e)) == comp.Key
		}) {
			return false
		}
	}
	return true
}

// modes of a component: those that a drawing tells apart; without one, those that
// tests name and whatever else there may be.
func (a *asker) modes(comp *Component, ways []circuit.Share) []circuit.Share {
	named := a.named[comp.Key]
	if ways == nil {
		var out []circuit.Share
		all := append(slices.Clone(named), suspect.AnyWay)
		for _, m := range all {
			out = append(out, circuit.Share{Mode: m, Share: 1 / float64(len(all))})
		}
		return out
	}
	out := slices.Clone(ways)
	for _, m := range named {
		if !slices.ContainsFunc(ways, func(s circuit.Share) bool { return s.Mode.Kind() == m }) {
			out = append(out, circuit.Share{Mode: m, Share: 0.1}) // somebody tested for it
		}
	}
	return out
}

// lifePrior says by how much the way a life began changes the prior, and whether
// anything is there in it at all.
func (a *asker) lifePrior(l Life) (times float64, there bool) {
	if l.From == nil {
		return 1, true
	}
	switch k := l.From.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		if l.Why != "fitted" {
			return 0, false // the socket that a part was borrowed from
		}
		switch k.PartFitted.GetState() {
		case eventv1.PartState_PART_STATE_NEW, eventv1.PartState_PART_STATE_BORROWED:
			return a.table.New, true
		case eventv1.PartState_PART_STATE_USED:
			return a.table.Used, true
		case eventv1.PartState_PART_STATE_RECONDITIONED:
			return a.table.Reconditioned, true
		}
	case *eventv1.Event_PartRemoved:
		return 0, false
	case *eventv1.Event_Repair:
		return a.table.Repaired, true
	}
	return 1, true
}

// workedOn reports whether somebody worked on the component before the concern
// was brought in.
func (c *Case) workedOn(comp *Component, h horizon) bool {
	for _, s := range c.workedAt[comp.Key] {
		if h.sees(s) && (c.Opening == nil || s.Job <= c.Opening.Job) {
			return true
		}
	}
	return false
}

// howOften finds out whether the concern is always there, or comes and goes. A
// concern of which nobody said is taken to be neither.
func (a *asker) howOften() {
	for _, s := range a.Concerns {
		f := notation.Key(concernOf(s).GetFrequency())
		if f == "" || !a.horizon.sees(s) && s != a.Opening {
			continue
		}
		a.steady = slices.ContainsFunc([]string{"always", "constant", "every time", "all the time", "permanent", "never works"},
			func(w string) bool { return strings.Contains(f, w) })
		a.comes = !a.steady
	}
	if a.steady || a.comes {
		return
	}
	for _, s := range a.Presence {
		tries, failures := s.Says.GetConcernDuplicated().GetTries(), s.Says.GetConcernDuplicated().GetFailures()
		gone := s.Says.GetConcernGoneAway() != nil && (len(a.comings) == 0 || s.Job < a.comings[0].Job)
		if a.horizon.sees(s) && (gone || failures > 0 && failures < tries) {
			a.comes = true
			return
		}
	}
}

// sightings are the concern seen, or seen to be gone: once for each and for each
// time between two changes. What was seen both ways without a change comes and
// goes, and its absence says nothing.
func (a *asker) sightings() []suspect.Evidence {
	shares := a.table.Steady
	if a.comes {
		shares = a.table.Intermittent
	}
	var out []suspect.Evidence
	for n := range len(a.comings) + 1 {
		s, seen := a.seenBetween(n)
		if s == nil || !seen && n == 0 {
			continue
		}
		job, shares := 0, shares
		if n > 0 {
			job = a.comings[n-1].Job
			// What made contact again when something was exchanged may have cured it.
			shares.GoneWithFault = max(shares.GoneWithFault, a.table.Exchange)
		}
		out = append(out, &suspect.Sighting{
			ID: s.ID, Setup: "the concern after " + itoa(uint64(n)) + " changes", Gone: !seen, Shares: shares,
			There: func(p suspect.Part) bool {
				there, is := a.partAt(a.Components[p.Key], job)
				return is && there == p
			},
			Parts: func() []suspect.Part { return a.inPlaceAt(job) },
		})
	}
	return out
}

// seenBetween is the first time that the concern was seen between two changes, or, where
// it was not, that it was seen to be gone; nil when nobody looked.
func (a *asker) seenBetween(n int) (first *Step, seen bool) {
	if n == 0 && a.Opening != nil {
		// The concern was there before anybody wrote it down, and before what was
		// fitted for it.
		return a.Opening, true
	}
	from, to := 0, a.horizon.job
	if n > 0 {
		from = a.comings[n-1].Job
	}
	if n < len(a.comings) {
		to = min(to, a.comings[n].Job+1)
	}
	at, _ := slices.BinarySearchFunc(a.sighted, from+1, func(s *Step, job int) int { return s.Job - job })
	for _, s := range a.sighted[at:] {
		if s.Job >= to {
			break
		}
		if !a.horizon.sees(s) {
			continue
		}
		seen, gone := sighting(s)
		if seen {
			return s, true
		}
		if gone && first == nil {
			first = s
		}
	}
	return first, false
}

// sighting says whether the concern was seen in the step, or tried in vain.
func sighting(s *Step) (seen, gone bool) {
	presence := eventv1.Presence_PRESENCE_UNSPECIFIED
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_CaseOpened, *eventv1.Event_ConcernStated, *eventv1.Event_ConcernDuplicated, *eventv1.Event_ConcernActingUp:
		return true, false
	case *eventv1.Event_ConcernGoneAway:
		return false, true
	case *eventv1.Event_Reading:
		presence = k.Reading.GetConcern()
	case *eventv1.Event_Test:
		presence = k.Test.GetConcern()
		if k.Test.GetConcernChange() != eventv1.ConcernChange_CONCERN_CHANGE_UNSPECIFIED {
			return presence == eventv1.Presence_PRESENCE_PRESENT, false // it was changed on purpose
		}
	case *eventv1.Event_RepairChecked:
		presence = k.RepairChecked.GetConcern()
		if presence == eventv1.Presence_PRESENCE_UNSPECIFIED && k.RepairChecked.GetConcernTried() == eventv1.Answer_ANSWER_YES &&
			k.RepairChecked.GetOutcome() == eventv1.Outcome_OUTCOME_PASS {
			presence = eventv1.Presence_PRESENCE_ABSENT
		}
	}
	return presence == eventv1.Presence_PRESENCE_PRESENT, presence == eventv1.Presence_PRESENCE_ABSENT
}
