// Package brief writes the page that hands a case to a specialist, and the page
// that hands it back, as values: what to print is decided here, how it looks is
// the business of each face.
//
// Both pages say only what the record says. They never call anything good: they
// say what passed, under which conditions, by which entries, and what was fitted
// or disturbed since.
package brief

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Document is a page.
type Document struct {
	Title    string
	Sections []Section
	// Cautions for the work that the case touches.
	Cautions []string
}

// Section is one question and its answer.
type Section struct {
	Title string
	Lines []Line
	// None is said when there are no lines.
	None string
}

// Line is one statement and the entries it rests on.
type Line struct {
	Text    string
	Entries []uint64
	// Mark stands before the text: 'look now', 'no test before', 'still on'; may
	// be empty.
	Mark string
}

// width of the plain form, in characters.
const width = 100

// Text is the page as plain text: an empty section is one line, so that a page
// stays a page. Entries that a line does not name itself follow it.
func (d *Document) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s\n", d.Title, strings.Repeat("=", min(width, utf8.RuneCountInString(d.Title))))
	full := true
	for _, s := range d.Sections {
		if full || len(s.Lines) > 0 {
			b.WriteString("\n")
		}
		if full = len(s.Lines) > 0; !full {
			wrap(&b, "", "  ", s.Title+": "+s.None)
			continue
		}
		b.WriteString(s.Title + "\n")
		for _, l := range s.Lines {
			wrap(&b, "  - ", "    ", l.String())
		}
	}
	if len(d.Cautions) > 0 {
		b.WriteString("\nTake care\n")
		for _, c := range d.Cautions {
			wrap(&b, "  ! ", "    ", c)
		}
	}
	return b.String()
}

// Letters is how much the page says, in characters: what is printed is set by it.
func (d *Document) Letters() int { return utf8.RuneCountInString(d.Text()) }

// String is the line with its mark and its entries.
func (l Line) String() string {
	text := l.Text
	if l.Mark != "" {
		text = "[" + l.Mark + "] " + text
	}
	var more []string
	for _, e := range l.Entries {
		if ref := fmt.Sprintf("#%d", e); !names(l.Text, ref) && !slices.Contains(more, ref) {
			more = append(more, ref)
		}
	}
	if len(more) > 0 {
		text += " (" + strings.Join(more, ", ") + ")"
	}
	return text
}

// names reports whether the text names the entry; '#1' is not named by '#12'.
func names(text, ref string) bool {
	for {
		i := strings.Index(text, ref)
		if i < 0 {
			return false
		}
		text = text[i+len(ref):]
		if text == "" || text[0] < '0' || text[0] > '9' {
			return true
		}
	}
}

// wrap writes the text in lines of at most width characters; a word that is
// longer stands alone.
func wrap(b *strings.Builder, first, rest, text string) {
	indent, n := first, 0
	for _, w := range strings.Fields(text) {
		size := utf8.RuneCountInString(w)
		switch {
		case n == 0:
			b.WriteString(indent + w)
			n = len(indent) + size
		case n+1+size > width:
			indent = rest
			b.WriteString("\n" + indent + w)
			n = len(indent) + size
		default:
			b.WriteString(" " + w)
			n += 1 + size
		}
	}
	b.WriteString("\n")
}
