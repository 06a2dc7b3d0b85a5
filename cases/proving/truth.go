package proving

import (
	"errors"
	"math"
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

// Solver solves a circuit: the voltage of each node.
type Solver func(*plain.Circuit) ([]float64, error)

// Plain solves with the second solver.
func Plain(c *plain.Circuit) ([]float64, error) {
	s, err := c.Solve()
	if err != nil {
		return nil, err
	}
	return s.Volts, nil
}

// stray is a path that nobody drew.
type stray struct {
	a, b int
	ohms float64
}

// truth is the vehicle: every parameter of it has one value. It knows nothing of
// how the judgement reasons and takes the elements one by one.
type truth struct {
	*drawing
	solve  Solver
	posts  float64
	ohms   []float64 // of each element, well; of a lamp at its rating
	power  []float64 // of a lamp: its resistance goes as this power of the voltage
	stalls []float64 // of a motor: the share of the nominal voltage under which it stands still
	still  []float64 // its resistance then, as a share
	holds  []float64 // of a fuse: how many times its rating it holds
	knee   []float64 // of a diode, at one ampere
	slope  []float64
	pulls  []float64 // of a coil: the shares of the nominal voltage at which it pulls in
	drops  []float64 // and lets go
	leaks  [][3]float64
	stray  *stray
}

// state in which something is read.
type state struct {
	damages []damage
	asked   bool // what switches is asked to close
	posts   float64
	out     bool   // the fuses and breakers are
	probe   *probe // an ohmmeter between two points
	off     []int  // the elements that are unplugged
	blown   []int  // fuses that blew before that
	lamp    *lamp  // a test lamp between two points
	jumper  *lamp  // a wire between two points
}

type probe struct{ red, black int }

type lamp struct {
	a, b int
	ohms float64
}

// build draws the parameters of the vehicle.
func build(d dice, w *drawing, wider float64, solve Solver) *truth {
	n := len(w.Elements)
	t := &truth{drawing: w, solve: solve}
	for _, s := range []*[]float64{&t.ohms, &t.power, &t.stalls, &t.still, &t.holds, &t.knee, &t.slope, &t.pulls, &t.drops} {
		*s = make([]float64, n)
	}
	t.posts = d.in(12.0, 12.75) * w.System / 12
	for k := range w.Elements {
		e, b := &w.Elements[k], &w.built[k]
		s := e.Ohms
		own := 0.0
		switch e.Kind {
		case circuit.Wiring:
			own = b.length * circuit.OhmsPerMetre(b.area, d.in(-10, 90)) * d.in(0.92, 1)
		case circuit.Contact, circuit.Ground, circuit.Splice, circuit.Switch, circuit.Fuse, circuit.Breaker:
			own = d.decades(s.Lo, s.Hi)
		case circuit.Output:
			own = b.ohms
		case circuit.Lamp:
			own = b.ohms * d.in(0.93, 1.08)
		default:
			own = b.ohms * d.in(0.9, 1.12)
		}
		if e.Kind != circuit.Diode {
			own = math.Min(math.Max(own, s.Lo*1.0001), s.Hi*0.9999)
			if mid := math.Sqrt(s.Lo * s.Hi); wider != 1 {
				own = mid * math.Pow(own/mid, wider)
			}
		}
		t.ohms[k] = own
		t.power[k] = d.in(0.42, 0.5)
		t.stalls[k], t.still[k] = d.in(0.25, 0.38), d.in(0.2, 0.24)
		t.holds[k] = d.in(1.1, 1.55)
		t.knee[k], t.slope[k] = d.in(0.74, 0.84), d.in(0.033, 0.045)
		t.pulls[k], t.drops[k] = d.in(0.5, 0.66), d.in(0.15, 0.35)
	}
	for range w.Points {
		t.leaks = append(t.leaks, [3]float64{d.decades(circuit.Leak.Lo, circuit.Leak.Hi), d.decades(circuit.Leak.Lo, circuit.Leak.Hi), d.Float64()})
	}
	return t
}

// errUnsettled: the vehicle has no steady state, as when a relay chatters.
var errUnsettled = errors.New("no steady state")

// electric is the vehicle in one state with one instrument on it, as it comes to
// rest.
type electric struct {
	volts []float64 // of the drawn points
	over  []float64 // over each element's own resistance
	amps  []float64 // through it
	blown []bool
}

const (
	settleRounds = 40
	least        = 1e-5 // ohms; nothing is nearer to anything
)

// rest finds the steady state with a resistance between two points, the
// instrument's; none where it is 0.
func (t *truth) rest(s *state, red, black int, lead float64) (*electric, error) {
	n := len(t.Elements)
	closed, standing, out := make([]bool, n), make([]bool, n), &electric{blown: make([]bool, n)}
	for k := range t.Elements {
		e := &t.Elements[k]
		closed[k] = e.Follows < 0 && (!t.control[k] || s.asked)
	}
	for _, k := range s.blown {
		out.blown[k] = true
	}
	for range settleRounds {
		c, own := t.wire(s, closed, standing, out.blown, red, black, lead)
		volts, err := t.solve(c)
		if err != nil {
			return nil, err
		}
		out.volts = volts[:len(t.Points)]
		out.over, out.amps = make([]float64, n), make([]float64, n)
		changed, moved := false, false
		for k, at := range own {
			if at < 0 {
				continue
			}
			x := &c.Elements[at]
			out.over[k] = volts[x.A] - volts[x.B]
			switch x.Kind {
			case plain.Resistor:
				out.amps[k] = out.over[k] / x.Value
			case plain.Lamp:
				out.amps[k] = out.over[k] / (x.Value * math.Max(math.Pow(math.Abs(out.over[k])/x.Rated, x.Power), x.Cold))
			}
			over := math.Abs(out.over[k]) / t.System
			if t.Elements[k].Kind == circuit.Motor && over < t.stalls[k] && !standing[k] {
				standing[k], changed = true, true
			}
			if t.Elements[k].Kind != circuit.Coil {
				continue
			}
			for f := range t.Elements {
				if t.Elements[f].Follows == k && (over >= t.pulls[k] && !closed[f] || over < t.drops[k] && closed[f]) {
					closed[f], moved = !closed[f], true
				}
			}
		}
		if !changed && !moved {
			moved = t.blow(out)
		}
		if moved { // a motor that had nothing until now runs up
			clear(standing)
			changed = true
		}
		if !changed {
			return out, nil
		}
	}
	return nil, errUnsettled
}

// blow blows the fuse that is overloaded the most, if one is.
func (t *truth) blow(out *electric) bool {
	worst, at := 1.0, -1
	for k := range t.Elements {
		e := &t.Elements[k]
		if (e.Kind == circuit.Fuse || e.Kind == circuit.Breaker) && !out.blown[k] {
			if over := math.Abs(out.amps[k]) / (t.built[k].rating * t.holds[k]); over > worst {
				worst, at = over, k
			}
		}
	}
	if at >= 0 {
		out.blown[at] = true
	}
	return at >= 0
}

// wire makes the circuit for the solver, and says where in it each element's own
// resistance is; -1: nowhere.
func (t *truth) wire(s *state, closed, standing, blown []bool, red, black int, lead float64) (*plain.Circuit, []int) {
	c := &plain.Circuit{Nodes: len(t.Points)}
	put := func(e plain.Element) int {
		c.Elements = append(c.Elements, e)
		return len(c.Elements) - 1
	}
	resistor := func(a, b int, ohms float64) int {
		if a == b || math.IsInf(ohms, 1) {
			return -1
		}
		return put(plain.Element{A: a, B: b, Value: math.Max(ohms, least)})
	}
	node := func() int {
		c.Nodes++
		return c.Nodes - 1
	}
	put(plain.Element{Kind: plain.Voltage, A: plus, B: minus, Value: s.posts})
	own := make([]int, len(t.Elements))
	joins := make([][]int, len(s.damages)) // where a short joins two parts
	for k := range t.Elements {
		own[k] = -1
		e := &t.Elements[k]
		if blown[k] || e.From == e.To || s.out && (e.Kind == circuit.Fuse || e.Kind == circuit.Breaker) {
			continue
		}
		var x damage
		at, bad := 0, false
		for i, d := range s.damages {
			if d.element == k {
				x, at, bad = d, i, true
			}
		}
		shut := closed[k] || bad && x.mode == suspect.Shorted && (e.Kind == circuit.Switch || e.Kind == circuit.Output)
		if !shut {
			continue
		}
		a, b := e.From, e.To
		ohms := t.ohms[k]
		if slices.Contains(s.off, k) {
			if bad && x.mode == suspect.ShortToGround { // on the half that is chafed, if one is
				switch {
				case x.along < 1./3:
					resistor(a, minus, x.ohms)
				case x.along > 2./3:
					resistor(b, minus, x.ohms)
				}
			}
			continue
		}
		for i, d := range s.damages {
			if n, ok := d.mode.Neighbour(); ok && n == k {
				mid := node()
				resistor(a, mid, ohms*d.far)
				a, ohms = mid, ohms*(1-d.far)
				joins[i] = append(joins[i], mid)
			}
		}
		if !bad {
			own[k] = t.whole(put, resistor, k, a, b, ohms, standing[k])
			continue
		}
		switch x.mode.Kind() {
		case suspect.Open, suspect.NotCommanded, suspect.OutputDead, suspect.HighResistance:
			if math.IsInf(x.ohms, 1) {
				continue
			}
			mid := node()
			resistor(a, mid, x.ohms)
			own[k] = t.whole(put, resistor, k, mid, b, ohms, standing[k])
		case suspect.ShortToNeighbour:
			mid := node()
			own[k] = resistor(a, mid, ohms*x.along)
			resistor(mid, b, ohms*(1-x.along))
			joins[at] = append(joins[at], mid)
		case suspect.ShortToGround, suspect.ShortToPower:
			mid, to := node(), minus
			if x.mode != suspect.ShortToGround {
				to = plus
			}
			own[k] = resistor(a, mid, ohms*x.along)
			resistor(mid, b, ohms*(1-x.along))
			resistor(mid, to, x.ohms)
		case suspect.WrongPart, suspect.Shorted:
			switch {
			case e.Kind == circuit.Diode && x.mode == suspect.WrongPart: // the other way round
				own[k] = t.whole(put, resistor, k, b, a, ohms, standing[k])
			case e.Kind == circuit.Switch || e.Kind == circuit.Output: // it stays closed
				own[k] = t.whole(put, resistor, k, a, b, ohms, standing[k])
			default:
				own[k] = resistor(a, b, x.ohms)
			}
		case suspect.DrawsTooMuch, suspect.Seized:
			own[k] = resistor(a, b, x.ohms)
		default: // it does not work, though current flows as it should
			own[k] = t.whole(put, resistor, k, a, b, ohms, standing[k])
		}
	}
	for i, j := range joins {
		if len(j) == 2 {
			resistor(j[0], j[1], s.damages[i].ohms)
		}
	}
	if t.stray != nil {
		resistor(t.stray.a, t.stray.b, t.stray.ohms)
	}
	if s.jumper != nil {
		resistor(s.jumper.a, s.jumper.b, s.jumper.ohms)
	}
	if lead > 0 {
		resistor(red, black, lead)
	}
	if s.lamp != nil {
		put(plain.Element{Kind: plain.Lamp, A: s.lamp.a, B: s.lamp.b, Value: s.lamp.ohms, Rated: circuit.LampVolts * t.System, Power: lampPower, Cold: coldLamp})
	}
	if s.probe != nil {
		tip := node()
		put(plain.Element{Kind: plain.Voltage, A: tip, B: s.probe.black, Value: ohmVolts})
		resistor(tip, s.probe.red, ohmOhms)
	}
	t.leak(c)
	return c, own
}

// coldLamp is the share of its resistance that a cold filament has; the resistance of the
// test lamp's goes as lampPower of the voltage.
const (
	coldLamp  = 0.1
	lampPower = 0.46
)

// whole puts the element as it is when nothing is wrong with it.
func (t *truth) whole(put func(plain.Element) int, resistor func(a, b int, ohms float64) int, k, a, b int, ohms float64, standing bool) int {
	switch kind := t.Elements[k].Kind; {
	case kind == circuit.Lamp:
		return put(plain.Element{Kind: plain.Lamp, A: a, B: b, Value: t.ohms[k], Rated: circuit.LampVolts * t.System, Power: t.power[k], Cold: coldLamp})
	case kind == circuit.Diode:
		return put(plain.Element{Kind: plain.Diode, A: a, B: b, Value: t.knee[k], Slope: t.slope[k]})
	case kind == circuit.Motor && standing:
		return resistor(a, b, t.ohms[k]*t.still[k])
	}
	return resistor(a, b, ohms)
}
