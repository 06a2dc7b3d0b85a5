package cases

import (
	"cmp"
	"slices"

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
	// ToProveCause shows that the concern comes from what is shown to be bad.
	ToProveCause
	// ToClear shows what else is good.
	ToClear
)

func (a Aim) String() string {
	return [...]string{"to find", "to prove", "to check", "to prove the cause", "to show what else is good"}[a]
}

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
	// Red and Black are where the leads go, of a reading on what is drawn; Expect what
	// it would show, with nothing wrong first, then under the likeliest explanations.
	Red, Black string
	Expect     []Foretold
	// Records is the entry that a reading with a plug off makes, but for what it shows:
	// what is unplugged, and what lamp is on; nil for all else.
	Records *eventv1.Reading
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

// nearlyFound is the probability from which the test that shows it is worth more
// than one that makes it likelier still. Assumed.
const nearlyFound = 0.8

// mended is the probability of no fault from which nothing is left to find.
const mended = 0.9

// maxAdvised is how many tests are worded: nobody reads more.
const maxAdvised = 30

// worthwhile is the probability from which a component is worth a test.
const worthwhile = 0.01

// Next ranks the readings on what is drawn, and the tests that the trade has for
// the components of the case: what to find out, once narrowed what to prove, once mended
// what to check. Nothing is advised on high voltage or airbags unless they were
// made safe: a caution is not enough.
func (j *Judged) Next() Next {
	if j.next == nil {
		n := j.rank()
		j.next = &n
	}
	return *j.next
}

// stillOpen is how many bits there must be to find out for that to come before what shows
// the rest good. Assumed.
const stillOpen = 0.25

func (j *Judged) rank() Next {
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
	readings := j.readings()
	for _, f := range readings {
		candidates = append(candidates, f)
	}
	for _, t := range trials {
		candidates = append(candidates, t)
	}
	var found []Advice
	for _, r := range g.Next(candidates, j.setup()) {
		if len(found) == maxAdvised {
			break
		}
		var a Advice
		switch c := r.Candidate.(type) {
		case *foretold:
			a = j.adviseReading(c, ToFind)
		case *trial:
			a = j.advice(c, ToFind)
			a.Fails = r.Outcomes[1].P
		}
		a.Bits, a.Minutes = r.Gain, r.Cost
		found = append(found, a)
	}
	out.Advice = append(out.Advice, j.toProve(trials, readings)...)
	clear := j.toClear(readings)
	if len(found) > 0 && found[0].Bits >= stillOpen { // a second fault is sought
		found, clear = clear, found
	}
	out.Advice = append(append(out.Advice, clear...), found...)
	return out
}

// toProve lists the tests that show by themselves that what it is nearly certain
// of is bad; of what is shown to be bad, those that show that the concern comes
// from it.
func (j *Judged) toProve(trials []*trial, readings []*foretold) []Advice {
	var out []Advice
	for _, c := range j.byProbability() {
		part := j.meantNow(c)
		_, shown := j.Judgement().Direct(part)
		aim, manners := ToProve, []suspect.Manner{suspect.Drop, suspect.Bypass, suspect.Bench, suspect.Reseat}
		switch {
		case len(shown) == 0 && j.judgement.Probability(part) < nearlyFound:
			continue
		case len(shown) > 0 && (j.odd(part) || slices.ContainsFunc(shown, func(id string) bool { return tellsCause(j.ByID(id)) })):
			continue
		case len(shown) > 0:
			aim, manners = ToProveCause, []suspect.Manner{suspect.Bypass, suspect.Substitution}
		}
		from := len(out)
		for _, m := range manners {
			if i := slices.IndexFunc(readings, func(f *foretold) bool { return f.comp == c && f.manner == m }); i >= 0 {
				a := j.adviseReading(readings[i], aim)
				a.Minutes = readings[i].Cost(j.setup())
				out = append(out, a)
			}
			if i := slices.IndexFunc(trials, func(t *trial) bool { return t.comp == c && t.manner == m }); i >= 0 {
				a := j.advice(trials[i], aim)
				a.Minutes = trials[i].Cost(j.setup())
				out = append(out, a)
			}
		}
		slices.SortStableFunc(out[from:], func(x, y Advice) int { return cmp.Compare(x.Minutes, y.Minutes) })
	}
	return out
}

// tellsCause reports whether a test that shows something to be bad shows too that
// the concern comes from it: it went away with it.
func tellsCause(s *Step) bool {
	k, _ := judge(s)
	return k.manner == suspect.Bypass || k.manner == suspect.Substitution
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
