package picture

import (
	"strconv"

	"knowngood.example/cases/circuit"
)

// Circuit is what is shown: who makes it decides every word, and Of where it stands.
type Circuit struct {
	// ID begins the ids of the picture's title and description; one a page.
	ID string
	// Title and Description are what a screen reader says first.
	Title, Description string
	// Points that elements lie between. Minus and Plus are the posts.
	Points   []Point
	Elements []Element
	// Notes on all of it: the stretch that the trouble is in, a doubt about the drawing.
	Notes []Note
}

// The posts among the points; of a circuit with a supply of its own, its two sides.
const (
	Minus = 0
	Plus  = 1
)

// Point is a place that a lead can touch.
type Point struct {
	Name string
	// Says is what a drawing notes of it: 'brown', 'pin 2', 'behind the radiator'.
	Says  []string
	Notes []Note
}

// Element lies between two points.
type Element struct {
	// Name as it was drawn; empty for a wire that has none.
	Name string
	Kind Kind
	// From and To are numbers of points, in the order of the path from plus to minus; a
	// diode conducts from From to To.
	From, To int
	// Colour of a wire, or of the wire at a contact, in words.
	Colour string
	// Says is what the drawing says of it besides: rating, size, what closes it.
	Says  []string
	Notes []Note
	// Suspect is its probability, when it is in the stretch the trouble is in: '62 %'.
	Suspect string
}

// Kind is the sort of thing that an element is.
type Kind = circuit.Kind

// Supply is a supply of its own, a kind that the physics has no need of.
const Supply Kind = -1

// words for the kinds.
var words = map[Kind]string{
	Supply: "supply", circuit.Wiring: "wire", circuit.Contact: "contact", circuit.Splice: "splice", circuit.Ground: "ground joint",
	circuit.Switch: "switch", circuit.Fuse: "fuse", circuit.Breaker: "breaker", circuit.Output: "module output", circuit.Load: "load",
	circuit.Lamp: "lamp", circuit.Motor: "motor", circuit.Coil: "relay coil", circuit.Resistor: "resistor", circuit.Diode: "diode",
}

// Note is something that is known of a place, in words.
type Note struct {
	Kind NoteKind
	Text string
	// More goes on in smaller letters: conditions, what it should have been.
	More string
}

// NoteKind is what a note says.
type NoteKind int

// The kinds of note. Each says in its text what it is: the kind only helps the eye.
const (
	// Plain: nothing is said for or against.
	Plain NoteKind = iota
	// Fits: a reading that is as it should be.
	Fits
	// Off: a reading that is not as it should be.
	Off
	// Proven: shown not to be bad in some way.
	Proven
	// Bad: shown to be bad.
	Bad
	// Trouble: where the trouble is.
	Trouble
)

func (k NoteKind) class() string {
	return [...]string{"plain", "fits", "off", "proven", "bad", "trouble"}[k]
}

// Of is the picture as SVG, so many pixels wide, or wider where so many branches lie side
// by side that it must be. link gives the address that a point leads to, as one to take a
// reading there; nil: points lead nowhere.
func Of(c Circuit, width int, link func(point string) string) []byte {
	return layOut(c, float64(width), link != nil).svg(c.ID+"-"+strconv.Itoa(width), link)
}
