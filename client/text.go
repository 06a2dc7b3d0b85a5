package client

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"
	"unicode"

	"charm.land/lipgloss/v2"
	"charm.land/lipgloss/v2/table"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Style says how text is laid out.
type Style struct {
	// Terminal: somebody is looking; times are relative and tables fitted to Width.
	Terminal bool
	Color    bool
	// Width in columns; 0: as wide as it comes.
	Width int
	// Zone that times are shown in.
	Zone *time.Location
	Now  time.Time
}

// hidden are the characters that change how text around them is shown: controls,
// line separators, and the marks and overrides of writing direction (Unicode
// UAX #9).
func hidden(r rune) bool {
	return unicode.IsControl(r) || r == unicode.ReplacementChar || r == '\u061c' || r >= '\u200e' && r <= '\u200f' ||
		r >= '\u2028' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' || r == '\ufeff'
}

// Clean makes recorded text fit to be shown: nothing in it can move the cursor,
// change colours or turn the order of letters round. A line break becomes a
// space, another control its picture, anything else of the sort U+FFFD.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < 0x20:
			return 0x2400 + r // the pictures of U+2400
		case r == 0x7f:
			return 0x2421
		case hidden(r):
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// Time is a moment as people read it: relative on a terminal, RFC 3339 elsewhere,
// no more exact than it is known.
func (s Style) Time(m *eventv1.Moment) string {
	if m == nil || m.GetPrecision() == eventv1.Precision_PRECISION_UNKNOWN {
		return Clean(m.GetSaid())
	}
	if m.GetPrecision() == eventv1.Precision_PRECISION_DAY {
		// A day is the writer's day, wherever it is read.
		return time.Unix(m.GetUnixSeconds(), 0).In(time.FixedZone("", int(m.GetOffsetMinutes())*60)).Format(time.DateOnly)
	}
	t := time.Unix(m.GetUnixSeconds(), 0).In(s.Zone)
	if !s.Terminal {
		return t.Format(time.RFC3339)
	}
	return ago(s.Now, t)
}

func ago(now, t time.Time) string {
	d := now.Sub(t)
	switch {
	case d < -time.Minute:
		return t.Format("2006-01-02 15:04")
	case d < time.Minute:
		return "just now"
	case d < time.Hour:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < 24*time.Hour:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	case d < 7*24*time.Hour:
		return fmt.Sprintf("%d d ago", int(d.Hours()/24))
	}
	return t.Format("2006-01-02 15:04")
}

// Table is rows under a head. Cells hold plain text and may be long.
type Table struct {
	Head []string
	Rows [][]string
	// None is said when there are no rows.
	None string
}

// Write lays the table out: by display width on a terminal, with text/tabwriter
// elsewhere.
func (t Table) Write(w io.Writer, s Style) error {
	if len(t.Rows) == 0 {
		_, err := fmt.Fprintln(w, t.None)
		return err
	}
	if !s.Terminal {
		tw := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
		for _, row := range append([][]string{t.Head}, t.Rows...) {
			for i, cell := range row {
				if i > 0 {
					fmt.Fprint(tw, "\t") //nolint:errcheck // Flush reports it
				}
				fmt.Fprint(tw, Clean(cell)) //nolint:errcheck // Flush reports it
			}
			fmt.Fprintln(tw) //nolint:errcheck // Flush reports it
		}
		return tw.Flush()
	}
	if s.Width > 0 && s.Width < leastColumn*len(t.Head) {
		return t.stack(w, s)
	}
	cell, head := lipgloss.NewStyle().PaddingRight(2), lipgloss.NewStyle().PaddingRight(2)
	if s.Color {
		head = head.Bold(true)
	}
	lt := table.New().Border(lipgloss.NormalBorder()).
		BorderTop(false).BorderBottom(false).BorderLeft(false).BorderRight(false).BorderColumn(false).
		StyleFunc(func(row, _ int) lipgloss.Style {
			if row == table.HeaderRow {
				return head
			}
			return cell
		}).Headers(t.Head...).Wrap(true)
	for _, row := range t.Rows {
		clean := make([]string, len(row))
		for i, c := range row {
			clean[i] = Clean(c)
		}
		lt.Row(clean...)
	}
	text := lt.String()
	if s.Width > 0 && lipgloss.Width(text) > s.Width {
		text = lt.Width(s.Width).String()
	}
	_, err := fmt.Fprintln(w, trimLines(text))
	return err
}

// leastColumn is the width below which a column cannot be read.
const leastColumn = 12

// stack writes each row as a block, a cell a line behind its head, for a terminal
// that is too narrow for columns.
func (t Table) stack(w io.Writer, s Style) error {
	var b strings.Builder
	for i, row := range t.Rows {
		if i > 0 {
			b.WriteByte('\n')
		}
		for j, cell := range row {
			if cell = Clean(cell); cell == "" {
				continue
			}
			if head := t.Head[j]; head != "" {
				cell = head + ": " + cell
			}
			b.WriteString(wrap(cell, s.Width, "  ") + "\n")
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func trimLines(s string) string {
	lines := strings.Split(s, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.Join(lines, "\n")
}

// wrap breaks text at spaces to the width in columns; every line after the first
// begins with indent.
func wrap(text string, width int, indent string) string {
	if width <= 0 || lipgloss.Width(text) <= width {
		return text
	}
	var b strings.Builder
	used := 0
	for i, word := range strings.Fields(text) {
		n := lipgloss.Width(word)
		switch {
		case i == 0:
		case used+1+n > width:
			b.WriteString("\n" + indent)
			used = lipgloss.Width(indent)
		default:
			b.WriteByte(' ')
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}

// Width is how many columns text takes on a terminal.
func Width(s string) int { return lipgloss.Width(s) }
