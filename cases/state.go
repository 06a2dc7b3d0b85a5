package cases

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func newState() State {
	return State{
		Components: map[string]*Component{}, Points: map[string]*Point{},
		Grants: map[string]*Grant{}, FilesErased: map[string]*Step{}, same: map[string]string{},
		beliefs: map[*Step]*Belief{}, fittings: map[*Step]*Fitting{}, repairs: map[*Step]*Repair{}, on: map[string]*Temporary{}, workedAt: map[string][]*Step{},
	}
}

// join lets two names mean one thing. The first name met in the log stays.
func (s *State) join(j *eventv1.SameAs) {
	one, other := s.joined(s.sameKey(j.GetOne(), j.GetPoints())), s.joined(s.sameKey(j.GetOther(), j.GetPoints()))
	if one != other {
		s.same[other] = one
	}
}

func (s *State) joined(key string) string {
	for {
		next, ok := s.same[key]
		if !ok {
			return key
		}
		key = next
	}
}

// sameKey keeps the names of points apart from those of components.
func (s *State) sameKey(name string, point bool) string {
	key, held := s.spelt[name]
	if !held {
		key = notation.Key(name)
		if s.spelt != nil {
			s.spelt[name] = key
		}
	}
	if point {
		return "point\x00" + key
	}
	return key
}

// Key is the key that a component's name leads to, through the names that were
// said to mean the same.
func (s *State) Key(name string) string { return s.joined(s.sameKey(name, false)) }

// Component returns the component of that name, nil when nothing speaks of it.
func (s *State) Component(name string) *Component { return s.Components[s.Key(name)] }

// Point returns the point of that name, nil when nothing speaks of it.
func (s *State) Point(name string) *Point {
	return s.Points[strings.TrimPrefix(s.joined(s.sameKey(name, true)), "point\x00")]
}

// component returns the component a step speaks of, and notes that it does. Nil
// for an empty name.
func (s *State) component(name string, step *Step) *Component {
	key := s.Key(name)
	if key == "" {
		return nil
	}
	c := s.Components[key]
	if c == nil {
		c = &Component{Key: key, Name: strings.Join(strings.Fields(name), " "), Lives: []Life{{}}}
		s.Components[key] = c
		s.met = append(s.met, c)
	}
	if n := len(c.Steps); n == 0 || c.Steps[n-1] != step {
		c.Steps = append(c.Steps, step)
	}
	return c
}

func (s *State) point(name string, step *Step) *Point {
	key := strings.TrimPrefix(s.joined(s.sameKey(name, true)), "point\x00")
	if key == "" {
		return nil
	}
	p := s.Points[key]
	if p == nil {
		p = &Point{Key: key, Name: strings.Join(strings.Fields(name), " ")}
		s.Points[key] = p
	}
	if n := len(p.Steps); n == 0 || p.Steps[n-1] != step {
		p.Steps = append(p.Steps, step)
	}
	return p
}

// begin starts a new life of the component: what was proven of it before says
// nothing of what is there now.
func (c *Component) begin(step *Step, why string) {
	if c == nil {
		return
	}
	c.Lives = append(c.Lives, Life{From: step, Why: why})
	c.ContactsSince, c.fitting = nil, nil
}

// unplugged suspends what was proven of the component's contacts.
func (c *Component) unplugged(step *Step) {
	if c != nil {
		c.ContactsSince = step
	}
}

// apply lets a step, the next in job order, take effect.
func (c *Case) apply(s *Step) {
	st := &c.State
	if s.Says == nil {
		if s.StruckBy == nil && s.Event != nil {
			st.Strange = append(st.Strange, s)
		}
		return
	}
	st.rely(s)
	if seen, gone := sighting(s); seen || gone {
		st.sighted = append(st.sighted, s)
	}
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_CaseOpened:
		st.opened(s, k.CaseOpened)
	case *eventv1.Event_ConcernStated:
		st.Concerns = append(st.Concerns, s)
	case *eventv1.Event_ConcernDuplicated:
		st.Presence = append(st.Presence, s)
		if st.Duplicated == nil && !k.ConcernDuplicated.GetUnsafeToRepeat() {
			st.Duplicated = s
		}
	case *eventv1.Event_ConcernActingUp, *eventv1.Event_ConcernGoneAway:
		st.Presence = append(st.Presence, s)
	case *eventv1.Event_CodesRead:
		st.Codes = append(st.Codes, s)
	case *eventv1.Event_CodesCleared, *eventv1.Event_EvidenceDisturbed:
		st.Destroyed = append(st.Destroyed, s)
	case *eventv1.Event_PartFitted:
		st.fitted(s, k.PartFitted)
	case *eventv1.Event_PartRemoved:
		st.removed(s, k.PartRemoved)
	case *eventv1.Event_PartPutBack:
		st.putBack(s, k.PartPutBack)
	case *eventv1.Event_Reading:
		st.reading(s, k.Reading)
	case *eventv1.Event_Test:
		st.evidence(s, k.Test.GetOutcome(), k.Test.GetCovers())
	case *eventv1.Event_Seen:
		st.Seen = append(st.Seen, s)
		st.component(k.Seen.GetComponent(), s)
		st.point(k.Seen.GetPoint(), s)
	case *eventv1.Event_MeterChecked:
		st.MeterChecks = append(st.MeterChecks, s)
	case *eventv1.Event_Belief:
		st.believed(s, k.Belief)
	case *eventv1.Event_BeliefSettled:
		c.settled(s, k.BeliefSettled)
	case *eventv1.Event_CircuitDrawn:
		st.drawn(s, k.CircuitDrawn)
	case *eventv1.Event_SameAs:
		if !k.SameAs.GetPoints() {
			st.component(k.SameAs.GetOne(), s)
		}
	case *eventv1.Event_TemporaryOn:
		st.temporaryOn(s, k.TemporaryOn)
	case *eventv1.Event_TemporaryOff:
		st.temporaryOff(s, k.TemporaryOff.GetTemporary())
	case *eventv1.Event_WorkedOn:
		st.worked(s, k.WorkedOn)
	case *eventv1.Event_MadeSafe:
		st.MadeSafe = append(st.MadeSafe, s)
	case *eventv1.Event_Repair:
		r := &Repair{Step: s, Says: k.Repair, Component: st.component(k.Repair.GetComponent(), s)}
		r.Component.begin(s, "repaired")
		st.point(k.Repair.GetFrom(), s)
		st.point(k.Repair.GetTo(), s)
		st.Repairs = append(st.Repairs, r)
		st.repairs[s] = r
	case *eventv1.Event_RepairChecked:
		c.checked(s, k.RepairChecked)
	case *eventv1.Event_HandedOff:
		st.Handoffs = append(st.Handoffs, &Handoff{Step: s, Says: k.HandedOff})
	case *eventv1.Event_TakenUp:
		if h := st.handoff(k.TakenUp.GetHandoff()); h != nil && h.TakenUp == nil {
			h.TakenUp = s
		}
	case *eventv1.Event_HandedBack:
		if h := st.handoff(k.HandedBack.GetHandoff()); h != nil {
			h.Back = s
		}
		st.credit(s)
	case *eventv1.Event_Approval:
		st.Approvals = append(st.Approvals, s)
	case *eventv1.Event_TimeSpent:
		st.Time = append(st.Time, s)
	case *eventv1.Event_Note:
		st.Notes = append(st.Notes, s)
	case *eventv1.Event_Attachment:
		st.Attachments = append(st.Attachments, s)
	case *eventv1.Event_FileErased:
		st.FilesErased[string(k.FileErased.GetSha256())] = s
	case *eventv1.Event_Closed:
		st.Closings = append(st.Closings, s)
		st.Closed = s
		st.credit(s)
	case *eventv1.Event_Reopened:
		st.Closings = append(st.Closings, s)
		st.Closed = nil
	case *eventv1.Event_CheckDue:
		st.ChecksDue = append(st.ChecksDue, s)
	case *eventv1.Event_CameBack:
		st.CameBack = append(st.CameBack, s)
	case *eventv1.Event_AccessGranted:
		st.Grants[k.AccessGranted.GetShop()] = &Grant{Step: s, Access: k.AccessGranted.GetAccess()}
	case *eventv1.Event_AccessWithdrawn:
		st.Grants[k.AccessWithdrawn.GetShop()] = &Grant{Step: s, Access: k.AccessWithdrawn.GetLeft()}
	}
}

func (s *State) opened(step *Step, o *eventv1.CaseOpened) {
	if s.Opening != nil {
		return // a case opens once; the server takes no second opening
	}
	s.Opening, s.OwnerShop, s.Vehicle = step, o.GetShop(), o.GetVehicle()
	s.Concerns = append(s.Concerns, step)
	for _, l := range o.GetLeftBehind() {
		if l.GetKind() == eventv1.LeftKind_LEFT_KIND_TEMPORARY {
			s.left(l.GetEntry(), &Temporary{
				On: step, Kind: eventv1.TemporaryKind_TEMPORARY_KIND_OTHER, What: l.GetWhat(),
				Where: []string{l.GetWhere()}, Undo: l.GetUndo(), Earlier: l,
			})
		}
	}
}

func (s *State) fitted(step *Step, p *eventv1.PartFitted) {
	c := s.component(p.GetComponent(), step)
	if c == nil {
		return
	}
	f := &Fitting{Step: step, Component: c, Part: p}
	for _, e := range c.Evidence {
		if e.Life == c.Present() && e.Outcome == eventv1.Outcome_OUTCOME_FAIL {
			f.Failing = append(f.Failing, e)
		}
	}
	for _, seen := range c.Steps {
		says := seen.Says.GetSeen()
		bad := says.GetOutcome() == eventv1.Outcome_OUTCOME_FAIL || says.GetMode() != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED
		if bad && s.Key(says.GetComponent()) == c.Key {
			f.Damage = append(f.Damage, seen)
		}
	}
	s.filled(c, step)
	c.begin(step, "fitted")
	c.fitting = f
	s.Fittings = append(s.Fittings, f)
	s.fittings[step] = f
	if p.GetState() == eventv1.PartState_PART_STATE_BORROWED {
		t := &Temporary{
			On: step, Kind: eventv1.TemporaryKind_TEMPORARY_KIND_PART_BORROWED,
			What: "borrowed part in " + c.Name, Where: []string{c.Name}, Undo: "put it back where it came from",
		}
		if from := strings.TrimSpace(p.GetBorrowedFrom()); from != "" {
			t.What += ", from " + from + ", which is open"
			t.Where = append(t.Where, from)
			t.Undo = "put it back into " + from
			s.component(from, step).begin(step, "its part was borrowed")
		}
		s.left(step.ID, t)
	}
}

func (s *State) removed(step *Step, p *eventv1.PartRemoved) {
	c := s.component(p.GetComponent(), step)
	if c == nil {
		return
	}
	c.begin(step, "taken out")
	c.out = &Temporary{
		On: step, Kind: eventv1.TemporaryKind_TEMPORARY_KIND_OTHER, What: c.Name + " taken out, nothing in its place",
		Where: []string{c.Name}, Undo: "fit it again or another in its place",
	}
	s.left(step.ID, c.out)
}

func (s *State) putBack(step *Step, p *eventv1.PartPutBack) {
	c := s.component(p.GetComponent(), step)
	if c == nil {
		return
	}
	if p.GetReseatedOnly() {
		c.unplugged(step)
		return
	}
	s.filled(c, step)
	c.begin(step, "put back")
	for _, f := range slices.Backward(s.Fittings) {
		borrowed := f.Part.GetState() == eventv1.PartState_PART_STATE_BORROWED
		home := borrowed && s.Key(f.Part.GetBorrowedFrom()) == c.Key
		if f.PutBack != nil || f.Component != c && !home || p.GetUndoes() != "" && f.Step.ID != p.GetUndoes() {
			continue
		}
		f.PutBack = step
		if borrowed {
			s.temporaryOff(step, f.Step.ID)
		}
		break
	}
}

func (s *State) reading(step *Step, r *eventv1.Reading) {
	s.Readings = append(s.Readings, step)
	for _, name := range []string{r.GetRed(), r.GetBlack(), r.GetAt()} {
		if p := s.point(name, step); p != nil {
			p.Last = step
		}
	}
	s.evidence(step, r.GetOutcome(), r.GetCovers())
}

// evidence lets a test, or a reading with an outcome, bear on what it covers.
func (s *State) evidence(step *Step, outcome eventv1.Outcome, covers []*eventv1.Covered) {
	for _, cov := range covers {
		c := s.component(cov.GetComponent(), step)
		if c == nil || outcome == eventv1.Outcome_OUTCOME_UNSPECIFIED {
			continue
		}
		e := &Evidence{
			Step: step, Component: c, Life: c.Present(), Outcome: outcome, Covered: cov,
			Alone: len(covers) == 1 && cov.GetExtent() != eventv1.Extent_EXTENT_MOSTLY,
		}
		s.bear(e)
	}
}

func (s *State) bear(e *Evidence) {
	c := e.Component
	c.Evidence = append(c.Evidence, e)
	s.Evidence = append(s.Evidence, e)
	if f := c.fitting; f != nil {
		f.After = append(f.After, e)
	}
}

func (s *State) believed(step *Step, b *eventv1.Belief) {
	held := &Belief{Step: step, Says: b, About: s.component(b.GetComponent(), step), AtPoint: s.point(b.GetPoint(), step)}
	if held.About == nil {
		held.About = s.component(b.GetClaim().GetComponent(), step)
	}
	held.Behind = evidential(step.Because)
	s.Beliefs = append(s.Beliefs, held)
	s.beliefs[step] = held
}

// evidential keeps the entries that are themselves evidence.
func evidential(steps []*Step) []*Step {
	var out []*Step
	for _, s := range steps {
		switch s.Says.GetKind().(type) {
		case *eventv1.Event_Reading, *eventv1.Event_Test, *eventv1.Event_Seen, *eventv1.Event_CodesRead, *eventv1.Event_RepairChecked, *eventv1.Event_MeterChecked:
			out = append(out, s)
		}
	}
	return out
}

// BeliefOf returns the belief that the step states, nil when it states none.
func (s *State) BeliefOf(step *Step) *Belief { return s.beliefs[step] }

// FittingOf returns the fitting that the step is, nil when it is none.
func (s *State) FittingOf(step *Step) *Fitting { return s.fittings[step] }

// rely notes which beliefs the step rests on.
func (s *State) rely(step *Step) {
	for _, b := range step.Because {
		if held := s.BeliefOf(b); held != nil {
			held.ReliedOn = append(held.ReliedOn, step)
		}
	}
}

func (c *Case) settled(step *Step, b *eventv1.BeliefSettled) {
	s := &c.State
	if held := s.beliefs[c.byID[b.GetBelief()]]; held != nil {
		held.Settled, held.Holds = step, b.GetHolds()
		held.Behind = append(held.Behind, evidential(step.Because)...)
	}
	s.credit(step)
}

// credit notes which fittings a conclusion rests on.
func (s *State) credit(step *Step) {
	for _, b := range step.Because {
		if f := s.FittingOf(b); f != nil {
			f.Credit = append(f.Credit, step)
		}
	}
}

func (s *State) drawn(step *Step, d *eventv1.CircuitDrawn) {
	s.Drawings = append(s.Drawings, step)
	for _, e := range d.GetElements() {
		s.component(ElementName(e), step)
		s.point(e.GetFrom(), step)
		s.point(e.GetTo(), step)
	}
	for _, seen := range d.GetPoints() {
		if p := s.point(seen.GetPoint(), step); p != nil {
			p.Seen, p.Basis = seen, step
		}
	}
}

func (s *State) worked(step *Step, w *eventv1.WorkedOn) {
	s.Worked = append(s.Worked, step)
	keys := []string{s.Key(w.GetArea())}
	for _, name := range w.GetComponents() {
		s.component(name, step)
		keys = append(keys, s.Key(name))
	}
	slices.Sort(keys)
	for _, key := range slices.Compact(keys) {
		if key != "" {
			s.workedAt[key] = append(s.workedAt[key], step)
		}
	}
}

func (c *Case) checked(step *Step, r *eventv1.RepairChecked) {
	s := &c.State
	s.Checks = append(s.Checks, step)
	for _, id := range r.GetRepairs() {
		var of *Component
		at := c.byID[id]
		if f := s.fittings[at]; f != nil {
			of, f.Credit = f.Component, append(f.Credit, step)
		}
		if done := s.repairs[at]; done != nil {
			of, done.Checks = done.Component, append(done.Checks, step)
		}
		if of != nil && r.GetOutcome() != eventv1.Outcome_OUTCOME_UNSPECIFIED {
			s.bear(checkOf(step, of, r))
		}
	}
	s.credit(step)
}

// checkOf is what a check after a repair says of one component: the whole circuit
// worked, or did not, so it covers the component without being alone in it.
func checkOf(step *Step, c *Component, r *eventv1.RepairChecked) *Evidence {
	return &Evidence{
		Step: step, Component: c, Life: c.Present(), Outcome: r.GetOutcome(),
		Covered: &eventv1.Covered{Component: c.Name, Extent: eventv1.Extent_EXTENT_MOSTLY},
	}
}

// handoff returns the hand-off with the id, or, without an id, the last one that
// is not handed back.
func (s *State) handoff(id string) *Handoff {
	for _, h := range slices.Backward(s.Handoffs) {
		if h.Step.ID == id || id == "" && h.Back == nil {
			return h
		}
	}
	return nil
}
