package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

var seeds = flag.Int("seeds", 3, "circuits of each shape and size that are laid out")

// mark is something drawn, with the box that it takes.
type mark struct {
	what           string
	left, top      float64
	right, bottom  float64
	text, wire     bool
	item           int // listitem it is in, 0: none
	bold           bool
	size, baseline float64
}

func (m mark) String() string {
	return fmt.Sprintf("%s at %.0f,%.0f to %.0f,%.0f", m.what, m.left, m.top, m.right, m.bottom)
}

func (m mark) meets(o mark) bool {
	const touch = 0.11 // what rounding moves
	return m.left < o.right-touch && o.left < m.right-touch && m.top < o.bottom-touch && o.top < m.bottom-touch
}

var numbers = regexp.MustCompile(`-?\d+(\.\d+)?`)

// marks reads a picture as a browser does, and gives each text the box that a wide face
// would take: from 0.97 of its size over the base line to 0.27 under it.
func marks(t testing.TB, svg []byte) (out []mark, width, height float64) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	var open []xml.StartElement
	items := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out, width, height
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 && open[len(open)-1].Name.Local == "text" {
				m := &out[len(out)-1]
				m.what = string(x)
				m.right = m.left + textWidth(m.what, m.size, m.bold)
			}
		case xml.StartElement:
			at := map[string]string{}
			for _, a := range x.Attr {
				at[a.Name.Local] = a.Value
			}
			if at["role"] == "listitem" {
				items++
			}
			open = append(open, x)
			number := func(key string) float64 {
				v, err := strconv.ParseFloat(at[key], 64)
				require.NoError(t, err, "%s of %s", key, x.Name.Local)
				return v
			}
			m := mark{what: x.Name.Local, item: items}
			switch x.Name.Local {
			case "svg":
				width, height = number("width"), number("height")
				continue
			case "text":
				m.text, m.size, m.bold = true, number("font-size"), at["font-weight"] == "bold"
				m.left, m.baseline = number("x"), number("y")
				m.top, m.bottom = m.baseline-0.97*m.size, m.baseline+0.27*m.size
			case "circle":
				r := number("r")
				m.left, m.right, m.top, m.bottom = number("cx")-r, number("cx")+r, number("cy")-r, number("cy")+r
			case "rect":
				if at["class"] == "band" || at["class"] == "touch" {
					continue
				}
				m.left, m.top = number("x"), number("y")
				m.right, m.bottom = m.left+number("width"), m.top+number("height")
			case "path":
				m.wire = items == 0
				extent(t, &m, at["d"])
			default:
				continue
			}
			out = append(out, m)
		}
	}
}

// extent of a path of absolute moves, lines and bows, and of what is straight across or
// down.
func extent(t testing.TB, m *mark, d string) {
	first := true
	add := func(x, y float64) {
		if first {
			m.left, m.right, m.top, m.bottom, first = x, x, y, y, false
		}
		m.left, m.right, m.top, m.bottom = min(m.left, x), max(m.right, x), min(m.top, y), max(m.bottom, y)
	}
	x, y := 0.0, 0.0
	for _, part := range regexp.MustCompile(`[A-Z][^A-Z]*`).FindAllString(d, -1) {
		var n []float64
		for _, s := range numbers.FindAllString(part, -1) {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			n = append(n, v)
		}
		switch part[0] {
		case 'M', 'L':
			x, y = n[0], n[1]
		case 'H':
			x = n[0]
		case 'V':
			y = n[0]
		case 'A':
			add(x, y-n[1]) // its bow stands over it
			x, y = n[5], n[6]
		case 'Z':
		default:
			t.Fatalf("%q: a command that the test does not know", part)
		}
		add(x, y)
	}
}

// free fails where a text lies on another, on a symbol or on a wire, where two symbols lie
// on each other, or anything lies outside the picture.
func free(t testing.TB, name string, svg []byte) {
	t.Helper()
	all, width, height := marks(t, svg)
	for i, a := range all {
		if a.left < -0.1 || a.top < -0.1 || a.right > width+0.1 || a.bottom > height+0.1 {
			t.Errorf("%s: %v lies outside %.0f x %.0f", name, a, width, height)
		}
		for _, b := range all[i+1:] {
			inOne := a.item == b.item && !a.text && !b.text || a.wire && b.wire
			onItsWire := a.wire && !b.text
			if !inOne && !onItsWire && a.meets(b) {
				t.Errorf("%s: %v lies on %v", name, a, b)
			}
		}
	}
}

var touches = regexp.MustCompile(`class="touch" x="([^"]*)" y="([^"]*)" width="([^"]*)" height="([^"]*)"`)

// touchable fails where a place to touch is smaller than 56 pixels, lies outside the picture
// or closer than 12 to another; and where a link has none.
func touchable(t testing.TB, name string, svg []byte) {
	t.Helper()
	_, width, height := marks(t, svg)
	var all [][4]float64
	for _, m := range touches.FindAllSubmatch(svg, -1) {
		var r [4]float64
		for k := range r {
			v, err := strconv.ParseFloat(string(m[k+1]), 64)
			require.NoError(t, err)
			r[k] = v
		}
		if r[2] < 56 || r[3] < 56 || r[0] < 0 || r[1] < 0 || r[0]+r[2] > width+0.1 || r[1]+r[3] > height+0.1 {
			t.Errorf("%s: a place to touch of %v in %.0f x %.0f", name, r, width, height)
		}
		for _, o := range all {
			if across, down := max(o[0]-r[0]-r[2], r[0]-o[0]-o[2]), max(o[1]-r[1]-r[3], r[1]-o[1]-o[3]); max(across, down) < 12-0.11 {
				t.Errorf("%s: places to touch at %v and %v", name, o, r)
			}
		}
		all = append(all, r)
	}
	if links := bytes.Count(svg, []byte("<a ")); len(all) != links {
		t.Errorf("%s: %d links and %d places to touch", name, links, len(all))
	}
}

// TestNoLabelOverlaps lays out circuits of every shape and size at both widths.
func TestNoLabelOverlaps(t *testing.T) {
	t.Parallel()
	pictures, more := 0, 1
	if testing.Short() {
		more = 5
	}
	for _, shape := range shapes {
		for size := 5; size <= 40; size += more {
			for seed := range uint64(*seeds) {
				c := sketch(seed, shape, size)
				for _, width := range []int{360, 1280} {
					svg := Of(c, width, func(p string) string { return "#" + p })
					name := fmt.Sprintf("%s of %d, seed %d, %d px", shape, size, seed, width)
					free(t, name, svg)
					touchable(t, name, svg)
					pictures++
				}
			}
		}
	}
	for name, c := range odd() {
		for _, width := range []int{360, 1280} {
			free(t, name, Of(c, width, nil))
			svg := Of(c, width, func(p string) string { return "#" + p })
			free(t, name, svg)
			touchable(t, name, svg)
			pictures += 2
		}
	}
	t.Logf("%d pictures", pictures)
}

// TestOverlapIsSeen: the test would see one.
func TestOverlapIsSeen(t *testing.T) {
	t.Parallel()
	at := func(x, y float64) mark { return mark{left: x, top: y, right: x + 10, bottom: y + 10} }
	require.True(t, at(0, 0).meets(at(9, 9)))
	require.False(t, at(0, 0).meets(at(10, 0)))
	l := layOut(bridge(), 1280, false)
	l.items[1].texts[0].y = l.items[1].texts[0].y - 30
	l.items[1].texts[0].x = l.items[1].x
	all, _, _ := marks(t, l.svg("x", nil))
	found := 0
	for i, a := range all {
		for _, b := range all[i+1:] {
			if (a.text || b.text) && a.meets(b) {
				found++
			}
		}
	}
	require.NotZero(t, found)
}
