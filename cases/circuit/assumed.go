package circuit

import "knowngood.example/cases/suspect"

// done is a fault as it changes the model.
type done struct {
	stretch int
	does    does
	ohms    Span
	// vague: nobody knows how much the well one draws, nor how much would be too much, so
	// that in a draw it takes anything from much to usual, as the well one does.
	vague bool
	// along is where along the stretch a short lies in a draw, from 0 to 1; 0: in the middle.
	along float64
	// touches is the stretch that a short leads to, of the two the one that comes later.
	touches int
	// place tells the order of two faults in one stretch where it is known: 1 is nearer to
	// its end a than 2. 0: it is not.
	place int8
}

// assumed is all that a network is laid out under.
type assumed struct {
	posed
	// before puts the first of two faults in one stretch before the other, seen from
	// its end a.
	before bool
	// bounds takes all that what is not known may be; else it is one point of it, a draw.
	bounds bool
	// at is, in a draw, where the parameters of the faults lie, in Fine parts, and leaks a
	// share of the way from all to ground to all to the supply.
	at    [2]uint8
	leaks float64
	// wanted: no more needs to be known than whether what was shown can be.
	wanted bool
	// loads are the resistances of the loads as far as what feeds them is known.
	loads []Span
	// bulbs are the resistances of the bridges that are bulbs, in a draw.
	bulbs []float64
	// warm: in a draw, the filaments begin as the draw before left them.
	warm bool
	// little is, in a draw, the share of the way from much to little that loads take of
	// which nobody knows what they draw.
	little float64
	// worn: in a draw, what conducts has more than it mostly has.
	worn bool
	// gates says of each diode, and of each contact that a coil closes, how it stands; nil:
	// not worked out.
	gates []gate
	// lead is what the instrument puts between two nodes.
	lead Bridge
	// sensed is a stretch in which the current is wanted, by stretch and one: it gets
	// senseOhms of its own at its end a.
	sensed int
	// far puts that at the other end.
	far bool
	// holds says which fuses are sure to be blown; held is one that is taken to be
	// whole, by stretch and one.
	holds map[int]Position
	held  int
}

// senseOhms is little beside the least there is in any circuit, so that sensing a
// current does not change it.
const senseOhms = 1e-8

type gate struct {
	position Position
	ohms     Span
	conducts bool // of a diode, for bounds: it is sure to
}

// some is what is taken of something that is not known: all of it, or its middle.
func (x *assumed) some(s Span) Span {
	if x.bounds {
		return s
	}
	return Exactly(s.at(0.5))
}

// size is how many ohms fault i has of those that it may have.
func (x *assumed) size(i int, s Span) Span {
	switch f := &x.faults[i]; {
	case x.bounds:
		return s
	case f.varies():
		return Exactly(level(s, float64(x.at[x.axis[i]])/suspect.Fine))
	case f.vague:
		return Exactly(Span{s.Lo, s.at(0.5)}.at(x.little))
	}
	return Exactly(s.at(0.5))
}

// leaky is what everything leaks to the positive post and to the negative one.
func (x *assumed) leaky(s Span) (toPlus, toMinus Span) {
	if x.bounds {
		return s.conductance(), s.conductance()
	}
	return Exactly(s.at(1 - x.leaks)).conductance(), Exactly(s.at(x.leaks)).conductance()
}
