package review

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// seqs are the places of the steps.
func seqs(steps ...*cases.Step) []uint64 {
	var out []uint64
	for _, s := range steps {
		if s != nil {
			out = append(out, s.Seq)
		}
	}
	return out
}

// refs names the steps: '#4', '#4 and #7', '#4, #7 and #9'.
func refs(steps ...*cases.Step) string {
	var out []string
	for _, s := range steps {
		out = append(out, fmt.Sprintf("#%d", s.Seq))
	}
	return list(out)
}

// list joins as one would say it: 'a, b and c'.
func list(items []string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

// the names a component in a sentence: 'the fan motor'.
func the(name string) string {
	if strings.HasPrefix(strings.ToLower(name), "the ") {
		return name
	}
	return "the " + name
}

// number chooses between one and several.
func number(n int, one, several string) string {
	if n == 1 {
		return one
	}
	return several
}

// resting begins a sentence about what a decision rests on.
func resting(k *cases.Step) string {
	what := "What is held in " + refs(k)
	switch d := k.Says.GetKind().(type) {
	case *eventv1.Event_BeliefSettled:
		what = "What was concluded in " + refs(k)
	case *eventv1.Event_HandedBack:
		what = fmt.Sprintf("The hand-back (%s)", refs(k))
	case *eventv1.Event_Closed:
		what = fmt.Sprintf("The closing (%s)", refs(k))
	case *eventv1.Event_PartFitted:
		what = fmt.Sprintf("That %s was fitted (%s)", the(d.PartFitted.GetComponent()), refs(k))
	case *eventv1.Event_PartRemoved:
		what = fmt.Sprintf("That %s was taken out (%s)", the(d.PartRemoved.GetComponent()), refs(k))
	case *eventv1.Event_Repair:
		what = fmt.Sprintf("The repair of %s (%s)", the(d.Repair.GetComponent()), refs(k))
	}
	return what + " rests on"
}

// mentions reports whether the text holds the name as whole words, both as
// compared in a case. A name of one or two letters is too short to tell.
func mentions(text, name string) bool { return mentionsKey(notation.Key(text), notation.Key(name)) }

// mentionsKey is mentions of a text and a name that are keys already.
func mentionsKey(text, name string) bool {
	if len(name) > len(text) {
		return false
	}
	if utf8.RuneCountInString(name) < 3 {
		return text == name && name != ""
	}
	for from := 0; ; {
		i := strings.Index(text[from:], name)
		if i < 0 {
			return false
		}
		i += from
		before, _ := utf8.DecodeLastRuneInString(text[:i])
		after, _ := utf8.DecodeRuneInString(text[i+len(name):])
		if !wordRune(before) && !wordRune(after) {
			return true
		}
		from = i + len(name)
	}
}

func wordRune(r rune) bool {
	return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsDigit(r))
}

// upper begins the sentence with a capital letter.
func upper(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}
