package plain

import (
	"errors"
	"fmt"
	"math"
)

// Kind of an element.
type Kind int

// The kinds.
const (
	// Resistor of Value ohms. Infinite: nothing is there.
	Resistor Kind = iota
	// Voltage source: A is Value volts above B.
	Voltage
	// Current source: Value amperes flow through it from A to B.
	Current
	// Lamp is a filament of Value ohms at Rated volts. Its resistance goes as the
	// Power-th power of the voltage over it (common practice: 0.45 to 0.55) down to
	// the share Cold.
	Lamp
	// Diode conducts from A to B: at Value volts one ampere, and e times as much
	// every Slope volts (W. Shockley, Bell System Technical Journal 28, 1949; Slope is
	// the ideality factor times the thermal voltage).
	Diode
)

// Element lies between the nodes A and B.
type Element struct {
	Kind         Kind
	A, B         int
	Value        float64
	Rated, Power float64 // of a lamp
	Cold         float64
	Slope        float64 // of a diode, in volts
}

// Circuit is its elements; its nodes are numbered from 0, which is at 0 volts.
type Circuit struct {
	Nodes    int
	Elements []Element
}

// Solution of a circuit.
type Solution struct {
	// Volts of each node; not a number where it is isolated.
	Volts []float64
	// Amps through each element from A to B.
	Amps []float64
	// Isolated nodes: nothing joins them with node 0.
	Isolated []int
}

const (
	steps = 300
	// settled is the share of the largest voltage below which a step is none.
	settled = 1e-14
	// Beside gigohms the last digits never come to rest: from so many steps on a step that
	// moves no voltage by more than so much, of the largest, is rounding.
	restless = 50
	rounding = 1e-12
)

// check says what is wrong with an element.
func (c *Circuit) check(e *Element) error {
	positive := func(v float64) bool { return v > 0 && !math.IsInf(v, 1) }
	finite := !math.IsNaN(e.Value) && !math.IsInf(e.Value, 0)
	switch {
	case e.A < 0 || e.B < 0 || e.A >= c.Nodes || e.B >= c.Nodes:
		return fmt.Errorf("it lies between nodes %d and %d of %d", e.A, e.B, c.Nodes)
	case e.Kind == Resistor && !(e.Value > 0):
		return fmt.Errorf("a resistor needs more than 0 ohms, not %g", e.Value)
	case e.Kind == Lamp && !(positive(e.Value) && positive(e.Rated) && positive(e.Cold) && e.Power >= 0 && e.Power < 1):
		return errors.New("a lamp needs ohms, rated volts and a cold share above 0, and a power from 0 to 1")
	case e.Kind == Diode && !(positive(e.Value) && positive(e.Slope)):
		return errors.New("a diode needs volts at one ampere and a slope above 0")
	case e.Kind != Resistor && !finite:
		return fmt.Errorf("its value is %g", e.Value)
	}
	return nil
}

// joins reports whether the element carries a voltage from one node to the other.
func (e *Element) joins() bool {
	return e.Kind != Current && (e.Kind != Resistor || !math.IsInf(e.Value, 1))
}

// isolated marks the nodes that nothing joins with node 0.
func (c *Circuit) isolated() []bool {
	out := make([]bool, c.Nodes)
	for k := 1; k < c.Nodes; k++ {
		out[k] = true
	}
	for again := true; again; {
		again = false
		for k := range c.Elements {
			if e := &c.Elements[k]; e.joins() && out[e.A] != out[e.B] {
				out[e.A], out[e.B], again = false, false, true
			}
		}
	}
	return out
}

// at is the current through the element with v volts over it, and its slope.
func (e *Element) at(v float64) (amps, slope float64) {
	switch e.Kind {
	case Resistor:
		return v / e.Value, 1 / e.Value
	case Current:
		return e.Value, 0
	case Lamp:
		share := math.Pow(math.Abs(v)/e.Rated, e.Power)
		if share < e.Cold {
			return v / (e.Value * e.Cold), 1 / (e.Value * e.Cold)
		}
		g := 1 / (e.Value * share)
		return v * g, (1 - e.Power) * g
	case Diode:
		one := math.Exp(-e.Value / e.Slope) // its saturation current
		x := math.Exp(math.Min((v-e.Value)/e.Slope, 600))
		return x - one, x / e.Slope
	}
	return 0, 0
}

// nearer is the voltage at which a diode's tangent is taken next: an exponential
// must not be climbed in one leap.
func (e *Element) nearer(was, v float64) float64 {
	if e.Kind == Diode && v > was+e.Slope && v > e.Value-25*e.Slope {
		was = math.Max(was, e.Value-25*e.Slope)
		return math.Min(v, was+e.Slope*(1+math.Log1p(math.Max(v-was, 0)/e.Slope)))
	}
	return v
}

// met is an error where a source does not give what it should: where a node hangs on next to
// nothing, as on a diode the wrong way round, the equations may be no more than rounding.
func (c *Circuit) met(s *Solution, alone []bool) error {
	for k := range c.Elements {
		e := &c.Elements[k]
		if v := s.Volts[e.A] - s.Volts[e.B]; e.Kind == Voltage && !alone[e.A] && !(math.Abs(v-e.Value) <= 1e-6*math.Max(1, math.Abs(e.Value))) {
			return fmt.Errorf("element %d gives %g V and not %g: %w", k, v, e.Value, errSingular)
		}
	}
	return nil
}

// Solve the circuit.
func (c *Circuit) Solve() (*Solution, error) {
	for k := range c.Elements {
		if err := c.check(&c.Elements[k]); err != nil {
			return nil, fmt.Errorf("element %d: %w", k, err)
		}
	}
	s := &Solution{Volts: make([]float64, c.Nodes), Amps: make([]float64, len(c.Elements))}
	alone := c.isolated()
	row := make([]int, c.Nodes) // of each node its equation
	n := 0
	for k, is := range alone {
		row[k] = -1
		if is {
			s.Isolated = append(s.Isolated, k)
			s.Volts[k] = math.NaN()
		} else if k > 0 {
			row[k] = n
			n++
		}
	}
	source := make([]int, len(c.Elements))
	for k := range c.Elements {
		e := &c.Elements[k]
		switch {
		case e.Kind == Current && (alone[e.A] || alone[e.B]):
			return nil, fmt.Errorf("element %d drives a current to where nothing leads", k)
		case e.Kind == Voltage && !alone[e.A]:
			source[k] = n
			n++
		}
	}
	tangent := make([]float64, len(c.Elements))
	m := newMatrix(n)
	for n := range steps {
		m.clear()
		for k := range c.Elements {
			e := &c.Elements[k]
			if alone[e.A] || alone[e.B] {
				continue
			}
			v := s.Volts[e.A] - s.Volts[e.B]
			if e.Kind == Voltage {
				m.source(row[e.A], row[e.B], source[k], s.Amps[k], e.Value-v)
				continue
			}
			at := e.nearer(tangent[k], v)
			amps, slope := e.at(at)
			if e.Kind == Resistor {
				at = v
			}
			tangent[k] = at
			s.Amps[k] = amps + slope*(v-at)
			m.element(row[e.A], row[e.B], slope, s.Amps[k])
		}
		step, err := m.solve()
		if err != nil {
			return nil, err
		}
		largest, moved := 0.0, 0.0
		for k, r := range row {
			if r >= 0 {
				s.Volts[k] += step[r]
				largest, moved = math.Max(largest, math.Abs(s.Volts[k])), math.Max(moved, math.Abs(step[r]))
			}
		}
		for k := range c.Elements {
			e := &c.Elements[k]
			if alone[e.A] || alone[e.B] {
				continue
			}
			if e.Kind == Voltage {
				s.Amps[k] += step[source[k]]
				continue
			}
			if v := s.Volts[e.A] - s.Volts[e.B]; e.Kind == Diode && math.Abs(v-tangent[k]) > 1e-12 {
				moved = math.Inf(1)
			}
		}
		if moved <= settled*largest || n >= restless && moved <= rounding*largest {
			if err := c.met(s, alone); err != nil {
				return nil, err
			}
			return s, nil
		}
	}
	return nil, fmt.Errorf("the voltages did not settle in %d steps", steps)
}
