package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// Circuit is what was drawn: points, and elements between them.
type Circuit struct {
	// Points names the nodes; 0 is the negative post of the battery, 1 the positive.
	Points   []string
	Elements []Element
	// System is the nominal voltage: 12, 24 or 48.
	System float64

	high    []float64         // of each element, the least high resistance that counts
	states  map[string]*model // without leads, by state
	taker   *taker
	scratch [2]*network                      // for bounds of what floats, and of ohms
	layouts map[string]map[layoutKey]*layout // by what lies between which nodes
	closed  *model                           // with every contact closed and no leads
}

// Position of a contact.
type Position int

// The positions. What is no contact is always closed.
const (
	Closed Position = iota
	Open
	Either // the conditions do not say
	Gone   // unplugged or taken out: nothing closes it
)

// Bridge is something put between two nodes for a while: a jumper, a test lamp, a
// load.
type Bridge struct {
	A, B int
	Ohms Span
	// Usual is what it mostly has, in ohms; 0: about the middle.
	Usual float64
}

// Setup is the state of the circuit when something was read.
type Setup struct {
	// Posts is the voltage over the battery's posts at that moment.
	Posts Span
	// Position of each element.
	Position []Position
	Bridges  []Bridge
	// Off: the battery is disconnected.
	Off bool
}

// Leak is what any stretch of a vehicle's wiring that floats leaks to supply and to
// ground: 30 megohm to 30 gigohm (assumed). It is where a ghost voltage comes from.
var Leak = Span{30e6, 30e9}

// MeterOhms is the resistance of a voltmeter's input (common practice: 10
// megohm).
const MeterOhms = 10e6

// Compile works out what the elements have to carry, and with it which high
// resistance counts where. Call it once the circuit is complete.
func (c *Circuit) Compile() {
	c.high, c.taker = make([]float64, len(c.Elements)), new(taker)
	c.states, c.scratch, c.closed, c.layouts = nil, [2]*network{}, nil, nil
	for k := range c.Elements {
		c.Elements[k].Ohms = c.Elements[k].Ohms.sane()
	}
	full := Setup{Posts: Exactly(c.System * 1.04), Position: make([]Position, len(c.Elements))}
	m := c.reduce(&full, nil)
	for s := range m.stretches {
		st := &m.stretches[s]
		amps := math.Abs(m.nominal(st)) / max(st.nominal, 1/most)
		for _, k := range st.elements {
			c.high[k] = min(max(counts/max(amps, 1e-9), 0.01), 1e5)
			e := &c.Elements[k]
			if over := wellOver(e.Kind) / max(amps, 1e-9); e.Ohms.Hi > over {
				e.Ohms.Hi = max(over, 2*e.Ohms.Lo)
			}
		}
	}
}

// wellOver is the most that drops, at the current of the circuit, over an element
// that is well, in volts: common practice says under 0.1 to 0.2 V over one contact
// and under 0.5 V over a whole side, which is of several. Of a wire it holds only
// where nobody said how long and thick it is, since whoever drew the circuit chose
// it for its current.
func wellOver(k Kind) float64 {
	switch k {
	case Contact, Splice, Ground, Switch, Fuse, Breaker:
		return 0.04
	case Wiring:
		return 0.08
	}
	return math.Inf(1)
}

// Only is the element, if there is one, through which all that flows from red to
// black in the state must flow: one stretch lies between them, or several one
// behind the other. Of several it is one of them.
func (c *Circuit) Only(setup Setup, red, black []int) (int, bool) {
	if len(red) != 1 || len(black) != 1 {
		return 0, false
	}
	for _, b := range setup.Bridges {
		if b.A == red[0] && b.B == black[0] || b.A == black[0] && b.B == red[0] {
			return 0, false
		}
	}
	m := c.reduce(&setup, []int{red[0], black[0]})
	at, to := m.node[red[0]], m.node[black[0]]
	only := -1
	for s := range m.stretches {
		st := &m.stretches[s]
		if (st.a == at || st.b == at) && m.leadsTo(s, at, to) {
			if only >= 0 {
				return 0, false // side by side
			}
			only = st.elements[0]
		}
	}
	return only, only >= 0
}

// Blowing are the ways of being bad that blow a fuse above.
var Blowing = []suspect.Mode{suspect.ShortToGround, suspect.Shorted, suspect.DrawsTooMuch, suspect.Seized}

// Below lists the elements that the positive post reaches only through the fuse k,
// with every contact closed: a short in one of them blows it.
func (c *Circuit) Below(k int) []int {
	m := c.reduce(&Setup{Posts: Exactly(c.System)}, nil)
	var out []int
	for s := range m.stretches {
		for _, fuse := range m.fuses[s] {
			if m.stretches[fuse].elements[0] == k {
				out = append(out, m.stretches[s].elements...)
			}
		}
	}
	return out
}
