package cases

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Aim is what a test is for.
type Aim int

// The aims.
const (
	// ToFind narrows down which component is bad.
	ToFind Aim = iota
	// ToProve shows that the one it is narrowed to is bad, by itself.
	ToProve
	// ToCheck tries what was mended or fitted.
	ToCheck
)

func (a Aim) String() string { return [...]string{"to find", "to prove", "to check"}[a] }

// Advice is a test to do next.
type Advice struct {
	Component *Component
	Manner    suspect.Manner
	Aim       Aim
	// Do is what to do, in a technician's words; Expect says what comes of it if the
	// component is well, and if it is bad.
	Do            string
	IfWell, IfBad string
	// Fails is how likely it is to show something bad, as things stand.
	Fails float64
	// Bits it is expected to tell, and the minutes it costs, risk included.
	Bits, Minutes float64
	// Settles is what a bad result would do to the component's probability, and a
	// good one.
	NowBad, AfterBad, AfterWell float64
	// Tools to have at hand. Caution before it is done.
	Tools   []string
	Caution string
}

// Next is what to do next, and what is withheld until it is safe.
type Next struct {
	Advice []Advice
	// Withheld names components that nothing is advised on, with why.
	Withheld []Withheld
	// NotNamed is the probability of something that nobody has named; where it is the
	// likeliest, no test of what is named settles the case.
	NotNamed float64
}

// Withheld is a component on which no test is advised.
type Withheld struct {
	Component *Component
	Why       string
}

// trial is a possible test of one component.
type trial struct {
	comp   *Component
	manner suspect.Manner
	cost   suspect.Cost
	// test is what it would be in the record, had it passed.
	test *suspect.Coverage
}

// Setup implements suspect.Candidate: the instrument in hand and where one is.
func (t *trial) Setup() string { return t.manner.String() + " " + t.comp.Key }

// moving is what going on in the same manner or at the same component saves, in
// minutes. Assumed.
const moving = 2

// Cost implements suspect.Candidate.
func (t *trial) Cost(from string) float64 {
	cost := t.cost.Minutes + t.cost.Risk
	manner, comp, _ := strings.Cut(from, " ")
	if manner == t.manner.String() || comp == t.comp.Key {
		cost = max(cost-moving, 1)
	}
	return cost
}

// Outcomes implements suspect.Candidate.
func (t *trial) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	well := math.Exp(t.test.LogLik(h, 0))
	return []suspect.Chance{{Outcome: "as it should be", P: well}, {Outcome: "not as it should be", P: 1 - well}}
}

// nearlyFound is the probability from which the test that shows it is worth more
// than one that makes it likelier still. Assumed.
const nearlyFound = 0.8

// mended is the probability of no fault from which nothing is left to find.
const mended = 0.9

// worthwhile is the probability from which a component is worth a test.
const worthwhile = 0.01

// Next ranks the tests that the trade has for the components of the case, without
// a drawing of them: what to find out, once narrowed what to prove, once mended
// what to check. Nothing is advised on high voltage or airbags unless they were
// made safe: a caution is not enough.
func (j *Judged) Next() Next {
	g := j.Judgement()
	out := Next{NotNamed: g.Probability(suspect.NotNamed)}
	if j.Closed != nil {
		return out
	}
	out.Advice = append(out.Advice, j.toCheck()...)
	if g.NoFault() > mended {
		return out // what is recorded asks for no fault any more
	}
	trials, withheld := j.trials()
	out.Withheld = withheld
	var candidates []suspect.Candidate
	for _, t := range trials {
		candidates = append(candidates, t)
	}
	var found []Advice
	for _, r := range g.Next(candidates, j.setup()) {
		a := j.advice(r.Candidate.(*trial), ToFind)
		a.Bits, a.Minutes, a.Fails = r.Gain, r.Cost, r.Outcomes[1].P
		found = append(found, a)
	}
	var proving []Advice
	for _, c := range j.byProbability() {
		part := j.meantNow(c)
		if _, shown := g.Direct(part); len(shown) > 0 || g.Probability(part) < nearlyFound {
			continue
		}
		from := len(proving)
		for _, m := range []suspect.Manner{suspect.Drop, suspect.Bypass, suspect.Bench, suspect.Reseat} {
			if i := slices.IndexFunc(trials, func(t *trial) bool { return t.comp == c && t.manner == m }); i >= 0 {
				a := j.advice(trials[i], ToProve)
				a.Minutes = trials[i].Cost(j.setup())
				proving = append(proving, a)
			}
		}
		slices.SortStableFunc(proving[from:], func(x, y Advice) int { return cmp.Compare(x.Minutes, y.Minutes) })
	}
	out.Advice = append(out.Advice, proving...)
	out.Advice = append(out.Advice, found...)
	return out
}

// byProbability lists the components, the likeliest suspect first.
func (j *Judged) byProbability() []*Component {
	var out []*Component
	for _, s := range j.Judgement().Suspects() {
		if c := j.Components[s.Part.Key]; c != nil && j.meantNow(c) == s.Part {
			out = append(out, c)
		}
	}
	return out
}

// meantNow is the part that the next test is of: what is there, or, where another
// is in to try, what was taken out for it.
func (j *Judged) meantNow(c *Component) suspect.Part {
	f := c.fitting
	if f == nil || f.PutBack != nil || f.Part.GetState() != eventv1.PartState_PART_STATE_BORROWED {
		return j.Part(c)
	}
	return suspect.Part{Key: c.Key, Life: j.body(c, lifeBefore(c, f.Step))}
}

// setup is the state the last test left.
func (j *Judged) setup() string {
	for _, s := range slices.Backward(j.jobs) {
		if k, ok := judge(s); ok && len(k.covers) > 0 {
			return k.manner.String() + " " + j.Key(k.covers[0].GetComponent())
		}
	}
	return ""
}

// trials are the tests of each component worth one, but for those done already in
// its present life: the same again tells little.
func (j *Judged) trials() (out []*trial, withheld []Withheld) {
	done := map[string]bool{}
	for _, e := range j.problem.Evidence {
		cov, ok := e.(*suspect.Coverage)
		if !ok || cov.Weak || len(cov.Covers) != 1 {
			continue
		}
		manner := suspect.Look
		if k, is := judge(j.ByID(cov.ID)); is {
			manner = k.manner
		}
		done[fmt.Sprint(cov.Covers[0].Part, manner)] = true
	}
	a := &asker{Case: j.Case, table: j.Table, horizon: j.everything()}
	for _, c := range j.byProbability() {
		part := j.meantNow(c)
		if j.judgement.Probability(part) < worthwhile {
			continue
		}
		if _, there := a.partAt(c, len(j.jobs)); !there {
			continue
		}
		if why := j.unsafe(c); why != "" {
			withheld = append(withheld, Withheld{c, why})
			continue
		}
		for _, m := range j.Table.Kind(c.Name).Tests {
			if done[fmt.Sprint(part, m)] {
				continue
			}
			shares := j.Table.Tests[m]
			cover := suspect.Cover{Part: part, Mostly: m == suspect.Look}
			switch m {
			case suspect.Drop:
				cover.Modes = j.waysOf(part, suspect.Open, suspect.HighResistance)
			case suspect.Continuity:
				cover.Modes = j.waysOf(part, suspect.Open)
			}
			out = append(out, &trial{comp: c, manner: m, cost: j.Table.Costs[m], test: &suspect.Coverage{
				Covers: []suspect.Cover{cover}, Shares: shares,
			}})
		}
	}
	return out, withheld
}

// waysOf are those of the modes that the problem tells apart for the part; all of
// them when it tells none.
func (j *Judged) waysOf(p suspect.Part, modes ...suspect.Mode) []suspect.Mode {
	var out []suspect.Mode
	for _, f := range j.problem.Faults {
		if f.Part == p && slices.Contains(modes, f.Mode) {
			out = append(out, f.Mode)
		}
	}
	return out
}

// unsafe says why nothing is advised on a component.
func (j *Judged) unsafe(c *Component) string {
	words := strings.Fields(notation.Key(c.Name))
	has := func(all ...string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return slices.Contains(all, w) })
	}
	safe := func(h eventv1.Hazard) bool {
		return slices.ContainsFunc(j.MadeSafe, func(s *Step) bool { return s.Says.GetMadeSafe().GetHazard() == h })
	}
	airbag := has("airbag", "airbags", "srs", "tensioner", "pretensioner")
	high := has("inverter", "traction", "hv") || strings.Contains(notation.Key(c.Name), "high voltage")
	for _, d := range j.Drawings {
		for _, p := range d.Says.GetCircuitDrawn().GetPoints() {
			if strings.HasPrefix(notation.Key(p.GetPoint()), c.Key) {
				airbag = airbag || p.GetNet() == eventv1.NetKind_NET_KIND_AIRBAG
				high = high || p.GetNet() == eventv1.NetKind_NET_KIND_HIGH_VOLTAGE
			}
		}
	}
	switch {
	case airbag && !safe(eventv1.Hazard_HAZARD_AIRBAG):
		return "airbag or belt tensioner: nothing is advised here until it is recorded as made safe, by somebody qualified, as the maker says"
	case high && !safe(eventv1.Hazard_HAZARD_HIGH_VOLTAGE):
		return "high voltage: nothing is advised here until it is recorded as made safe, locked off and proven dead, by somebody qualified"
	}
	return ""
}
