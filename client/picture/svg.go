package picture

import (
	"bytes"
	_ "embed" // for the stylesheet
	"encoding/xml"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// px is a length without more digits than can be seen.
func px(v float64) string { return strconv.FormatFloat(float64(int(v*10+0.5))/10, 'f', -1, 64) }

// visible is text in which what cannot be seen, or turns text round, is.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		if unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// safe is text as XML takes it.
func safe(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(visible(s))) // a Builder takes everything
	return b.String()
}

// svg writes what was laid out: what is behind, the wires, and then everything in the order
// in which it is read out.
func (l *layout) svg(id string, link func(string) string) []byte {
	var b bytes.Buffer
	put := func(format string, args ...any) { fmt.Fprintf(&b, format, args...) }
	id = safe(strings.Join(strings.Fields(id), "-"))
	put(`<svg xmlns="http://www.w3.org/2000/svg" class="circuit" width="%s" height="%s" viewBox="0 0 %[1]s %[2]s" role="group" aria-labelledby="%s-title" aria-describedby="%[3]s-desc" fill="none" stroke="currentColor" stroke-width="1.6" stroke-linejoin="round" font-family="system-ui, sans-serif">`,
		px(l.width), px(l.height), id)
	put("\n<title id=\"%s-title\">%s</title>\n<desc id=\"%[1]s-desc\">%[3]s</desc>\n", id, safe(l.Title), safe(l.Description))
	put(`<g aria-hidden="true">`)
	for _, it := range l.items {
		if it.band != nil {
			put(`<rect class="band" x="%s" y="%s" width="%s" height="%s" rx="6" stroke-dasharray="6 4"/>`, px(it.band[0]), px(it.band[1]), px(it.band[2]), px(it.band[3]))
		}
	}
	put("</g>\n<g class=\"wires\" aria-hidden=\"true\" stroke-linecap=\"round\">")
	for _, w := range l.lines {
		if w.y2 > w.y1 {
			put(`<path d="M %s %s V %s"/>`, px(w.x), px(w.y1), px(w.y2))
		}
	}
	for _, r := range l.rails {
		put(`<path d="M %s %s%s H %s"/>`, px(r.x1), px(r.y), l.hops(r), px(r.x2))
	}
	put("</g>\n<g role=\"list\">\n")
	for _, it := range l.items {
		put(`<g role="listitem">`)
		href, gap := "", ""
		if link != nil && it.point != "" {
			href = link(it.point)
		}
		if href != "" {
			// The name of a link holds the very words that are seen on it, for who speaks to the
			// device (WCAG 2.2, 2.5.3).
			gap = " "
			put(`<a href="%s" aria-label="%s" class="%s">`, safe(href), safe(it.seen()), it.class)
			put(`<rect class="touch" x="%s" y="%s" width="%[3]s" height="%[3]s" stroke="none" pointer-events="all"/>`, px(max(it.x-touch/2, 0)), px(it.y-touch/2), px(touch))
		} else {
			put(`<g role="img" class="%s">`, it.class)
		}
		put("<title>%s</title>", safe(it.says))
		if it.shape != nil {
			put(`<g class="symbol">%s</g>`, strings.Join(it.shape(it.x, it.y), ""))
		}
		for _, t := range it.texts {
			put(`<text class="%s" x="%s" y="%s" font-size="%s" fill="currentColor" stroke="none"%s>%s%s</text>`,
				t.class, px(t.x), px(t.y), px(t.size), weight(t.class), safe(t.text), gap)
		}
		if href != "" {
			put("</a></g>\n")
		} else {
			put("</g></g>\n")
		}
	}
	put("</g>\n</svg>\n")
	return b.Bytes()
}

// bold is what is to be seen first, with and without colours.
func bold(class string) bool {
	return slices.Contains([]string{"name", "off", "bad", "trouble"}, class)
}

func weight(class string) string {
	if bold(class) {
		return ` font-weight="bold"`
	}
	return ""
}

// hops leads a rail over the strands that it does not join.
func (l *layout) hops(r rail) string {
	const bow = 5
	var at []float64
	for _, w := range l.lines {
		if w.x > r.x1 && w.x < r.x2 && w.y1 < r.y && w.y2 > r.y {
			at = append(at, w.x)
		}
	}
	slices.Sort(at)
	out := ""
	for _, x := range slices.Compact(at) {
		out += fmt.Sprintf(" H %s A %d %d 0 0 1 %s %s", px(x-bow), bow, bow, px(x+bow), px(r.y))
	}
	return out
}

// Style is a stylesheet for pictures, to be served as a file: light, dark and in print.
//
//go:embed style.css
var Style []byte

// seen is all that is written at a place, in the order in which it is read; where nothing
// is, what it says.
func (it item) seen() string {
	var lines []string
	for _, t := range it.texts {
		lines = append(lines, t.text)
	}
	if len(lines) == 0 {
		return it.says // a dot without a label
	}
	return strings.Join(lines, " ")
}
