package review

import (
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	pass = eventv1.Outcome_OUTCOME_PASS
	fail = eventv1.Outcome_OUTCOME_FAIL
	yes  = eventv1.Answer_ANSWER_YES
	no   = eventv1.Answer_ANSWER_NO
)

// outcome of a test, judged reading or look; unspecified for anything else.
func outcome(s *cases.Step) eventv1.Outcome {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_Reading:
		return k.Reading.GetOutcome()
	case *eventv1.Event_Test:
		return k.Test.GetOutcome()
	case *eventv1.Event_Seen:
		return k.Seen.GetOutcome()
	case *eventv1.Event_RepairChecked:
		return k.RepairChecked.GetOutcome()
	}
	return eventv1.Outcome_OUTCOME_UNSPECIFIED
}

// measured reports whether the step is a reading or a test.
func measured(s *cases.Step) bool { return s.Says.GetReading() != nil || s.Says.GetTest() != nil }

// covers returns what a test or reading covers.
func covers(s *cases.Step) []*eventv1.Covered {
	if t := s.Says.GetTest(); t != nil {
		return t.GetCovers()
	}
	return s.Says.GetReading().GetCovers()
}

// presence is what the step says of the concern.
func presence(s *cases.Step) eventv1.Presence {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_Reading:
		return k.Reading.GetConcern()
	case *eventv1.Event_Test:
		return k.Test.GetConcern()
	case *eventv1.Event_RepairChecked:
		return k.RepairChecked.GetConcern()
	case *eventv1.Event_ConcernGoneAway:
		return eventv1.Presence_PRESENCE_ABSENT
	case *eventv1.Event_ConcernDuplicated:
		if k.ConcernDuplicated.GetUnsafeToRepeat() {
			return eventv1.Presence_PRESENCE_NOT_KNOWN
		}
		return eventv1.Presence_PRESENCE_PRESENT
	case *eventv1.Event_ConcernActingUp:
		return eventv1.Presence_PRESENCE_PRESENT
	}
	return eventv1.Presence_PRESENCE_UNSPECIFIED
}

// handedAfter is the first time the case was passed on or ended after the step,
// nil when it was not.
func handedAfter(c *cases.Case, s *cases.Step) *cases.Step {
	var first *cases.Step
	take := func(end *cases.Step) {
		if end != nil && end.Job > s.Job && (first == nil || end.Job < first.Job) {
			first = end
		}
	}
	for _, h := range c.Handoffs {
		take(h.Step)
		take(h.Back)
	}
	for _, e := range c.Closings {
		if e.Says.GetClosed() != nil {
			take(e)
		}
	}
	return first
}

// decides reports whether the step is a decision: something done or concluded,
// where a test done because of something is only a look at it.
func decides(s *cases.Step) bool {
	switch s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted, *eventv1.Event_PartRemoved, *eventv1.Event_Repair, *eventv1.Event_Belief,
		*eventv1.Event_BeliefSettled, *eventv1.Event_HandedBack, *eventv1.Event_Closed:
		return true
	}
	return false
}

// decided maps each step to the decisions that rest on it: those that name it,
// and those that name a test made of it.
func decided(c *cases.Case) map[*cases.Step][]*cases.Step {
	out := map[*cases.Step][]*cases.Step{}
	for _, s := range c.Jobs() {
		if !decides(s) {
			continue
		}
		for _, b := range s.Because {
			out[b] = append(out[b], s)
			for _, id := range b.Says.GetTest().GetReadings() {
				if r := c.ByID(id); r != nil {
					out[r] = append(out[r], s)
				}
			}
		}
	}
	return out
}

// inPlace reports whether the part fitted is still there: not put back, not
// replaced, not taken out.
func inPlace(f *cases.Fitting) bool {
	if f.PutBack != nil {
		return false
	}
	for _, l := range f.Component.Lives {
		if l.From != nil && l.From.Job > f.Step.Job && (l.From.Says.GetPartFitted() != nil || l.From.Says.GetPartRemoved() != nil) {
			return false
		}
	}
	return true
}

// reasoned reports whether the part was fitted for a reason other than finding
// the fault.
func reasoned(f *cases.Fitting) bool {
	switch f.Part.GetWhy() {
	case eventv1.Why_WHY_DAMAGE_SEEN, eventv1.Why_WHY_MAINTENANCE, eventv1.Why_WHY_BULLETIN, eventv1.Why_WHY_CUSTOMERS_WISH:
		return true
	}
	return false
}

// exchanged reports whether a way round the component, or another in its place,
// made the concern go away.
func exchanged(comp *cases.Component) bool { return slices.ContainsFunc(comp.Steps, wentAway) }

// wentAway reports whether the step is a bypass or substitution with which the
// concern went away.
func wentAway(s *cases.Step) bool {
	t := s.Says.GetTest()
	switch t.GetManner() {
	case eventv1.TestManner_TEST_MANNER_BYPASS, eventv1.TestManner_TEST_MANNER_SUBSTITUTION:
	default:
		return false
	}
	switch t.GetConcernChange() {
	case eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY, eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK:
		return true
	}
	return false
}

// beforeAndAfter reports whether the component failed before it was fitted or
// repaired and passed after, or was checked at the same points before and after.
func (c *sheet) beforeAndAfter(comp *cases.Component) bool {
	failed := -1
	for _, e := range comp.Evidence {
		switch {
		case e.Outcome == fail && failed < 0:
			failed = e.Life
		case e.Outcome == pass && failed >= 0 && e.Life > failed && e.Step.Says.GetRepairChecked() == nil:
			return true
		}
	}
	return c.compared[comp]
}

// comparedIn are the components whose change was checked at the same points before
// and after, and held.
func comparedIn(c *cases.Case) map[*cases.Component]bool {
	out := map[*cases.Component]bool{}
	for _, s := range c.Checks {
		r := s.Says.GetRepairChecked()
		if len(r.GetBefore()) == 0 || len(r.GetAfter()) == 0 || r.GetOutcome() == fail {
			continue
		}
		for _, id := range r.GetRepairs() {
			out[changed(c, c.ByID(id))] = true
		}
	}
	return out
}

// changed is the component that a fitting or repair changed, nil for other steps.
func changed(c *cases.Case, s *cases.Step) *cases.Component {
	if s == nil {
		return nil
	}
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		return c.Component(k.PartFitted.GetComponent())
	case *eventv1.Event_Repair:
		return c.Component(k.Repair.GetComponent())
	}
	return nil
}

// seenBad reports whether somebody saw, before the step, that it looks bad.
func seenBad(comp *cases.Component, before *cases.Step) bool {
	return slices.ContainsFunc(comp.Steps, func(s *cases.Step) bool { return s.Job < before.Job && looksBad(s) })
}

func looksBad(s *cases.Step) bool {
	seen := s.Says.GetSeen()
	return seen.GetOutcome() == fail || seen.GetOutcome() != pass && seen.GetMode() != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED
}

// onWord reports whether the step was done by somebody the register does not
// know: it stands on the word of whoever wrote it down.
func onWord(s *cases.Step) bool { return s.By != s.RecordedBy && notation.CheckID(s.By) != nil }
