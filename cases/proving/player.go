package proving

import (
	"fmt"
	"math"
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// option is something that the player can do next.
type option interface {
	suspect.Candidate
	// do it for the n-th time, from 0, as step so many.
	do(p *player, step, n int) ([]suspect.Evidence, error)
	// name of the component that it gets at; same is what it has in common with others
	// that show the same.
	name() string
	same() string
}

// player plays one case.
type player struct {
	*scenario
	settings *Settings
	strategy Strategy
	table    suspect.Table
	options  []option
	times    []int  // how often each was done
	tells    []bool // once more may tell: it was never done while the concern was there
	random   dice
	judge    judge
	rec      *Record
}

// judge is what a player asks; a test puts a worse one in its place.
type judge interface {
	Proofs() ([]suspect.Proof, []suspect.Again)
	Probability(suspect.Part) float64
	NoFault() float64
	Suspects() []suspect.Suspect
	NarrowedTo(suspect.Part) bool
	Next([]suspect.Candidate, string) []suspect.Ranked
	Clearing([]suspect.Candidate, string, int) []suspect.Ranked
	With(suspect.Evidence) judge
}

// engine is the judgement of package suspect.
type engine struct{ *suspect.Judgement }

func (e engine) With(x suspect.Evidence) judge { return engine{e.Judgement.With(x)} }

func judged(p suspect.Problem) judge { return engine{suspect.Judge(p)} }

// found is the probability from which something counts as found.
const found = 0.95

// Play plays one case: the same settings, strategy and number give the same record.
func Play(s Settings, strategy Strategy, number uint64, solve Solver) Record {
	return play(s, strategy, number, solve, judged)
}

func play(s Settings, strategy Strategy, number uint64, solve Solver, ask func(suspect.Problem) judge) Record {
	rec := Record{Case: number, Strategy: strategy, ProvenOnTo: -1}
	p := &player{settings: &s, strategy: strategy, table: suspect.Default(), rec: &rec, random: throw(s.Seed, number, "random")}
	if s.OneCost {
		for m := range p.table.Costs {
			p.table.Costs[m] = suspect.Cost{Minutes: 1} // the least there is: nothing is saved by going on from a test
		}
	}
	c, err := stage(&s, number, &p.table, solve)
	if err != nil {
		rec.Stop = "broken: " + err.Error()
		return rec
	}
	p.scenario = c
	p.describe()
	p.judge = ask(p.problem())
	if s.Evidence != Tests {
		p.readings()
	}
	if s.Evidence != Readings {
		p.tests()
	}
	p.times = make([]int, len(p.options))
	p.tells = make([]bool, len(p.options))
	if len(c.damages) == 1 && s.Evidence == Readings && !s.Stray {
		if rec.Groups, err = p.groups(); err != nil {
			rec.Stop = "broken: " + err.Error()
			return rec
		}
	}
	if err := p.run(); err != nil {
		rec.Stop = "broken: " + err.Error()
	}
	rec.First.rounded()
	rec.Each.rounded()
	return rec
}

// describe writes down what the case is.
func (p *player) describe() {
	r := p.rec
	r.Shape, r.Size, r.Asked = p.shape, len(p.Elements), p.asked
	for _, d := range p.damages {
		r.Faults = append(r.Faults, fmt.Sprintf("%s: %v", p.Elements[d.element].Key, d.mode))
	}
	for _, k := range p.blown {
		r.Blown = append(r.Blown, p.Elements[k].Key)
	}
	if p.stray != nil {
		r.Faults = append(r.Faults, fmt.Sprintf("stray path of %.3g ohm from %s to %s", p.stray.ohms, p.Points[p.stray.a], p.Points[p.stray.b]))
	}
}

// problem is what the judgement is asked, as a case asks it.
func (p *player) problem() suspect.Problem {
	q := suspect.Problem{Faults: []suspect.Fault{{Part: suspect.NotNamed, Prior: p.table.NotNamed}}}
	drawn := p.settings.Evidence != Tests
	if drawn {
		q.Faults = append(q.Faults, suspect.Fault{Part: suspect.NotAsDrawn, Prior: p.table.NotAsDrawn})
	}
	for _, k := range p.byKey() {
		e := &p.Elements[k]
		part, prior := suspect.Part{Key: e.Key}, p.table.Kind(e.Key).Prior
		ways := []circuit.Share{{Mode: suspect.AnyWay, Share: 1}}
		if drawn {
			ways = p.Modes(k)
		}
		for _, m := range ways {
			q.Faults = append(q.Faults, suspect.Fault{Part: part, Mode: m.Mode, Prior: math.Min(prior*m.Share, 0.5)})
			if p.sound(part) {
				p.rec.Sound++
			}
		}
	}
	if p.seen {
		shares := p.table.Steady
		if p.settings.Intermittent {
			shares = p.table.Intermittent
		}
		q.Evidence = append(q.Evidence, &suspect.Sighting{ID: "seen", Setup: "the concern", There: func(suspect.Part) bool { return true }, Shares: shares})
	}
	return q
}

// byKey are the elements in the order of their keys.
func (p *player) byKey() []int {
	out := make([]int, len(p.Elements))
	for k := range out {
		out[k] = k
	}
	slices.SortFunc(out, func(a, b int) int {
		if p.Elements[a].Key < p.Elements[b].Key {
			return -1
		}
		return 1
	})
	return out
}

// run plays until it stops, and on to OnTo tests where proofs are counted.
func (p *player) run() error {
	from, stopped := "", false
	for step := 0; ; step++ {
		proven := p.check(step)
		if !stopped {
			p.calibrate()
			if stopped = p.stops(); stopped {
				p.rec.Proven, p.rec.Tests = proven, step
				if p.strategy == Own && step < OnTo && p.settings.Evidence != Tests {
					p.clearings()
				}
			}
		}
		if step == OnTo && p.strategy == Own {
			p.rec.ProvenOnTo = proven
		}
		if stopped && (step >= OnTo || p.strategy != Own) || step == Cap {
			break
		}
		k := -1
		if stopped && p.strategy == Own {
			k = p.clear(from)
		}
		if k < 0 && !stopped {
			k = p.direct()
		}
		if k < 0 {
			k = p.choose(from)
		}
		if k < 0 && !stopped {
			stopped = true
			p.rec.Stop, p.rec.Proven, p.rec.Tests = "nothing tells", proven, step
			p.top()
		}
		if k < 0 && p.strategy == Own && step < OnTo {
			k = p.any() // to go on proving
		}
		if k < 0 {
			break
		}
		if !stopped {
			p.rec.Minutes += p.options[k].Cost(from)
		}
		from = p.options[k].Setup()
		all, err := p.options[k].do(p, step+1, p.times[k])
		if err != nil {
			return err
		}
		p.times[k]++
		for _, e := range all {
			p.judge = p.judge.With(e)
		}
	}
	if p.rec.Stop == "" {
		p.rec.Stop, p.rec.Tests = "cap", Cap
		p.top()
	}
	return nil
}

// check counts what is proven of what is sound, and writes down every proof of what
// is truly there.
func (p *player) check(step int) (proven int) {
	proofs, again := p.judge.Proofs()
	if len(again) > 0 {
		p.rec.Suspended++
	}
	for _, f := range proofs {
		switch {
		case p.there(f.Part, f.Mode):
			p.rec.Wrong = append(p.rec.Wrong, fmt.Sprintf("step %d: %s: %v", step, f.Part.Key, f.Mode))
		case p.sound(f.Part):
			proven++
		}
	}
	return proven
}

// calibrate counts what is said at this step.
func (p *player) calibrate() {
	for n, s := range p.judge.Suspects() {
		is := p.isBad(s.Part)
		if n == 0 {
			p.rec.First.count(s.Probability, is)
		}
		if s.Probability >= 1e-3 {
			p.rec.Each.count(s.Probability, is)
		}
	}
}

// stops reports whether something is found: one part, or that nothing is wrong.
func (p *player) stops() bool {
	if p.judge.NoFault() < found && p.judge.Suspects()[0].Probability < found || p.unproven() >= 0 {
		return false
	}
	p.rec.Stop = "found"
	p.top()
	return true
}

// unproven is, with a stray path, the element that is probable enough and that no test on it
// alone has found bad; -1: there is none.
func (p *player) unproven() int {
	if !p.settings.Stray || p.strategy != Own {
		return -1
	}
	likeliest := p.judge.Suspects()[0]
	if likeliest.Probability < found || p.judge.NarrowedTo(likeliest.Part) {
		return -1
	}
	return slices.IndexFunc(p.Elements, func(e circuit.Element) bool { return e.Key == likeliest.Part.Key })
}

// isBad reports whether the part is truly bad, or truly not as drawn. A fuse that blew is
// the answer only to tests, which know nothing of what blew it.
func (p *player) isBad(s suspect.Part) bool {
	if s == suspect.NotNamed || s == suspect.NotAsDrawn {
		return s == suspect.NotAsDrawn && p.stray != nil
	}
	return p.damaged(s) || p.settings.Evidence == Tests && !p.sound(s)
}

// top writes down what is likeliest, and whether it is so.
func (p *player) top() {
	likeliest := p.judge.Suspects()[0]
	p.rec.Top, p.rec.Probability = name(likeliest.Part), round(likeliest.Probability, 1e4)
	p.rec.Right = p.isBad(likeliest.Part)
	p.rec.Narrowed = p.judge.NarrowedTo(likeliest.Part)
	if none := p.judge.NoFault(); none > likeliest.Probability {
		p.rec.Top, p.rec.Probability = noFault, round(none, 1e4)
		p.rec.Right, p.rec.Narrowed = len(p.damages) == 0 && p.stray == nil, false
	}
}

// What may be likeliest besides components.
const (
	noFault    = "no fault"
	notNamed   = "not named"
	notAsDrawn = "not as drawn"
)

func name(p suspect.Part) string {
	switch p {
	case suspect.NotNamed:
		return notNamed
	case suspect.NotAsDrawn:
		return notAsDrawn
	}
	return p.Key
}
