// Package path reads a circuit that somebody sketches in a line, or in a file of
// lines, and writes it back:
//
//	batt+ > fuse F7 10A > relay K2 30/87 > bcm C3-14 > inline 7 > lamp A; lamp B > splice S4 > gnd G101
//
// Nothing is guessed. What is not understood is named with its line, its column
// and what would have been understood, up to ten such places at once. A sketch of
// a part of a circuit is understood; what it lacks is told beside it, as a
// warning. The caller keeps the text.
//
// # Lines
//
//	drawing = lines of path, note or comment; a comment line begins with '#'
//	path    = item { ">" item }         from the source's plus to its minus, as current flows
//	item    = branch { ";" branch }     ';': side by side, between the items before and behind
//	branch  = element | "(" path ")"
//	element = [KIND] NAME [ATTRIBUTES] ["when" CONDITIONS ["or" CONDITIONS]...]
//	note    = "point" POINT ":" COLOUR, "pin" PIN, WHERE, NET     in any order, each may be missing
//
// Words are separated by spaces; a comma behind a word is left off. What stands in
// double quotes is a part of the name whatever it holds. At most 20,000 bytes,
// 2,000 elements with the wires, and 60,000 bytes as an event.
//
// # Kinds and names
//
// A kind word is the first word of an element, or its last: 'fuse F7', 'brake
// switch'.
//
//	battery alternator supply                                  a supply
//	fuse link; breaker; switch; relay; coil; diode; splice     what they say
//	lamp bulb motor fan pump heater horn load                  a load
//	resistor sender sensor                                     a resistance
//	pin contact connector inline plug socket terminal          a contact
//	output bcm ecm ecu module                                  a module's output
//	gnd ground chassis                                         a ground joint
//	wire                                                       a wire
//
// A last word that is no load says more than a first word that is one: a 'fan
// relay' is a relay. Two other kinds in one name are refused, with both readings
// offered ('relay K2 fuse'), but for a name whose first and last word are the
// same ('splice ground splice'): its name goes without the first. 'relay K2 coil' is
// the coil of relay K2, as is 'relay coil K2'.
//
// A component is called as written, kind word included: 'fuse F7'. 'load', 'pin',
// 'output' and 'wire' are no part of a name, and say the kind whatever else
// stands there. A name that looks like a pin ('fan.C1-2', 'C3-14') is a contact
// without a kind word. A component that a kind word named once may be called by
// its name alone after that, in any line.
//
// 'batt+' and 'batt-' are the posts of the one battery, also 'batt+ post',
// 'battery positive'; 'battery' alone at the beginning of a path is batt+, at its
// end batt-. Where batt+ is used, the battery is an element from batt- to batt+.
//
// # Attributes
//
//	10A                   rating of a fuse or breaker; current of a load, coil or resistor
//	21W                   power of a load, coil or resistor
//	85 ohm                resistance of anything
//	12.6 V                what a supply gives with nothing drawn
//	2 m, 1.5 mm2, 16 AWG  length and size of a wire
//	red, brown/white      colour of a wire; of a contact: of the wire at that point
//	30/87                 the two terminals, in the order of the path
//	reversed              a diode that lets current flow against the path
//
// One that makes no sense for the kind is refused. 'when' says what closes a
// switch, a relay's contact or an output, in the words of quick entry.
//
// # Points
//
// Each element X lies between the points 'X in', towards plus, and 'X out',
// towards minus. With terminals named they are 'K2.30' and 'K2.87': the name
// without its kind word. A reversed diode lies from 'X out' to 'X in'.
//
// # Wires
//
// Between two items lies a wire, which has no name and is known by its points. An
// item of attributes alone describes it ('> 2 m brown >'), 'wire W12' names it.
// Between a load, coil, resistor, output, switch, relay contact, fuse, breaker or
// diode and a contact that has a word of its name lies none, unless one is drawn:
// 'fan.C1-2' is the fan motor's own pin, and the two share a point; the relay before
// it is at the other end of a wire. A pin next to a load, coil, resistor, output or
// diode is its own by any name. The point is called after a terminal if there is
// one, or else after the contact. A point has one name, so where two terminals would
// share one, a wire lies at the second. Groups side by side need something between.
//
// # Paths joined
//
// An element is one wherever it is named. A path that ends at it joins 'X in'; one
// that begins at it starts from 'X out'; so paths share splices, and branches may
// be lines of their own. What is known of it is said once, or the same each time. A
// relay or switch with two pairs of terminals (30/87 and 30/87a) is two elements
// of one component. A path may also begin or end at a point: 'fuse F7 in'.
//
// A ground leads from 'gnd G1 in' to batt-, or, when something is drawn behind it,
// to 'gnd G1 out' and on. The minus of a supply that is only drawn at the beginning
// of a path is at batt-, as that of a case bolted to the engine is.
//
// # What is refused, and what is told
//
// Refused: a path of one item, a component twice in one path (but for batt+, batt-
// and grounds in branches), both ends of an element at one point, a component with two
// kinds, ratings or other attributes, batt+ within or batt- anywhere but at the end of a
// path, a wire from post to post.
//
// Told: a path that nothing feeds or that leads nowhere, what nothing drawn joins
// to the rest, batt+ to batt- with no load between, a note of a point that is not
// drawn, a point or word that looks misspelt.
package path
