package check

import (
	"fmt"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/reflect/protoreflect"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Limits on what an event carries, far above what anybody writes by hand. The
// event as a whole has at most 64 KiB.
const (
	maxName     = 200   // bytes of a component's or point's name
	maxText     = 4000  // bytes of other texts
	maxLongText = 20000 // bytes of a note and of a drawing as typed
	maxTyped    = 4096  // bytes of the line an event was made from
	maxRole     = 40    // characters
	maxList     = 200
	maxLongList = 2000 // elements, points and codes
	longAgo     = 50   // years
)

var (
	longTexts = map[protoreflect.FullName]bool{
		"knowngood.event.v1.Note.text":         true,
		"knowngood.event.v1.CircuitDrawn.said": true,
	}
	longLists = map[protoreflect.FullName]bool{
		"knowngood.event.v1.CircuitDrawn.elements": true,
		"knowngood.event.v1.CircuitDrawn.points":   true,
		"knowngood.event.v1.CodesRead.codes":       true,
	}
)

// walk checks what holds for every field of every message: texts are clean and
// not too long, lists neither, and what a term must be wherever it
// stands.
func (c checker) walk(m protoreflect.Message) {
	fields := m.Descriptor().Fields()
	for i := 0; i < fields.Len(); i++ {
		f := fields.Get(i)
		if !m.Has(f) {
			continue
		}
		name := string(f.Name())
		v := m.Get(f)
		if !f.IsList() {
			c.field(name, f, v)
			continue
		}
		limit := maxList
		if longLists[f.FullName()] {
			limit = maxLongList
		}
		n := v.List().Len()
		if n > limit {
			c.refuse(name, fmt.Sprintf("has %d items", n), fmt.Sprintf("at most %d are kept", limit))
			continue
		}
		for j := 0; j < n; j++ {
			if f.Kind() == protoreflect.StringKind && blank(v.List().Get(j).String()) {
				c.refuse(item(name, j), "is empty", "leave it out")
				continue
			}
			c.field(item(name, j), f, v.List().Get(j))
		}
	}
}

func (c checker) field(name string, f protoreflect.FieldDescriptor, v protoreflect.Value) {
	switch f.Kind() {
	case protoreflect.StringKind:
		limit := maxText
		if longTexts[f.FullName()] {
			limit = maxLongText
		}
		c.text(name, v.String(), limit)
	case protoreflect.MessageKind:
		sub := c.sub(name)
		sub.walk(v.Message())
		sub.term(v.Message().Interface())
	}
}

// text refuses what cannot be printed or would print as something else.
func (c checker) text(field, s string, limit int) {
	if !utf8.ValidString(s) {
		c.refuse(field, "is not valid UTF-8", "write it again")
		return
	}
	if len(s) > limit {
		c.refuse(field, fmt.Sprintf("has %d bytes", len(s)), fmt.Sprintf("at most %d are kept; put the rest into a note", limit))
	}
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
		case unicode.IsControl(r):
			c.refuse(field, fmt.Sprintf("holds the control character %U", r), "leave it out")
			return
		case r >= 0x202A && r <= 0x202E || r >= 0x2066 && r <= 0x2069:
			c.refuse(field, fmt.Sprintf("holds %U, which makes text print in another order than it is kept", r), "leave it out")
			return
		}
	}
}

// term checks the messages that stand in many places.
func (c checker) term(m any) {
	switch m := m.(type) {
	case *eventv1.Quantity:
		c.quantity(m)
	case *eventv1.Money:
		c.money(m)
	case *eventv1.Moment:
		c.moment("", m)
	case *eventv1.Conditions:
		c.conditions(m)
	case *eventv1.Instrument:
		c.instrument(m)
	case *eventv1.Expectation:
		c.expectation(m)
	case *eventv1.Covered:
		c.covered(m)
	}
}
