package cases

import (
	"cmp"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Judged is a case with what its evidence comes to. It is worked out when it is
// first asked for; two goroutines may not ask at once.
type Judged struct {
	*Case
	// Table the judgement rests on.
	Table *suspect.Table

	gathered  *asker
	problem   suspect.Problem
	reads     []*Read
	circuits  []*Drawn
	judgement *suspect.Judgement
	proven    []suspect.Proof
	again     []suspect.Again
	grades    map[*Fitting]Graded
	then      grading
	dangers   map[*Component]hazard
	next      *Next
	tellings  []Telling
	few       bool // of many components, those last spoken of
}

// Judge is the case as it stands, to be judged by the table; nil: the default.
func (c *Case) Judge(t *suspect.Table) *Judged {
	if t == nil {
		d := suspect.Default()
		t = &d
	}
	return &Judged{Case: c, Table: t, grades: map[*Fitting]Graded{}, then: grading{spelt: map[string]string{}, setups: map[*eventv1.Event]string{}}}
}

// JudgeLately is JudgeAfter where of many components only those last spoken of
// count, for who asks again after each of thousands of entries.
func (c *Case) JudgeLately(prev *Judged) *Judged {
	if len(c.Components) <= manyComponents {
		return c.JudgeAfter(prev)
	}
	j := c.Judge(prev.Table)
	j.few = true
	return j
}

// lately are as many components as were last spoken of.
func (c *Case) lately() []*Component {
	all := slices.Collect(maps.Values(c.Components))
	last := func(c *Component) int { return c.Steps[len(c.Steps)-1].Job }
	slices.SortFunc(all, func(a, b *Component) int {
		return cmp.Or(last(b)-last(a), strings.Compare(a.Key, b.Key))
	})
	return all[:min(len(all), manyComponents)]
}

// JudgeAfter is Judge for the case of prev when it has grown: where no more than
// one piece of evidence was added, the judgement does not start over.
func (c *Case) JudgeAfter(prev *Judged) *Judged {
	j := c.Judge(prev.Table)
	// A grade is of its moment. Where something before that moment changed, the case
	// was folded anew and its fittings are others.
	maps.Copy(j.grades, prev.grades)
	if prev.judgement == nil {
		return j
	}
	j.gathered, j.problem, j.reads = c.ask(j.Table, c.everything())
	switch e, n := added(prev.problem, j.problem); n {
	case 0:
		j.judgement = prev.judgement
	case 1:
		j.judgement = prev.judgement.With(e)
	default:
		j.judgement = suspect.Judge(j.problem)
	}
	j.prove()
	return j
}

// added compares two problems: the evidence that the second has more, when that is
// all, or n over 1.
func added(before, after suspect.Problem) (e suspect.Evidence, n int) {
	const over = 2
	if !slices.Equal(before.Faults, after.Faults) || len(after.Evidence)-len(before.Evidence) > 1 {
		return nil, over
	}
	k := 0
	for _, x := range after.Evidence {
		if k < len(before.Evidence) && sameEvidence(before.Evidence[k], x) {
			k++
			continue
		}
		e = x
		n++
	}
	if k < len(before.Evidence) {
		return nil, over
	}
	return e, n
}

func sameEvidence(a, b suspect.Evidence) bool {
	if x, ok := a.(*suspect.Sighting); ok {
		y, ok := b.(*suspect.Sighting)
		return ok && x.ID == y.ID && x.Setup == y.Setup && x.Gone == y.Gone && x.Shares == y.Shares
	}
	return reflect.DeepEqual(a, b)
}

// Judgement of the case as it stands.
func (j *Judged) Judgement() *suspect.Judgement {
	if j.judgement == nil {
		h := j.everything()
		if j.few {
			h.only = j.lately()
		}
		j.gathered, j.problem, j.reads = j.ask(j.Table, h)
		if j.few {
			j.problem.Evidence = slices.DeleteFunc(j.problem.Evidence, j.pointsElsewhere)
		}
		j.judgement = suspect.Judge(j.problem)
		j.prove()
	}
	return j.judgement
}

// pointsElsewhere reports whether a test that failed covers something that is not
// asked about, and may have failed for that.
func (j *Judged) pointsElsewhere(e suspect.Evidence) bool {
	cov, ok := e.(*suspect.Coverage)
	return ok && cov.Fails && slices.ContainsFunc(cov.Covers, func(c suspect.Cover) bool {
		return !slices.ContainsFunc(j.problem.Faults, func(f suspect.Fault) bool { return f.Part == c.Part })
	})
}

func (j *Judged) prove() {
	j.proven, j.again = j.judgement.Proofs()
	// Of what is no longer there a proof is history.
	j.proven = slices.DeleteFunc(j.proven, func(p suspect.Proof) bool { return j.Part(j.Components[p.Part.Key]) != p.Part })
}

// Proven is what is proven not to be bad of what is there now, mode by mode.
func (j *Judged) Proven() []suspect.Proof {
	j.Judgement()
	return j.proven
}

// Reads are the readings on circuits that are drawn.
func (j *Judged) Reads() []*Read {
	j.Judgement()
	return j.reads
}

// Again is what must be read again before anything counts as proven.
func (j *Judged) Again() []suspect.Again {
	j.Judgement()
	return j.again
}

// Graded is the fitting with its grade.
func (j *Judged) Graded(f *Fitting) Graded {
	g, ok := j.grades[f]
	if !ok {
		g = j.grade(j.Table, f, &j.then)
		j.grades[f] = g
	}
	return g
}

// Standing is what a verdict comes to.
type Standing int

// The standings.
const (
	// Untested: nothing in its present life speaks of it.
	Untested Standing = iota
	// SuspectStanding: it may be bad; evidence speaks of it and proves neither.
	SuspectStanding
	// ContradictedStanding: what speaks of it cannot all be true.
	ContradictedStanding
	// ProvenGood: not bad in the mode, under the conditions of the entries.
	ProvenGood
	// ProvenBad: shown to be bad by a test that shows it by itself.
	ProvenBad
)

func (s Standing) String() string {
	return [...]string{"untested", "suspect", "contradicted", "proven good", "proven bad"}[s]
}

// Verdict is what stands of one component in one respect. There is no 'good'
// without a mode and the conditions it was tested under.
type Verdict struct {
	Component *Component
	Standing  Standing
	// Mode in which it is proven good, or shown to be bad; in words, with the neighbour.
	Mode suspect.Mode
	Way  string
	// Conditions under which the entries were made, one for each entry.
	Conditions []string
	// Since is the step that began the life it speaks of; nil from the beginning.
	// Until is the one that ended it; nil while it is the present one.
	Since, Until *Step
	// Entries it rests on.
	Entries []*Step
	// Assumes is what a proof takes for granted.
	Assumes string
	// Probability that it is bad.
	Probability float64
}

// Assumed is what every proof takes for granted.
func (j *Judged) Assumed() string {
	if len(j.wired()) > 0 {
		return "what is drawn is so, " + assumes
	}
	return assumes
}

const assumes = "the tests covered what their writer says, and nothing was disturbed since"

// String says the verdict with its mode, its entries and their conditions.
func (v Verdict) String() string {
	text := v.Standing.String()
	switch {
	case v.Standing == ProvenGood && v.Mode == suspect.AnyWay:
		text = "proven not bad in any way these tests would show"
	case v.Standing == ProvenGood:
		text = "proven not " + v.Way
	case v.Standing == ProvenBad && v.Mode != suspect.AnyWay:
		text += ": " + v.Way
	}
	if by := v.Grounds(); by != "" {
		text += " (" + by + ")"
	}
	if v.Since != nil {
		text += fmt.Sprintf(", since #%d", v.Since.Seq)
	}
	if v.Until != nil {
		text += fmt.Sprintf(", until #%d changed it", v.Until.Seq)
	}
	return text
}

// Percent is a probability in words: no more digits than the table knows, and
// never certainty.
func Percent(p float64) string {
	switch {
	case p > 0.99:
		return "over 99 %"
	case p < 0.01:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// Verdicts of a component in its present life.
func (j *Judged) Verdicts(c *Component) []Verdict {
	part := j.Part(c)
	v := Verdict{Component: c, Since: c.Lives[c.Present()].From, Probability: j.Judgement().Probability(part)}
	var out []Verdict
	if bad, shown := j.shown(part, v); shown {
		out = append(out, bad)
	}
	for _, p := range j.proven {
		if p.Part == part {
			good := v
			good.Standing, good.Mode, good.Way, good.Assumes = ProvenGood, p.Mode, j.modeWords(c, p.Mode), j.Assumed()
			good.rest(j.Case, p.Entries)
			out = append(out, good)
		}
	}
	for _, a := range j.again {
		if slices.Contains(a.Parts, part) {
			odd := v
			odd.Standing = ContradictedStanding
			odd.rest(j.Case, []string{a.Entry})
			out = append(out, odd)
		}
	}
	if len(out) == 0 {
		var ids []string
		for _, e := range j.problem.Evidence {
			if cov, ok := e.(*suspect.Coverage); ok && slices.ContainsFunc(cov.Covers, func(c suspect.Cover) bool { return c.Part == part }) {
				ids = append(ids, cov.ID)
			}
		}
		if len(ids) > 0 {
			v.Standing = SuspectStanding
			v.rest(j.Case, ids)
		}
		out = append(out, v)
	}
	return out
}

// shown is v as proven bad, where a test shows it by itself.
func (j *Judged) shown(part suspect.Part, v Verdict) (Verdict, bool) {
	_, by := j.judgement.Direct(part)
	if len(by) == 0 || j.odd(part) {
		return v, false
	}
	v.Standing, v.Mode = ProvenBad, j.likeliestMode(part)
	v.Way = j.modeWords(v.Component, v.Mode)
	v.rest(j.Case, by)
	return v, true
}

// WereBad lists what was proven bad of the component in the lives that are over.
func (j *Judged) WereBad(c *Component) []Verdict {
	j.Judgement()
	var out []Verdict
	for n, l := range c.Lives[:c.Present()] {
		part := suspect.Part{Key: c.Key, Life: n}
		if j.body(c, n) != n || part == j.Part(c) {
			continue
		}
		v := Verdict{Component: c, Since: l.From, Until: c.Lives[n+1].From, Probability: j.judgement.Probability(part)}
		if bad, shown := j.shown(part, v); shown {
			out = append(out, bad)
		}
	}
	return out
}

func (j *Judged) odd(p suspect.Part) bool {
	return slices.ContainsFunc(j.again, func(a suspect.Again) bool { return slices.Contains(a.Parts, p) })
}

// tellsMode is the share of a part's probability from which one mode is named: a
// way round a wire does not tell whether it is open or only high in resistance.
const tellsMode = 0.8

func (j *Judged) likeliestMode(p suspect.Part) suspect.Mode {
	for _, s := range j.judgement.Suspects() {
		if s.Part == p && j.judgement.ProbabilityOf(p, s.Modes[0]) >= tellsMode*s.Probability {
			return s.Modes[0]
		}
	}
	return suspect.AnyWay
}

func judgedConditions(s *Step) judged {
	j, _ := judge(s)
	return j
}

// Word is the one word of a component's verdicts that a board has room for. It is
// never 'good': what is proven is proven of a mode and under conditions.
func Word(all []Verdict) string {
	best := Untested
	modes := []string{}
	for _, v := range all {
		switch {
		case v.Standing == ProvenBad || v.Standing == ContradictedStanding && best != ProvenBad:
			best = v.Standing
		case best == Untested || best == SuspectStanding:
			best = v.Standing
		}
		if v.Standing == ProvenGood {
			modes = append(modes, v.Way)
		}
	}
	if best == ProvenGood {
		return "not " + strings.Join(modes, ", not ")
	}
	return best.String()
}

// OnlyDrawn reports whether nobody spoke of the component but in a drawing.
func (c *Component) OnlyDrawn() bool {
	return !slices.ContainsFunc(c.Steps, func(s *Step) bool { return s.Says.GetCircuitDrawn() == nil })
}
