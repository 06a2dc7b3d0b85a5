package suspect

import "fmt"

// Part is a component in one of its lives: what was proven of the fan motor that
// came out says nothing of the one that went in.
type Part struct {
	// Key is the component's; empty for something not named.
	Key string
	// Life counts from 0.
	Life int
}

// NotNamed stands for whatever nobody has thought of. It is in every problem, so
// that the first part mentioned is not the culprit by default.
var NotNamed = Part{}

// NotAsDrawn stands for a drawing that is wrong: two pins swapped, a bridge that
// nobody drew, a contact in another state than was said. It is in every problem
// that has a drawing, and outside all proofs, which take the drawing for granted.
var NotAsDrawn = Part{Life: 1}

// Mode is a way of being bad.
type Mode int

// The modes, numbered as in the record.
const (
	// AnyWay is the mode of a part when no evidence tells one way of being bad from
	// another, and else of all ways that no evidence names.
	AnyWay Mode = iota
	Open
	HighResistance
	ShortToGround
	ShortToPower
	ShortToNeighbour
	Shorted
	DrawsTooMuch
	Seized
	NotCommanded
	OutputDead
	WrongPart
	Defective
	modes
)

var modeWords = [modes]string{
	"bad in any way", "open", "high resistance", "short to ground", "short to power", "short to neighbour", "shorted",
	"draws too much", "seized", "not commanded", "output dead", "wrong part or setting", "defective",
}

func (m Mode) String() string {
	if m < 0 {
		return fmt.Sprintf("mode %d", int(m))
	}
	return modeWords[m.Kind()]
}

// ShortTo is ShortToNeighbour where it is known to which, by a number from 0 that whoever
// drew the circuit gave it: to each neighbour it is a way of being bad of its own, since
// a reading that speaks against the one says nothing of the other.
func ShortTo(neighbour int) Mode { return ShortToNeighbour + modes*Mode(neighbour+1) }

// Kind is the mode as the record numbers it, whichever the neighbour.
func (m Mode) Kind() Mode {
	if m < modes {
		return m
	}
	return m % modes
}

// Neighbour is the number of the one that it is a short to; false: of none.
func (m Mode) Neighbour() (int, bool) { return int(m/modes) - 1, m >= modes }

// Takes reports whether a part that is bad in the way takes another current than it
// should, so that one must know how much it should to tell.
func (m Mode) Takes() bool { return m == DrawsTooMuch || m == Seized || m == WrongPart }

// Fault is one part being bad in one way.
type Fault struct {
	Part Part
	Mode Mode
	// Prior is how much likelier than no fault at all it is before any evidence:
	// odds, in (0, 1). For small ones that is its probability.
	Prior float64
	// Ended: the part is no longer in the vehicle. It may explain what was seen
	// while it was, and needs no explanation now.
	Ended bool
}

// Hypothesis is what may be wrong: no fault when empty, else the faults that are
// there together, of different parts.
type Hypothesis []Fault

// Evidence is something observed, as it bears on hypotheses. A test that covers
// components and a reading between two points are both.
type Evidence interface {
	// Source returns the id of the entry, and the set-up it was made in: what was
	// found twice in one set-up counts once in a proof.
	Source() (id, setup string)
	// Beyond is by how many standard deviations the observation lies outside what h
	// can lead to at all, whatever the unknown parameters; 0: possible.
	Beyond(h Hypothesis) float64
}

// Plain is evidence without unknown parameters.
type Plain interface {
	Evidence
	// LogLik is the natural logarithm of how likely the observation is when h holds.
	LogLik(h Hypothesis) float64
}

// Classed is evidence to which many faults are alike. How likely it is, and Beyond,
// then depend only on the classes of a hypothesis' faults, and a judgement asks once
// for each pair of classes instead of for each pair of faults.
type Classed interface {
	Evidence
	// Class of a fault, from 0 on, without gaps to speak of; 0: a fault that changes
	// nothing, so that a hypothesis with it is as the hypothesis without.
	Class(Fault) int
}

// Drawn is evidence with unknown parameters, that of a hypothesis' first fault and that
// of the others: of both it says how likely it is while they lie in a box, which means
// the same to all evidence of a problem.
type Drawn interface {
	Classed
	// Within is of the hypothesis with faults of these classes, 0 where there are fewer.
	Within(classes [3]int, b Box) Likely
	// Outside is Beyond of the hypothesis with faults of these classes; inOrder says that
	// there are two and that the first lies nearer to where their path begins.
	Outside(classes [3]int, inOrder bool) float64
	// Place of a fault: its class, and how far along which path it lies, on which the
	// evidence does not tell its class from that of its neighbours.
	Place(Fault) (class int, at Place)
	// Peak is what no Likely exceeds.
	Peak() float64
	// Apart reports that two faults which are each nothing to it, as Likely.Idle has it,
	// are nothing to it together.
	Apart() bool
	// Beside reports whether the second of two faults, which by itself is nothing to it, is
	// nothing to it beside the first either, as far as a look or two tell.
	Beside(classes [3]int) bool
}

// Place is how far along a path something lies, both from 1 on; 0: that is not known.
type Place struct{ Path, Along int }

// Before reports whether two places are on one path, and whether the first comes first.
func (p Place) Before(q Place) (known, is bool) {
	return p.Path > 0 && p.Path == q.Path, p.Along < q.Along
}

// beyondDoubt is the number of standard deviations from which a hypothesis counts
// as contradicted. Common practice: three sigma.
const beyondDoubt = 3

// Problem is all that a judgement rests on.
type Problem struct {
	// Faults considered, something not named among them; two of one part and mode
	// are an error.
	Faults   []Fault
	Evidence []Evidence
}
