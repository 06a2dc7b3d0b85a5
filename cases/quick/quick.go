package quick

import (
	"fmt"
	"strings"
	"time"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Kind is a kind of entry, by the word that names it at the start of a line and
// as a command.
type Kind string

// The kinds a line can make.
const (
	Read     Kind = "read"    // reading
	Test     Kind = "test"    // test
	Fit      Kind = "fit"     // part fitted
	Remove   Kind = "remove"  // part removed
	PutBack  Kind = "putback" // part put back
	Believe  Kind = "believe" // belief
	Settle   Kind = "settle"  // belief settled
	Temp     Kind = "temp"    // temporary on, temporary off
	Saw      Kind = "seen"    // seen
	Note     Kind = "note"    // note
	Codes    Kind = "codes"   // codes read, codes cleared
	Disturb  Kind = "disturb" // evidence disturbed
	Approve  Kind = "approve" // approval
	Spent    Kind = "spent"   // time spent
	Concern  Kind = "concern" // concern stated, duplicated, acting up, gone away
	Worked   Kind = "worked"  // worked on
	Safe     Kind = "safe"    // made safe
	Repair   Kind = "repair"  // repair
	Checked  Kind = "checked" // repair checked
	Meter    Kind = "meter"   // meter checked
	Close    Kind = "close"   // closed
	unstated Kind = ""
)

// Context is what persists between lines and what a line may refer to.
type Context struct {
	// Red, Black and At are the points of the last reading, for 'same leads'.
	Red, Black, At string
	// Conditions of the last reading or test, for 'same state'; nil: none yet.
	Conditions *eventv1.Conditions
	// Last is the id of the last entry, for 'because last'; empty: none yet.
	Last string
	// Entry finds the id of an entry by its number or short id; nil: only
	// whole ids are understood.
	Entry func(reference string) (id string, err error)
	// On lists what is temporary on the vehicle now.
	On []Temporary
	// Names are the components and points known so far.
	Names []Name
	// System is the nominal supply in volts: 12, 24 or 48; 0 when not known.
	System int
	// Now is the present moment in the writer's zone.
	Now time.Time
	// Currency is the ISO 4217 code of an amount that names none; may be empty.
	Currency string
}

// Name is a known component or point.
type Name struct {
	Text  string
	Point bool
}

// Temporary is a change that is on the vehicle now.
type Temporary struct {
	// ID of the entry that put it on.
	ID    string
	Kind  eventv1.TemporaryKind
	What  string
	Where []string
}

// Parsed is what a line says.
type Parsed struct {
	// Event with only its kind set, and happened, placed, by and because where
	// the line says so.
	Event *eventv1.Event
	// Line as it was typed.
	Line string
	// Understood is a line that says the same in full, to be shown back.
	Understood string
	// Carried names what was taken from the context: 'leads', 'state', 'last'.
	Carried []string
	// New lists names that are not known yet, each with the known names nearest
	// to it. They are offered; nothing is replaced.
	New []NewName
}

// NewName is a name that was not known before this line.
type NewName struct {
	Name
	// Nearest known names, best first, at most three.
	Nearest []string
	// Column and Length of the name in the line, in characters, from 1.
	Column, Length int
}

// Error says where a line was not understood. The line is never lost: it stands
// in Line.
type Error struct {
	Line string
	// Column of the first character meant, from 1; Length in characters, 0 when
	// something is missing there.
	Column, Length int
	// What is wrong.
	What string
	// Understood lists what would be understood there.
	Understood []string
}

// Error tells the column, what is wrong and what would be understood there.
func (e *Error) Error() string {
	s := fmt.Sprintf("column %d: %s", e.Column, e.What)
	if len(e.Understood) > 0 {
		s += "; understood there: " + strings.Join(e.Understood, " | ")
	}
	return s
}

// Parse reads a line of any kind, told by its leading words. The error is
// always a *Error.
func Parse(line string, ctx Context) (*Parsed, error) {
	return ParseAs(unstated, line, ctx)
}

// ParseAs reads a line whose kind is known already, as a command knows it. The
// leading word of the kind may be there or not. The error is always a *Error.
func ParseAs(kind Kind, line string, ctx Context) (*Parsed, error) {
	p, err := newParser(line, ctx)
	if err == nil {
		err = p.run(kind)
	}
	if err != nil {
		err.Line = line
		return nil, err
	}
	return p.parsed, nil
}
