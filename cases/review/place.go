package review

import (
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// places says which very thing was in the place of a component, and which one a
// test speaks of: what is fitted is another thing than what came out, and the
// original that was put back is what it was.
type places struct {
	*cases.Judged
	held map[*cases.Component][]*suspect.Part
	// undid is the fitting that a putting back undid.
	undid map[*cases.Step]*cases.Fitting
}

func placesOf(c *cases.Judged) *places {
	p := &places{Judged: c, held: map[*cases.Component][]*suspect.Part{}, undid: map[*cases.Step]*cases.Fitting{}}
	for _, f := range c.Fittings {
		if f.PutBack != nil {
			p.undid[f.PutBack] = f
		}
	}
	return p
}

// in is what was there in life n of the component.
func (p *places) in(comp *cases.Component, n int) suspect.Part {
	held := p.held[comp]
	if held == nil {
		held = make([]*suspect.Part, len(comp.Lives))
		p.held[comp] = held
	}
	if held[n] == nil {
		part := p.came(comp, n)
		held[n] = &part
	}
	return *held[n]
}

// came is what came with life n of the component.
func (p *places) came(comp *cases.Component, n int) suspect.Part {
	if l := comp.Lives; n > 0 && l[n].From.Says.GetPartPutBack() != nil {
		if f := p.undid[l[n].From]; f != nil {
			return p.in(comp, lifeAt(comp, f.Step)) // what it had displaced
		}
		if n > 1 && l[n-1].From.Says.GetPartRemoved() != nil {
			return p.in(comp, n-2) // out for a while, and nothing was in its place
		}
	}
	then := *comp // as it was in that life
	then.Lives = comp.Lives[:n+1]
	return p.Part(&then)
}

// now is what is there today.
func (p *places) now(comp *cases.Component) suspect.Part { return p.in(comp, comp.Present()) }

// lifeAt is the life of the component right before the step.
func lifeAt(comp *cases.Component, s *cases.Step) int {
	n, _ := slices.BinarySearchFunc(comp.Lives[1:], s.Job, func(l cases.Life, job int) int { return l.From.Job - job })
	return n
}

// inPlace reports whether the test was of what was there then: not of what had
// been taken out to be tried on the bench, or exchanged for another.
func (p *places) inPlace(e *cases.Evidence) bool { return meantLife(e) == e.Life }

// of is the thing that the test speaks of.
func (p *places) of(e *cases.Evidence) suspect.Part { return p.in(e.Component, meantLife(e)) }

func meantLife(e *cases.Evidence) int {
	from := e.Component.Lives[e.Life].From
	if from == nil {
		return e.Life
	}
	f := from.Says.GetPartFitted()
	tried := f.GetState() == eventv1.PartState_PART_STATE_BORROWED || f.GetWhy() == eventv1.Why_WHY_TRIAL
	if from.Says.GetPartRemoved() != nil || tried && f.GetState() != eventv1.PartState_PART_STATE_ORIGINAL && manner(e.Step) == eventv1.TestManner_TEST_MANNER_SUBSTITUTION {
		return e.Life - 1
	}
	return e.Life
}

func manner(s *cases.Step) eventv1.TestManner { return s.Says.GetTest().GetManner() }

// verdict of a test or judged reading. What a way round something, another in its
// place or reseating it did to the concern outweighs what the writer called it,
// since 'pass' may be said of the circuit that then worked; one that says both
// ways says nothing.
func verdict(e *cases.Evidence) eventv1.Outcome {
	t := e.Step.Says.GetTest()
	switch t.GetManner() {
	case eventv1.TestManner_TEST_MANNER_BYPASS, eventv1.TestManner_TEST_MANNER_SUBSTITUTION, eventv1.TestManner_TEST_MANNER_RESEAT:
	default:
		return e.Outcome
	}
	switch t.GetConcernChange() {
	case eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY, eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK:
		return fail
	case eventv1.ConcernChange_CONCERN_CHANGE_STAYED:
		if e.Outcome == fail {
			return eventv1.Outcome_OUTCOME_INCONCLUSIVE
		}
		return pass
	}
	return e.Outcome
}

// canShow are the modes in which a passing test would have found it bad; nil for
// every one. Ohms and a voltage with nothing drawing current show an open and no
// more; a drop shows what loses voltage.
func canShow(e *cases.Evidence) []eventv1.FaultMode {
	r := e.Step.Says.GetReading()
	switch {
	case len(e.Covered.GetModes()) > 0:
		return e.Covered.GetModes()
	case dropped(e.Step):
		return []eventv1.FaultMode{eventv1.FaultMode_FAULT_MODE_OPEN, eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE}
	case continuity(e.Step), r.GetValue().GetUnit() == "V" && !loaded(e.Step):
		return []eventv1.FaultMode{eventv1.FaultMode_FAULT_MODE_OPEN}
	}
	return nil
}

func dropped(s *cases.Step) bool {
	return manner(s) == eventv1.TestManner_TEST_MANNER_DROP || s.Says.GetReading().GetValue().GetShape() == eventv1.Shape_SHAPE_DROP
}

// drew reports whether current flowed: nothing drops where nothing flows.
func drew(s *cases.Step) bool {
	con := s.Says.GetReading().GetConditions()
	if t := s.Says.GetTest(); t != nil {
		con = t.GetConditions()
	}
	return con.GetCurrent() != nil || len(con.GetLoaded()) > 0 || con.GetKey() == eventv1.KeyPosition_KEY_POSITION_CRANKING ||
		con.GetCommanded() == eventv1.Command_COMMAND_ON && len(con.GetUnplugged()) == 0
}

func continuity(s *cases.Step) bool {
	return manner(s) == eventv1.TestManner_TEST_MANNER_CONTINUITY || s.Says.GetReading().GetValue().GetUnit() == "Ohm"
}

// undone reports whether a decision no longer stands: the part was put back, the
// belief was found not to be so or settled anew, the case was opened again.
func undone(c *cases.Case, s *cases.Step) bool {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		f := c.FittingOf(s)
		return f == nil || f.PutBack != nil
	case *eventv1.Event_Belief:
		b := c.BeliefOf(s)
		return b == nil || b.Holds == no
	case *eventv1.Event_BeliefSettled:
		b := c.BeliefOf(c.ByID(k.BeliefSettled.GetBelief()))
		return b == nil || b.Settled != s
	case *eventv1.Event_Closed:
		return c.Closed != s
	}
	return false
}
