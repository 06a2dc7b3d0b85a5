package proving

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// scenario is a vehicle with what is wrong with it.
type scenario struct {
	*truth
	number  uint64
	damages []damage
	blown   []int // fuses that the damage blew
	plugs   [][]int
	asked   bool // the state in which the concern is there
	seen    bool // somebody saw the concern; else it was only told
	present float64
	posts   circuit.Span // as the judgement is told
	meter   meter
}

const (
	redraws = 60 // of the faults in one circuit
	anew    = 40 // circuits
)

// errNone: no fault that brings a concern was drawn.
var errNone = errors.New("no fault that brings a concern was drawn")

// stage draws the scenario of a case.
func stage(s *Settings, number uint64, table *suspect.Table, solve Solver) (*scenario, error) {
	var last error
	for attempt := range anew {
		throw := func(purpose string) dice { return throw(s.Seed, number, fmt.Sprint(purpose, " ", attempt)) }
		d := throw("drawing")
		shape := s.Kind
		if shape == "any" {
			shape = one(d, "chain", "chain", "chain", "branches", "branches", "branches", "shared", "shared", "loops", "loops")
		}
		size := s.Smallest + d.IntN(s.Largest-s.Smallest+1)
		if shape == "chain" { // longer ones are not built
			size = min(size, max(s.Smallest, 5+d.IntN(20)))
		}
		w := draw(d, shape, size)
		t := build(throw("vehicle"), w, s.Wider, solve)
		c := &scenario{truth: t, number: number, plugs: w.pulled(), asked: true, seen: true, present: 1}
		if last = c.spoiled(s, throw("faults"), table); last != nil {
			continue
		}
		c.equip(s, throw("meter"))
		return c, nil
	}
	return nil, fmt.Errorf("case %d: %w", number, last)
}

// spoiled draws what is wrong.
func (c *scenario) spoiled(s *Settings, d dice, table *suspect.Table) error {
	if s.Stray {
		c.stray = &stray{a: d.IntN(len(c.Points)), ohms: d.decades(0.05, 50)}
		for c.stray.b = c.stray.a; c.stray.b == c.stray.a; {
			c.stray.b = d.IntN(len(c.Points))
		}
	}
	many := 0
	switch s.Faults {
	case "one":
		many = 1
	case "two":
		many = 2
	case "any":
		many = one(d, 0, 1, 1, 1, 1, 1, 1, 2, 2, 2)
	}
	well := make(map[bool]*electric)
	for _, asked := range []bool{true, false} {
		drawn := c.stray
		c.stray = nil // what works is what was built
		e, err := c.rest(&state{asked: asked, posts: c.truth.posts}, 0, 0, 0)
		c.stray = drawn
		if err != nil {
			return err
		}
		well[asked] = e
	}
	if !c.works(well[true]) {
		return errors.New("the circuit does not work as it is built")
	}
	if many == 0 {
		c.seen = s.Stray && c.concern(well[true], nil, true)
		if s.Stray && !c.seen {
			return errNone
		}
		return nil
	}
	for range redraws {
		damages := c.damagesOf(d, table, many)
		for _, asked := range []bool{true, false} {
			c.asked = asked
			if c.brings(well[asked], damages) && (!s.Intermittent || !c.stays()) {
				c.damages = damages
				if s.Intermittent {
					c.present = d.in(0.3, 0.9)
				}
				return nil
			}
		}
	}
	return errNone
}

// damagesOf draws faults of different elements by their priors.
func (c *scenario) damagesOf(d dice, table *suspect.Table, many int) []damage {
	type way struct {
		element int
		mode    suspect.Mode
		odds    float64
	}
	var all []way
	total := 0.0
	for k := range c.Elements {
		prior := table.Kind(c.Elements[k].Key).Prior
		for _, m := range c.Modes(k) {
			all = append(all, way{k, m.Mode, prior * m.Share})
			total += prior * m.Share
		}
	}
	var out []damage
	for len(out) < many {
		x := d.Float64() * total
		at := slices.IndexFunc(all, func(w way) bool { x -= w.odds; return x < 0 })
		if at < 0 || slices.ContainsFunc(out, func(o damage) bool { return o.element == all[at].element }) {
			continue
		}
		out = append(out, c.spoil(d, all[at].element, all[at].mode))
	}
	return out
}

// brings reports whether the damage brings a concern in the state, each piece of it
// by itself too, and nothing burns.
func (c *scenario) brings(well *electric, damages []damage) bool {
	c.blown = nil
	if len(damages) > 1 {
		for k := range damages {
			if !c.concern(well, damages[k:k+1], c.asked) {
				return false
			}
		}
	}
	if !c.concern(well, damages, c.asked) {
		return false
	}
	e, err := c.rest(&state{damages: damages, asked: c.asked, posts: c.truth.posts}, 0, 0, 0)
	if err != nil {
		return false
	}
	for k, is := range e.blown {
		if is {
			c.blown = append(c.blown, k)
		}
	}
	return true
}

// stays reports whether the damage blew a fuse, which stays blown: then nothing comes
// and goes any more.
func (c *scenario) stays() bool {
	return slices.ContainsFunc(c.blown, func(k int) bool { return c.Elements[k].Kind == circuit.Fuse })
}

const (
	// burns is the current in amperes that no wiring stands: a supply that is shorted
	// before any fuse.
	burns = 400
	// dimmer is the share of the nominal voltage by which a load has less or more
	// than it should when somebody notices.
	dimmer = 1. / 30
)

// works reports whether all loads have what they need.
func (c *scenario) works(e *electric) bool {
	for _, k := range c.loads {
		if math.Abs(e.volts[c.Elements[k].From]-e.volts[c.Elements[k].To]) < 0.7*c.truth.posts {
			return false
		}
	}
	return !slices.Contains(e.blown, true)
}

// concern reports whether with the damage a load does not do what it does when all
// is well in the same state.
func (c *scenario) concern(well *electric, damages []damage, asked bool) bool {
	e, err := c.rest(&state{damages: damages, asked: asked, posts: c.truth.posts}, 0, 0, 0)
	if err != nil {
		return false
	}
	for _, amps := range e.amps {
		if math.Abs(amps) > burns {
			return false
		}
	}
	for _, k := range c.loads {
		was := math.Abs(well.volts[c.Elements[k].From] - well.volts[c.Elements[k].To])
		is := math.Abs(e.volts[c.Elements[k].From] - e.volts[c.Elements[k].To])
		if !asked {
			if was < 0.1*c.System && is > 0.3*c.System {
				return true
			}
			continue
		}
		bad := slices.ContainsFunc(damages, func(d damage) bool { return d.element == k })
		if bad || math.Abs(is-was) > dimmer*c.System || math.Abs(e.amps[k]-well.amps[k]) > 0.3*math.Abs(well.amps[k]) {
			return true
		}
	}
	return false
}

// parts are the drawn components, as the judgement names them.
func (c *scenario) parts() []suspect.Part {
	out := make([]suspect.Part, len(c.Elements))
	for k := range c.Elements {
		out[k] = suspect.Part{Key: c.Elements[k].Key}
	}
	return out
}

// damaged reports whether the component is truly bad. Of two that touch both are: no meter
// tells which of them is bent or chafed.
func (c *scenario) damaged(p suspect.Part) bool {
	return slices.ContainsFunc(c.damages, func(d damage) bool {
		n, touches := d.mode.Neighbour()
		return c.Elements[d.element].Key == p.Key || touches && c.Elements[n].Key == p.Key
	})
}

// there reports whether the component is truly bad in the way, a fuse that blew
// included.
func (c *scenario) there(p suspect.Part, m suspect.Mode) bool {
	for _, d := range c.damages {
		if c.Elements[d.element].Key == p.Key && (d.mode == m || m == suspect.AnyWay) {
			return true
		}
		if n, touches := d.mode.Neighbour(); touches && c.Elements[n].Key == p.Key && (m == suspect.ShortTo(d.element) || m == suspect.AnyWay) {
			return true
		}
	}
	return (m == suspect.Open || m == suspect.AnyWay) && slices.ContainsFunc(c.blown, func(k int) bool { return c.Elements[k].Key == p.Key })
}

// sound reports whether the component is bad in no way.
func (c *scenario) sound(p suspect.Part) bool {
	return !c.damaged(p) && !slices.ContainsFunc(c.blown, func(k int) bool { return c.Elements[k].Key == p.Key })
}
