package path

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Limits on a drawing. An event has at most 64 KiB.
const (
	maxBytes    = 20000
	maxElements = 2000
	maxEvent    = 60000
	maxProblems = 10
	maxName     = 200 // bytes
	maxDepth    = 20  // branches within branches
)

// LineOf is the line that a problem is in; empty when the text has none such.
func LineOf(text string, p Problem) string {
	lines := strings.Split(text, "\n")
	if p.Line < 1 || p.Line > len(lines) {
		return ""
	}
	return strings.TrimRight(lines[p.Line-1], "\r")
}

// Problem is something about one place of a drawing.
type Problem struct {
	// Line and Column of the first character meant, from 1; Length in characters,
	// 0 when something is missing there.
	Line, Column, Length int
	// What is wrong, or missing.
	What string
	// Remedy is what would have been understood there.
	Remedy string
}

// String tells place, what is wrong and the remedy.
func (p Problem) String() string {
	return fmt.Sprintf("line %d, column %d: %s; %s", p.Line, p.Column, p.What, p.Remedy)
}

// Error says why a text is no drawing: every place, in the order of the text, at
// most ten.
type Error struct {
	// Text as it was given.
	Text     string
	Problems []Problem
	// More problems were found than are listed.
	More int
}

// Error tells the problems, a line each.
func (e *Error) Error() string {
	lines := make([]string, 0, len(e.Problems)+1)
	for _, p := range e.Problems {
		lines = append(lines, p.String())
	}
	if e.More > 0 {
		lines = append(lines, fmt.Sprintf("and %d more like these", e.More))
	}
	return strings.Join(lines, "\n")
}

// Drawing is what a text says.
type Drawing struct {
	// Event with said, elements and points.
	Event *eventv1.CircuitDrawn
	// Warnings tell what the drawing lacks, or what looks odd in it. It may be
	// recorded all the same: people sketch parts.
	Warnings []Problem
}

// Read reads a drawing. The error is always a *Error.
func Read(text string) (*Drawing, error) {
	d := &drawing{}
	d.read(text)
	d.name()
	if len(d.problems) == 0 {
		d.join()
	}
	event := &eventv1.CircuitDrawn{Said: text}
	if len(d.problems) == 0 {
		event.Elements, event.Points = d.elements(), d.points()
	}
	if len(d.problems) == 0 {
		switch n := len(event.GetElements()); {
		case n+len(event.GetPoints()) == 0:
			d.refuse(mark{line: 1, col: 1}, "nothing is drawn", "draw a path: batt+ > fuse F7 10A > lamp A > gnd G1")
		case n > maxElements:
			d.refuse(mark{line: 1, col: 1}, fmt.Sprintf("%d elements with the wires, and at most %d are kept", n, maxElements), "split it into two drawings that share a splice")
		case proto.Size(event) > maxEvent:
			d.refuse(mark{line: 1, col: 1}, fmt.Sprintf("the drawing takes %d bytes, and at most %d are kept", proto.Size(event), maxEvent), "split it into two drawings that share a splice")
		}
	}
	if len(d.problems) > 0 {
		sorted(d.problems)
		n := min(len(d.problems), maxProblems)
		return nil, &Error{Text: text, Problems: d.problems[:n], More: len(d.problems) - n}
	}
	d.doubt(event)
	sorted(d.warnings)
	return &Drawing{Event: event, Warnings: d.warnings}, nil
}

func sorted(list []Problem) {
	slices.SortStableFunc(list, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
}

// drawing is a text while it is read: lines become uses of elements, uses become
// elements, and elements are joined.
type drawing struct {
	problems, warnings []Problem
	paths              []*path
	notes              []*note
	uses               []*use
	circuit
}

func (d *drawing) refuse(at mark, what, remedy string) {
	d.problems = append(d.problems, Problem{at.line, at.col, at.n, what, remedy})
}

func (d *drawing) warn(at mark, what, remedy string) {
	d.warnings = append(d.warnings, Problem{at.line, at.col, at.n, what, remedy})
}
