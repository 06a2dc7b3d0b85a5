package cases

import (
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// tests are the tests, judged readings and looks, as evidence.
func (a *asker) tests() []suspect.Evidence {
	part := map[string]bool{} // readings that a test is made of count as that test
	steps := a.jobs
	if a.horizon.only != nil {
		steps = nil
		for _, comp := range a.horizon.only {
			steps = append(steps, comp.Steps...)
		}
		slices.SortFunc(steps, func(x, y *Step) int { return x.Job - y.Job })
		steps = slices.Compact(steps)
	}
	for _, s := range steps {
		if t := s.Says.GetTest(); t != nil && a.horizon.sees(s) {
			for _, id := range t.GetReadings() {
				part[id] = true
			}
		}
	}
	var out []suspect.Evidence
	for _, s := range steps {
		if !a.horizon.sees(s) || part[s.ID] {
			continue
		}
		if a.read[s] {
			continue // what the drawing makes of it says more than its writer
		}
		if c := a.coverage(s); c != nil && len(c.Covers) > 0 {
			out = append(out, c)
		}
	}
	return out
}

// judged is what a test or reading says, whichever it is.
type judged struct {
	manner     suspect.Manner
	covers     []*eventv1.Covered
	outcome    eventv1.Outcome
	change     eventv1.ConcernChange
	conditions *eventv1.Conditions
	presence   eventv1.Presence
	instrument eventv1.InstrumentKind
	points     []string
	volts      bool
}

func judge(s *Step) (j judged, ok bool) {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_Test:
		t := k.Test
		return judged{
			manner: suspect.Manner(t.GetManner()), covers: t.GetCovers(), outcome: t.GetOutcome(), change: t.GetConcernChange(),
			conditions: t.GetConditions(), presence: t.GetConcern(), instrument: t.GetInstrument().GetKind(),
		}, true
	case *eventv1.Event_Reading:
		r := k.Reading
		j = judged{
			covers: r.GetCovers(), outcome: r.GetOutcome(), conditions: r.GetConditions(), presence: r.GetConcern(),
			instrument: r.GetInstrument().GetKind(), points: []string{r.GetRed(), r.GetBlack(), r.GetAt()},
			volts: r.GetValue().GetUnit() == "V",
		}
		switch {
		case r.GetValue().GetShape() == eventv1.Shape_SHAPE_DROP:
			j.manner = suspect.Drop
		case r.GetValue().GetUnit() == "Ohm":
			j.manner = suspect.Continuity
		}
		return j, true
	}
	return judged{}, false
}

// verdict of a test: what it did to the concern outweighs what its writer called
// it, since 'pass' after a bypass may be said of the circuit that then worked. A
// test that says both ways says nothing.
func (j judged) verdict() (fails, says bool) {
	fails = j.outcome == eventv1.Outcome_OUTCOME_FAIL
	says = fails || j.outcome == eventv1.Outcome_OUTCOME_PASS
	switch j.manner {
	case suspect.Bypass, suspect.Substitution, suspect.Reseat:
	default:
		return fails, says
	}
	switch j.change {
	case eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY, eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK:
		return true, true
	case eventv1.ConcernChange_CONCERN_CHANGE_STAYED:
		return false, !fails
	}
	return fails, says
}

// loaded reports whether current was drawn.
func (j judged) loaded() bool {
	c := j.conditions
	return c.GetCurrent() != nil || len(c.GetLoaded()) > 0 || c.GetKey() == eventv1.KeyPosition_KEY_POSITION_CRANKING ||
		c.GetCommanded() == eventv1.Command_COMMAND_ON && len(c.GetUnplugged()) == 0
}

// coverage is the step as evidence, nil when it is none.
func (a *asker) coverage(s *Step) *suspect.Coverage {
	if s.Says.GetSeen() != nil {
		return a.look(s)
	}
	j, ok := judge(s)
	if !ok {
		return nil
	}
	fails, says := j.verdict()
	if !says {
		return nil
	}
	out := &suspect.Coverage{ID: s.ID, Setup: a.setup(s, j), Fails: fails, Shares: a.table.Tests[j.manner],
		Twice: j.change == eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK}
	switch {
	case fails:
	case j.presence == eventv1.Presence_PRESENCE_ABSENT && !a.steady:
		out.Weak, out.Shares.FalsePass = true, a.table.WeakPass
	case a.comes && j.presence != eventv1.Presence_PRESENCE_PRESENT:
		out.Weak, out.Shares.FalsePass = true, a.table.MaybeWeakPass
	case j.manner == suspect.Drop && !j.loaded():
		// Nothing drops where nothing flows.
		out.Weak, out.Shares.FalsePass = true, a.table.WeakPass
	}
	out.Shares.FalsePassMostly = max(out.Shares.FalsePassMostly, out.Shares.FalsePass)
	for _, cov := range j.covers {
		comp := a.Component(cov.GetComponent())
		if comp == nil {
			continue
		}
		p, there := a.meant(comp, s, j)
		out.Weak = out.Weak || a.handledSince(comp, s, p)
		modes, shows := j.modes(cov, fails)
		if !there || !shows {
			continue
		}
		for _, m := range modes {
			if !slices.Contains(a.named[comp.Key], m) {
				a.named[comp.Key] = append(a.named[comp.Key], m)
			}
		}
		out.Covers = append(out.Covers, suspect.Cover{Part: p, Modes: modes, Mostly: cov.GetExtent() != eventv1.Extent_EXTENT_WHOLE})
	}
	if fails && len(out.Covers) == 1 {
		out.Shows = a.shows(s, j, out)
	}
	if fails {
		out.Covers = append(out.Covers, a.consequences(s, j.covers)...)
	}
	return out
}

// consequences are the faults that leave what was found bad so: a short below a fuse
// that was found blown, or a breaker that was found open.
func (a *asker) consequences(s *Step, covers []*eventv1.Covered) []suspect.Cover {
	var out []suspect.Cover
	for _, cov := range covers {
		comp := a.Component(cov.GetComponent())
		for _, d := range a.wired {
			for k, e := range d.Elements {
				if kind := d.Circuit.Elements[k].Kind; e.Component != comp || kind != circuit.Fuse && kind != circuit.Breaker {
					continue
				}
				for _, below := range d.Below(k) {
					if p, there := a.partAt(d.Elements[below].Component, s.Job); there {
						out = append(out, suspect.Cover{Part: p, Modes: circuit.Blowing, Mostly: true})
					}
				}
			}
		}
	}
	return out
}

// meant is the part that a test speaks of: what is there, or, of an exchange, what
// was taken out for it.
func (a *asker) meant(comp *Component, s *Step, j judged) (suspect.Part, bool) {
	if j.manner == suspect.Substitution {
		for _, f := range slices.Backward(a.Fittings) {
			tried := f.Part.GetState() == eventv1.PartState_PART_STATE_BORROWED || f.Part.GetWhy() == eventv1.Why_WHY_TRIAL
			if f.Component == comp && f.Step.Job < s.Job && tried && f.Part.GetState() != eventv1.PartState_PART_STATE_ORIGINAL {
				if now, _ := a.partAt(comp, s.Job); now.Life == lifeBefore(comp, f.Step)+1 {
					return a.partAt(comp, f.Step.Job-1)
				}
			}
		}
	}
	return a.partAt(comp, s.Job)
}

// look is something seen to be bad. Looking good proves nothing.
func (a *asker) look(s *Step) *suspect.Coverage {
	seen := s.Says.GetSeen()
	bad := seen.GetOutcome() == eventv1.Outcome_OUTCOME_FAIL ||
		seen.GetOutcome() != eventv1.Outcome_OUTCOME_PASS && seen.GetMode() != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED
	comp := a.Component(seen.GetComponent())
	if comp == nil || !bad || seen.GetOutsideConcern() {
		return nil
	}
	p, there := a.partAt(comp, s.Job)
	if !there {
		return nil
	}
	return &suspect.Coverage{
		ID: s.ID, Setup: "looked", Fails: true, Shares: a.table.Tests[suspect.Look],
		Covers: append([]suspect.Cover{{Part: p, Mostly: true}}, a.consequences(s, []*eventv1.Covered{{Component: seen.GetComponent()}})...),
	}
}

// modes that the test would show of what it covers; shows is false when it would
// show none.
func (j judged) modes(cov *eventv1.Covered, fails bool) (modes []suspect.Mode, shows bool) {
	for _, m := range cov.GetModes() {
		if m != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED {
			modes = append(modes, suspect.Mode(m))
		}
	}
	var can []suspect.Mode
	switch {
	case j.manner == suspect.Continuity && !fails:
		can = []suspect.Mode{suspect.Open} // it never shows that something carries its load
	case j.manner == suspect.Continuity, j.manner == suspect.Drop:
		can = []suspect.Mode{suspect.Open, suspect.HighResistance}
	case j.volts && !fails && !j.loaded():
		can = []suspect.Mode{suspect.Open} // a voltage with nothing drawing current
	default:
		return modes, true
	}
	if len(modes) == 0 {
		return can, true
	}
	modes = slices.DeleteFunc(modes, func(m suspect.Mode) bool { return !slices.Contains(can, m) })
	return modes, len(modes) > 0
}

// setup is that of a test or reading; naming it takes longer than all else of it.
func (a *asker) setup(s *Step, j judged) string {
	name, held := a.setups[s.Says]
	if !held {
		name = j.setup()
		if a.setups != nil {
			a.setups[s.Says] = name
		}
	}
	return name
}

// setup names how it was done: the same again in one set-up counts once.
func (j judged) setup() string {
	c := j.conditions
	words := []string{j.manner.String(), c.GetKey().String(), c.GetCommanded().String(), j.instrument.String()}
	for _, names := range [][]string{c.GetUnplugged(), c.GetJumped(), c.GetLoaded(), j.points} {
		var keys []string
		for _, n := range names {
			keys = append(keys, notation.Key(n))
		}
		slices.Sort(keys)
		words = append(words, strings.Join(keys, ","))
	}
	return strings.Join(words, "|")
}

// shows reports whether a failing test of one component by itself shows that it is
// bad: a drop across it while it carries current, a way round it with which the
// concern goes away, a test on the bench; or another in its place with which the
// concern goes and without which it comes back, once the one that was there had
// been unplugged and plugged in again without effect: reseating cures.
func (a *asker) shows(s *Step, j judged, c *suspect.Coverage) bool {
	switch j.manner {
	case suspect.Bench:
		return true
	case suspect.Drop:
		return j.loaded()
	case suspect.Bypass:
		return j.change == eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY || j.change == eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK
	case suspect.Substitution:
		if j.change == eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK {
			return true // the first one was plugged in again, and the concern was back
		}
		if a.reseated(s, c.Covers[0].Part) {
			return false
		}
		// What made contact again on the way may have cured it.
		of := c.Covers[0].Part.Key
		for _, comp := range a.known() {
			if comp.Key != of && contactsOf(comp.Name, a.Components[of].Name) {
				p, there := a.partAt(comp, s.Job)
				if there {
					c.Covers = append(c.Covers, suspect.Cover{Part: p, Mostly: true})
				}
			}
		}
		c.Shares.NotNamed = a.table.Exchange
	}
	return false
}

// reseated reports whether the part was unplugged and plugged in again before the
// step, since it is what it is, and the concern stayed. The contacts may be named
// for themselves.
func (a *asker) reseated(before *Step, p suspect.Part) bool {
	comp := a.Components[p.Key]
	for _, s := range a.jobs {
		j, ok := judge(s)
		if !ok || s.Job >= before.Job || j.manner != suspect.Reseat || !a.horizon.sees(s) {
			continue
		}
		if fails, says := j.verdict(); fails || !says {
			continue
		}
		if at, there := a.partAt(comp, s.Job); !there || at != p {
			continue
		}
		for _, cov := range j.covers {
			if a.Key(cov.GetComponent()) == p.Key || contactsOf(cov.GetComponent(), comp.Name) {
				return true
			}
		}
	}
	return false
}

// contactsOf reports whether a name is that of the contacts of something: 'relay
// contacts' of 'fan relay'.
func contactsOf(name, of string) bool {
	words := strings.Fields(notation.Key(name))
	contact := slices.ContainsFunc(words, func(w string) bool {
		return slices.Contains([]string{"contact", "contacts", "plug", "connector", "socket", "pin", "pins", "terminal", "terminals"}, w)
	})
	return contact && slices.ContainsFunc(strings.Fields(notation.Key(of)), func(w string) bool { return slices.Contains(words, w) })
}
