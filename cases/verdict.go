package cases

import (
	"maps"
	"reflect"
	"slices"
	"strings"

	"knowngood.example/cases/suspect"
)

// Judged is a case with what its evidence comes to. It is worked out when it is
// first asked for; two goroutines may not ask at once.
type Judged struct {
	*Case
	// Table the judgement rests on.
	Table *suspect.Table

	problem   suspect.Problem
	judgement *suspect.Judgement
	proven    []suspect.Proof
	again     []suspect.Again
	grades    map[*Fitting]Graded
	then      map[string]*Case
}

// Judge is the case as it stands, to be judged by the table; nil: the default.
func (c *Case) Judge(t *suspect.Table) *Judged {
	if t == nil {
		d := suspect.Default()
		t = &d
	}
	return &Judged{Case: c, Table: t, grades: map[*Fitting]Graded{}, then: map[string]*Case{}}
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
	j.problem = c.Problem(j.Table)
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
		j.problem = j.Problem(j.Table)
		j.judgement = suspect.Judge(j.problem)
		j.prove()
	}
	return j.judgement
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

// Again is what must be read again before anything counts as proven.
func (j *Judged) Again() []suspect.Again {
	j.Judgement()
	return j.again
}

// Graded is the fitting with its grade.
func (j *Judged) Graded(f *Fitting) Graded {
	g, ok := j.grades[f]
	if !ok {
		g = j.grade(j.Table, f, j.then)
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
	// Mode in which it is proven good, or shown to be bad.
	Mode suspect.Mode
	// Conditions under which the entries were made, one for each entry.
	Conditions []string
	// Since is the step that began its present life; nil from the beginning.
	Since *Step
	// Entries it rests on.
	Entries []*Step
	// Assumes is what a proof takes for granted.
	Assumes string
	// Probability that it is bad.
	Probability float64
}

// assumes is what every proof from tests takes for granted.
const assumes = "the tests covered what their writer says, and nothing was disturbed since"

// Verdicts of a component in its present life.
func (j *Judged) Verdicts(c *Component) []Verdict {
	part := j.Part(c)
	v := Verdict{Component: c, Since: c.Lives[c.Present()].From, Probability: j.Judgement().Probability(part)}
	var out []Verdict
	if _, shown := j.judgement.Direct(part); len(shown) > 0 && !j.odd(part) {
		bad := v
		bad.Standing = ProvenBad
		bad.Mode = j.likeliestMode(part)
		bad.rest(j.Case, shown)
		out = append(out, bad)
	}
	for _, p := range j.proven {
		if p.Part == part {
			good := v
			good.Standing, good.Mode, good.Assumes = ProvenGood, p.Mode, assumes
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

func (j *Judged) odd(p suspect.Part) bool {
	return slices.ContainsFunc(j.again, func(a suspect.Again) bool { return slices.Contains(a.Parts, p) })
}

func (j *Judged) likeliestMode(p suspect.Part) suspect.Mode {
	for _, s := range j.judgement.Suspects() {
		if s.Part == p {
			return s.Modes[0]
		}
	}
	return suspect.AnyWay
}

// rest names the entries the verdict rests on, and the conditions of each.
func (v *Verdict) rest(c *Case, ids []string) {
	for _, id := range ids {
		s := c.ByID(id)
		if s == nil || slices.Contains(v.Entries, s) {
			continue
		}
		v.Entries = append(v.Entries, s)
		words := ConditionWords(judgedConditions(s).conditions)
		if words == "" {
			words = "conditions not said"
		}
		v.Conditions = append(v.Conditions, words)
	}
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
			modes = append(modes, v.Mode.String())
		}
	}
	if best == ProvenGood {
		return "not " + strings.Join(modes, ", not ")
	}
	return best.String()
}
