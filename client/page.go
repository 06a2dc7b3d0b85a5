package client

import (
	"fmt"
	"io"
	"strings"

	"charm.land/lipgloss/v2"
)

// Page writes a document as text: a title, heads, and lines with a mark before
// and the entries they rest on behind.
type Page struct {
	Style
	W   io.Writer
	err error
}

// Err is the first failure to write.
func (p *Page) Err() error { return p.err }

func (p *Page) line(s string) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.W, s)
	}
}

func (p *Page) bold(s string) string {
	if p.Color {
		return lipgloss.NewStyle().Bold(true).Render(s)
	}
	return s
}

// Title of the document.
func (p *Page) Title(s string) {
	s = Clean(s)
	p.line(p.bold(s))
	p.line(strings.Repeat("=", Width(s)))
}

// Head of a section.
func (p *Page) Head(s string) {
	p.line("")
	p.line(p.bold(Clean(s)))
}

// Text that stands alone.
func (p *Page) Text(s string) {
	if s != "" {
		p.line("  " + wrap(Clean(s), p.room(), "  "))
	}
}

// Item of a section, with a mark such as '-' before it.
func (p *Page) Item(mark, text string) {
	p.line("  " + mark + " " + wrap(Clean(text), p.room(), "    "))
}

// room is the width of text beside its indent; without a terminal lines stay
// whole.
func (p *Page) room() int {
	if !p.Terminal {
		return 0
	}
	return max(p.Width-6, 30)
}
