package cases

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// trial is a possible test of one component.
type trial struct {
	comp   *Component
	part   suspect.Part
	manner suspect.Manner
	hazard hazard
	cost   suspect.Cost
	// well and bad are what recording the outcome would come to.
	well, bad recorded
	// ways that a record of it would tell from each other, where that matters for
	// what it finds; now one stands for them.
	ways []suspect.Fault
}

// Setup implements suspect.Candidate: the instrument in hand and where one is.
func (t *trial) Setup() string { return t.manner.String() + " " + t.comp.Key }

// Cost implements suspect.Candidate.
func (t *trial) Cost(from string) float64 {
	cost := t.cost.Minutes + t.cost.Risk
	manner, comp, _ := strings.Cut(from, " ")
	if manner == t.manner.String() || comp == t.comp.Key {
		cost = max(cost-circuit.Moving, 1)
	}
	return cost
}

// Outcomes implements suspect.Candidate. A way of being bad that only this test
// would tell from others stands for them all until then.
func (t *trial) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	fails := t.fails(h)
	return []suspect.Chance{{Outcome: "as it should be", P: 1 - fails}, {Outcome: "not as it should be", P: fails}}
}

func (t *trial) fails(h suspect.Hypothesis) float64 {
	of := *t.bad.test
	of.Twice = false // that it is found again says nothing of how often it is found
	if t.well.test != nil {
		of.Covers = t.well.test.Covers // what a good result tells of is what it can tell
	}
	if len(t.ways) == 0 && !slices.ContainsFunc(h, func(f suspect.Fault) bool { return f.Part == t.part && f.Mode != suspect.AnyWay }) {
		of.Covers = []suspect.Cover{{Part: t.part, Mostly: of.Covers[0].Mostly}}
	}
	at := slices.IndexFunc(h, func(f suspect.Fault) bool { return f.Part == t.part && f.Mode == suspect.AnyWay })
	if at < 0 || len(t.ways) == 0 {
		return math.Exp(of.LogLik(h))
	}
	sum, total := 0.0, 0.0
	told := slices.Clone(h)
	for _, w := range t.ways {
		told[at] = w
		sum += w.Prior * math.Exp(of.LogLik(told))
		total += w.Prior
	}
	return sum / total
}

// recorded is what an entry that is not there yet would come to.
type recorded struct {
	test   *suspect.Coverage // nil: it would tell nothing
	seen   []suspect.Evidence
	faults []suspect.Fault // of its component
}

// record asks what an outcome of a test of the component would come to, were it
// recorded now as the test asks for it.
func (j *Judged) record(c *Component, m suspect.Manner, fails bool) recorded {
	c2 := *j.Case
	a := *j.gathered
	a.Case, a.named = &c2, maps.Clone(j.gathered.named)
	a.named[c.Key] = slices.Clone(a.named[c.Key])
	step := &Step{Seq: j.Head() + 1, Job: len(j.jobs) + 1, ID: "not recorded yet", Says: outcomeOf(c, m, fails, a.comes)}
	c2.jobs = append(slices.Clip(c2.jobs), step)
	c2.sighted = append(slices.Clip(c2.sighted), step)
	a.horizon = c2.everything()
	var out recorded
	if t := a.coverage(step); t != nil && len(t.Covers) > 0 {
		out.test = t
	}
	for _, s := range a.sightings() {
		if id, _ := s.Source(); id == step.ID {
			out.seen = append(out.seen, s)
		}
	}
	for _, f := range a.faults([]*Component{c}) {
		if f.Part.Key == c.Key {
			out.faults = append(out.faults, f)
		}
	}
	return out
}

// outcomeOf is a test of the one component as an entry, done as it is advised.
func outcomeOf(c *Component, m suspect.Manner, fails, comes bool) *eventv1.Event {
	outcome := eventv1.Outcome_OUTCOME_PASS
	if fails {
		outcome = eventv1.Outcome_OUTCOME_FAIL
	}
	if m == suspect.Look {
		return &eventv1.Event{Kind: &eventv1.Event_Seen{Seen: &eventv1.Seen{Component: c.Name, Outcome: outcome}}}
	}
	t := &eventv1.Test{
		Manner: eventv1.TestManner(m), Outcome: outcome, Covers: []*eventv1.Covered{{Component: c.Name, Extent: eventv1.Extent_EXTENT_WHOLE}},
	}
	if comes {
		t.Concern = eventv1.Presence_PRESENCE_PRESENT
	}
	switch m {
	case suspect.Drop:
		t.Conditions = &eventv1.Conditions{Commanded: eventv1.Command_COMMAND_ON}
	case suspect.Bypass, suspect.Substitution, suspect.Reseat:
		t.ConcernChange = eventv1.ConcernChange_CONCERN_CHANGE_STAYED
		switch {
		case fails && m == suspect.Reseat:
			t.ConcernChange = eventv1.ConcernChange_CONCERN_CHANGE_WENT_AWAY
		case fails:
			t.ConcernChange = eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK
		}
	}
	return &eventv1.Event{Kind: &eventv1.Event_Test{Test: t}}
}

// after is the judgement once the outcome is recorded.
func (j *Judged) after(c *Component, r recorded) *suspect.Judgement {
	if r.test == nil && r.seen == nil {
		return j.judgement
	}
	var faults []suspect.Fault
	put := false
	for _, f := range j.problem.Faults {
		if f.Part.Key != c.Key {
			faults = append(faults, f)
			continue
		}
		if !put {
			faults, put = append(faults, r.faults...), true
		}
	}
	more := r.seen
	if r.test != nil {
		more = append(slices.Clip(more), r.test)
	}
	if !slices.Equal(faults, j.problem.Faults) {
		p := j.problem
		p.Faults, p.Evidence = faults, append(slices.Clip(p.Evidence), more...)
		return suspect.Judge(p)
	}
	out := j.judgement
	for _, e := range more {
		out = out.With(e)
	}
	return out
}

// trials are the tests of each component worth one, but for those done already in
// its present life: the same again tells little.
func (j *Judged) trials() (out []*trial, withheld []Withheld) {
	done := j.done()
	a := &asker{Case: j.Case, table: j.Table, horizon: j.everything()}
	for _, c := range j.byProbability() {
		part := j.meantNow(c)
		if j.judgement.Probability(part) < worthwhile {
			continue
		}
		if _, there := a.partAt(c, len(j.jobs)); !there {
			continue
		}
		h := j.hazard(c)
		if why := h.unsafe(j.Case); why != "" {
			withheld = append(withheld, Withheld{c, why})
			continue
		}
		for _, m := range j.manners(c, h) {
			if done[fmt.Sprint(part, m)] {
				continue
			}
			t := &trial{comp: c, part: part, manner: m, hazard: h, cost: j.Table.Costs[m], well: j.record(c, m, false), bad: j.record(c, m, true)}
			if t.bad.test == nil {
				continue
			}
			as := t.well
			if as.test == nil {
				as = t.bad
			}
			for _, f := range as.faults {
				// What a drop would not show of a contact, a fuse or a wire is rare: it is
				// done for all that may be wrong with them.
				if m != suspect.Drop && f.Part == part && (f.Mode == suspect.AnyWay || !slices.ContainsFunc(j.problem.Faults, func(x suspect.Fault) bool { return x.Part == f.Part && x.Mode == f.Mode })) {
					t.ways = append(t.ways, f)
				}
			}
			out = append(out, t)
		}
	}
	return out, withheld
}

// manners are those that the trade has for the component and that are advised on
// it; where it can hurt somebody, a look before all.
func (j *Judged) manners(c *Component, h hazard) []suspect.Manner {
	var out []suspect.Manner
	drawn := isDrawn(j.wired(), c)
	for _, m := range j.kind(c).Tests {
		if drawn && drawnManner(m) {
			continue // a reading says more
		}
		undone := m != suspect.Reseat || joinOf(c.Name) != spliced
		if h.allows(m) && undone {
			out = append(out, m)
		}
	}
	if (h.airbag || h.highVoltage) && !slices.Contains(out, suspect.Look) {
		out = append(out, suspect.Look)
	}
	return out
}

// done are the tests made of one part alone, in its present life, by part and
// manner.
func (j *Judged) done() map[string]bool {
	out := map[string]bool{}
	for _, e := range j.problem.Evidence {
		cov, ok := e.(*suspect.Coverage)
		if !ok || cov.Weak || len(cov.Covers) != 1 {
			continue
		}
		manner := suspect.Look
		if k, is := judge(j.ByID(cov.ID)); is {
			manner = k.manner
		}
		out[fmt.Sprint(cov.Covers[0].Part, manner)] = true
	}
	for _, s := range j.Seen { // looking good is no evidence, but it was looked at
		if c := j.Component(s.Says.GetSeen().GetComponent()); c != nil {
			if part, there := j.gathered.partAt(c, s.Job); there {
				out[fmt.Sprint(part, suspect.Look)] = true
			}
		}
	}
	return out
}

// kind of a component by its name; of one that is drawn also by what it is drawn
// as.
func (j *Judged) kind(c *Component) suspect.Kind {
	if modes, kind := drawnModes(j.wired(), c); modes != nil {
		return j.Table.Kind(c.Name + " " + notation.Word(kind))
	}
	return j.Table.Kind(c.Name)
}
