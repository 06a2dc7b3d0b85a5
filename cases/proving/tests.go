package proving

import (
	"fmt"
	"math"
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// trial is a test of some components together, or of one alone.
type trial struct {
	at     int
	what   string
	manner suspect.Manner
	key    string // of the component that it gets at
	covers []suspect.Cover
	blows  []suspect.Cover // what leaves one of them bad: shorts below a fuse, as far as it is drawn
	shares suspect.Shares
	cost   suspect.Cost
}

func (t *trial) name() string { return t.key }

func (t *trial) same() string { return t.what }

// Setup implements suspect.Candidate.
func (t *trial) Setup() string { return t.manner.String() + " " + t.key }

// Cost implements suspect.Candidate.
func (t *trial) Cost(from string) float64 {
	cost := t.cost.Minutes + t.cost.Risk
	if from == t.Setup() {
		return max(cost-circuit.Moving, 1)
	}
	return cost
}

func (t *trial) coverage(fails bool) *suspect.Coverage {
	c := &suspect.Coverage{ID: t.what, Setup: t.what, Covers: t.covers, Fails: fails, Shares: t.shares}
	if fails {
		c.Covers = append(slices.Clip(t.covers), t.blows...)
	}
	c.Shows = len(t.covers) == 1 && fails && (t.manner == suspect.Drop || t.manner == suspect.Bypass || t.manner == suspect.Bench)
	return c
}

// Outcomes implements suspect.Candidate.
func (t *trial) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	fails := math.Exp(t.coverage(true).LogLik(h))
	return []suspect.Chance{{Outcome: "as it should be", P: 1 - fails}, {Outcome: "not as it should be", P: fails}}
}

// do makes the test: it fails when something it covers is bad, but for a gross error.
func (t *trial) do(p *player, step, _ int) ([]suspect.Evidence, error) {
	d := throw(p.settings.Seed, p.number, "test "+t.what)
	present := d.yes(p.present)
	if len(t.blows) > 0 && (t.manner == suspect.Bypass || t.manner == suspect.Substitution) && present && !p.damaged(t.covers[0].Part) && !p.sound(t.covers[0].Part) {
		// What blew the fuse blows the next one, and that of a lead: nobody takes it for a pass.
		p.tells[t.at] = false
		p.rec.Steps = append(p.rec.Steps, t.what+": it blows again")
		return nil, nil
	}
	fails := present && slices.ContainsFunc(t.covers, func(c suspect.Cover) bool { return !p.sound(c.Part) })
	if d.yes(p.settings.Gross) {
		fails = !fails
		p.rec.Gross++
	}
	c := t.coverage(fails)
	c.ID = fmt.Sprint("step ", step)
	if !present {
		p.rec.Absent++
		c.Weak, c.Shares.FalsePass = true, max(c.Shares.FalsePass, p.table.WeakPass)
	}
	p.tells[t.at] = false
	p.rec.Steps = append(p.rec.Steps, fmt.Sprintf("%s: fails %v", t.what, c.Fails))
	return []suspect.Evidence{c}, nil
}

// tests are those that the player can make: whether each load works, of what is
// between it and both posts and of itself; without readings, whether a point has
// supply, and whether it has ground; and of each component alone, those that the
// table has for its kind.
func (p *player) tests() {
	alone := p.settings.Evidence == Tests
	add := func(what string, m suspect.Manner, at int, all []int) {
		if len(all) == 0 {
			return
		}
		t := &trial{at: len(p.options), what: what, manner: m, key: p.Elements[at].Key, shares: p.table.Tests[m], cost: p.table.Costs[m]}
		for _, k := range all {
			t.covers = append(t.covers, suspect.Cover{Part: suspect.Part{Key: p.Elements[k].Key}})
			if e := &p.Elements[k]; !alone && (e.Kind == circuit.Fuse || e.Kind == circuit.Breaker) {
				for _, below := range p.Below(k) {
					t.blows = append(t.blows, suspect.Cover{Part: suspect.Part{Key: p.Elements[below].Key}, Modes: circuit.Blowing, Mostly: true})
				}
			}
		}
		p.options = append(p.options, t)
	}
	for _, k := range p.loads {
		e := &p.Elements[k]
		all := append(append(p.between(plus, e.From), k), p.between(e.To, minus)...)
		add("whether "+e.Key+" works", suspect.Function, k, all)
	}
	for n := 2; alone && n < len(p.Points); n++ {
		at := slices.IndexFunc(p.Elements, func(e circuit.Element) bool { return (e.From == n || e.To == n) && e.Kind != circuit.Wiring })
		if at < 0 {
			continue
		}
		if p.between(plus, n) != nil && p.joined(plus, n, -1) {
			add("supply at "+p.Points[n], suspect.Function, at, p.between(plus, n))
		} else if p.joined(n, minus, -1) {
			add("ground at "+p.Points[n], suspect.Function, at, p.between(n, minus))
		}
	}
	for k := range p.Elements {
		for _, m := range p.table.Kind(p.Elements[k].Key).Tests {
			switch m {
			case suspect.Look, suspect.Reseat, suspect.Function:
			case suspect.Drop, suspect.Continuity: // with readings these are readings
				if alone {
					add(m.String()+" of "+p.Elements[k].Key, m, k, []int{k})
				}
			default:
				add(m.String()+" of "+p.Elements[k].Key, m, k, []int{k})
			}
		}
	}
}

// between are the elements without which nothing leads from one point to another
// but through a load.
func (p *player) between(a, b int) []int {
	if !p.joined(a, b, -1) {
		return nil
	}
	var out []int
	for k := range p.Elements {
		if !p.joined(a, b, k) {
			out = append(out, k)
		}
	}
	return out
}

// joined reports whether what conducts leads from one point to another, without one
// element; past the posts nothing leads on.
func (p *player) joined(a, b, without int) bool {
	reached := map[int]bool{a: true}
	for again := true; again; {
		again = false
		for k, e := range p.Elements {
			if k == without || e.Kind >= circuit.Load && e.Kind != circuit.Resistor || reached[e.From] == reached[e.To] {
				continue
			}
			near, far := e.From, e.To
			if reached[e.To] {
				near, far = e.To, e.From
			}
			if near != a && near <= plus {
				continue
			}
			reached[far], again = true, true
		}
	}
	return reached[b]
}
