package circuit

import (
	"math"

	"knowngood.example/cases/suspect"
)

// Kind is the sort of thing that lies between two points.
type Kind int

// The kinds.
const (
	Wiring Kind = iota
	Contact
	Splice
	Ground
	Switch // also a relay's contact
	Fuse
	Breaker
	Output
	Load
	Lamp // a filament
	Motor
	Coil
	Resistor
	Diode // conducts from From to To
)

// Element lies between two points.
type Element struct {
	// Key of the component that it is.
	Key  string
	Kind Kind
	// From and To are nodes, in the order of the path from plus to minus.
	From, To int
	// Ohms it has while it is well and closed; of a lamp while it is lit.
	Ohms Span
	// Rating of a fuse in amperes; 0: not known.
	Rating float64
	// Follows is the number of the coil that closes it, -1 when none is drawn.
	Follows int
	// Neighbours are the elements, wires or contacts as it is one, whose conductor its own
	// may touch.
	Neighbours []int
}

// Usual is the resistance in ohms of an element of the kind of which nothing else
// is known. Common practice: under load a contact or a short wire drops under 0.1
// to 0.2 V and a whole side under 0.5 V; a fuse has a few milliohms.
func Usual(k Kind, rating float64) Span {
	switch k {
	case Contact, Ground:
		return Span{0.0005, 0.03}
	case Splice:
		return Span{0.0002, 0.01}
	case Switch, Breaker:
		return Span{0.001, 0.05}
	case Fuse:
		if rating > 0 {
			return Span{0.02 / rating, 0.15 / rating}
		}
		return Span{0.001, 0.05}
	case Output:
		return Span{0.005, 0.3}
	case Coil:
		return Span{40, 160}
	case Resistor:
		return Span{1, 1e5}
	case Lamp:
		return Span{1, 120}
	case Diode:
		return Span{0.01, 100}
	case Wiring:
		return Wire(0, 0)
	}
	return Span{0.3, 1000} // a load of which nobody knows how much it draws
}

// within is how far the resistance of a load that is well may be from the one its
// power or current gives, when at least the share fed of the nominal voltage lies
// over it: a filament is a twelfth while cold (common practice: a tenth), and a
// motor that is starved takes what it takes standing still.
func (e *Element) within(fed float64) Span {
	switch e.Kind {
	case Lamp:
		return Span{e.Ohms.Lo * max(1./12, 0.85*math.Pow(fed, 0.6)), e.Ohms.Hi * 1.15}
	case Motor:
		return Span{e.Ohms.Lo * max(1./6, 0.85*math.Pow(fed, 1.5)), e.Ohms.Hi * 1.3}
	case Load:
		return Span{e.Ohms.Lo * max(1./3, 0.8*fed), e.Ohms.Hi * 1.3}
	case Coil, Resistor:
		return Span{e.Ohms.Lo * 0.85, e.Ohms.Hi * 1.2}
	}
	return e.Ohms
}

// merges reports whether neighbours of the kind are to every reading beyond them
// one stretch: what flows through one flows through the next, and next to nothing
// drops over them.
func (k Kind) merges() bool { return k <= Switch }

// modes are the ways in which an element of a kind can be bad, each with its share of the
// prior. The shares are assumed.
var modes = func() (out [Diode + 1][]Share) {
	out[Wiring] = []Share{{suspect.Open, 0.4}, {suspect.HighResistance, 0.35}, {suspect.ShortToGround, 0.2}, {suspect.ShortToPower, 0.05}}
	out[Contact] = []Share{{suspect.HighResistance, 0.57}, {suspect.Open, 0.38}, {suspect.ShortToGround, 0.05}} // a bent pin, a chafed plug
	out[Splice] = []Share{{suspect.HighResistance, 0.6}, {suspect.Open, 0.4}}
	out[Ground] = out[Splice]
	out[Fuse] = []Share{{suspect.Open, 0.85}, {suspect.HighResistance, 0.15}}
	out[Breaker] = out[Fuse]
	out[Switch] = []Share{{suspect.Open, 0.35}, {suspect.HighResistance, 0.35}, {suspect.NotCommanded, 0.15}, {suspect.Shorted, 0.15}}
	out[Output] = []Share{{suspect.NotCommanded, 0.45}, {suspect.OutputDead, 0.4}, {suspect.Shorted, 0.15}}
	out[Load] = []Share{{suspect.Open, 0.6}, {suspect.Shorted, 0.1}, {suspect.DrawsTooMuch, 0.1}, {suspect.Defective, 0.2}}
	out[Lamp] = out[Load]
	out[Motor] = []Share{{suspect.Open, 0.45}, {suspect.Seized, 0.2}, {suspect.DrawsTooMuch, 0.1}, {suspect.Shorted, 0.05}, {suspect.Defective, 0.2}}
	out[Coil] = []Share{{suspect.Open, 0.7}, {suspect.Shorted, 0.3}}
	out[Resistor] = []Share{{suspect.Open, 0.5}, {suspect.Shorted, 0.2}, {suspect.WrongPart, 0.3}}
	out[Diode] = []Share{{suspect.Open, 0.3}, {suspect.Shorted, 0.4}, {suspect.WrongPart, 0.3}}
	return out
}()

// Modes lists the ways in which an element of the kind can be bad, each with its share of
// the prior. It is not to be written to.
func (k Kind) Modes() []Share { return modes[k] }

// touched is the share of the prior that a wire or a contact has for touching one of its
// neighbours, of all of them together; where it has none it has as much less. Assumed.
const touched = 0.05

// Modes are the ways in which element k can be bad: those of its kind, and a short to each
// of its neighbours.
func (c *Circuit) Modes(k int) []Share {
	e := &c.Elements[k]
	out := e.Kind.Modes()
	for _, n := range e.Neighbours {
		out = append(out, Share{suspect.ShortTo(n), touched / float64(len(e.Neighbours))})
	}
	return out
}

// can reports whether element k can be bad in the mode.
func (c *Circuit) can(k int, m suspect.Mode) bool {
	if n, ok := m.Neighbour(); ok {
		return contains(c.Elements[k].Neighbours, n)
	}
	return c.Elements[k].Kind.has(m)
}

// Share is a mode and its share.
type Share struct {
	Mode  suspect.Mode
	Share float64
}

// The spans of what faults do. Assumed, but for the size of a high resistance that
// counts: one that would drop half a volt at the current of the circuit.
var (
	openOhms  = Span{1e8, math.Inf(1)}
	shortOhms = Span{0.001, 0.1}
)

const (
	highMost = 1e8
	// counts is the drop in volts from which a high resistance counts.
	counts = 0.5
)

// does is what a fault does to a stretch of the circuit.
type does int

const (
	nothing does = iota
	series       // ohms are added
	instead      // ohms are others
	toMinus      // ohms lead to the negative post
	toPlus       // ohms lead to the positive one
	toOther      // ohms lead to another stretch
	perhaps      // nobody knows whether it does anything
	stuck        // closed whatever the conditions
	other        // a diode the other way round
)

// effect of a fault on the element: what it does and with how many ohms. high is
// the least high resistance that counts there.
func (e *Element) effect(m suspect.Mode, high float64) (does, Span) {
	switch m.Kind() {
	case suspect.Open, suspect.NotCommanded, suspect.OutputDead:
		return series, openOhms
	case suspect.HighResistance:
		return series, Span{high, max(highMost, 10*high)}
	case suspect.ShortToGround:
		return toMinus, shortOhms
	case suspect.ShortToPower:
		return toPlus, shortOhms
	case suspect.ShortToNeighbour:
		return toOther, shortOhms
	case suspect.Shorted:
		if e.Kind == Switch || e.Kind == Output {
			return stuck, Span{}
		}
		return instead, Span{0.001, min(max(e.Ohms.Lo/10, 0.01), 20)}
	case suspect.DrawsTooMuch:
		return instead, Span{e.Ohms.Lo / 6, e.Ohms.Hi / 1.3}
	case suspect.Seized:
		return instead, Span{e.Ohms.Lo / 12, e.Ohms.Hi / 2.5}
	case suspect.WrongPart:
		if e.Kind == Diode {
			return other, Span{}
		}
		return instead, Span{e.Ohms.Lo / 30, e.Ohms.Hi * 30}
	}
	return nothing, Span{} // it does not work, though current flows as it should
}
