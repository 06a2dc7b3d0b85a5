package path

import (
	"slices"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Say tells an element in plain words: 'relay K2, a relay contact, from K2.30 to
// K2.87, closed when key on'.
func Say(e *eventv1.Element) string {
	kind := notation.Word(e.GetKind())
	out := kind
	if name := e.GetComponent(); name != "" {
		out = name
		if words := plainWords(name); !slices.ContainsFunc(words, func(w word) bool { return w.key == kind }) {
			out += ", " + a(e.GetKind()) + ","
		}
	}
	out += " from " + e.GetFrom() + " to " + e.GetTo()
	for _, said := range Attributes(e) {
		out += ", " + said
	}
	return out
}

// Attributes are what a drawing says of an element besides its name, each in words: '10 A',
// 'brown', 'closed when key on'.
func Attributes(e *eventv1.Element) []string {
	var out []string
	for _, s := range []struct{ before, text string }{
		{"", notation.Format(e.GetRating())}, {"", notation.Format(e.GetResistance())}, {"", notation.Format(e.GetPower())},
		{"", notation.Format(e.GetCurrent())}, {"", notation.Format(e.GetEmf())}, {"", notation.Format(e.GetLength())},
		{"", e.GetGauge()}, {"", e.GetColour()}, {"closed when ", conditions(e.GetClosedWhen())},
	} {
		if s.text != "" {
			out = append(out, s.before+s.text)
		}
	}
	return out
}
