package picture

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// wiring is a picture read back: which lines hang together, and which point they are.
type wiring struct {
	*layout
	t     testing.TB
	name  string
	group []int // of each line, then of each rail
	point map[int]int
}

func (w *wiring) find(i int) int {
	for w.group[i] != i {
		i = w.group[i]
	}
	return i
}

func (w *wiring) join(a, b int) { w.group[w.find(a)] = w.find(b) }

// symbolAt reports whether an element that is drawn on its line, as a wire is, lies there.
func (w *wiring) symbolAt(x, y float64) bool {
	for _, it := range w.items {
		if it.element >= 0 && it.above == it.below && it.x == x && it.above == y {
			return true
		}
	}
	return false
}

// hang joins lines and rails that touch.
func (w *wiring) hang() {
	for i := range len(w.lines) + len(w.rails) {
		w.group = append(w.group, i)
	}
	for i, a := range w.lines {
		for j, b := range w.lines[:i] {
			if a.x != b.x {
				continue
			}
			if max(a.y1, b.y1) < min(a.y2, b.y2) {
				w.t.Errorf("%s: two lines lie on each other at %v", w.name, a)
			}
			if (a.y1 == b.y2 && !w.symbolAt(a.x, a.y1)) || (a.y2 == b.y1 && !w.symbolAt(a.x, a.y2)) {
				w.join(i, j)
			}
		}
		for k, r := range w.rails {
			switch {
			case a.x < r.x1 || a.x > r.x2:
			case a.y1 == r.y || a.y2 == r.y:
				w.join(i, len(w.lines)+k)
			case a.y1 < r.y && r.y < a.y2 && (a.x == r.x1 || a.x == r.x2):
				w.t.Errorf("%s: a rail begins on a line that it does not join, at %v", w.name, r)
			case a.y1 < r.y && r.y < a.y2 && !strings.Contains(w.hops(r), " "+px(a.x+5)+" "):
				w.t.Errorf("%s: a rail crosses a line without a bow, at %v", w.name, r)
			}
		}
	}
}

// at is the group of the line that ends (or begins) at y, -1 where none does.
func (w *wiring) at(x, y float64, begins bool) int {
	for i, l := range w.lines {
		if l.x == x && (begins && l.y1 == y || !begins && l.y2 == y) {
			return w.find(i)
		}
	}
	return -1
}

// over is the group of what passes a place.
func (w *wiring) over(x, y float64) int {
	for i, l := range w.lines {
		if l.x == x && l.y1 <= y && y <= l.y2 {
			return w.find(i)
		}
	}
	return -1
}

// readBack reads which elements lie between which points from where lines and symbols are,
// and compares.
func readBack(t testing.TB, name string, c Circuit, width float64) {
	w := &wiring{layout: layOut(c, width, true), t: t, name: name, point: map[int]int{}}
	w.hang()
	number := map[string]int{}
	for i, p := range c.Points {
		number[p.Name] = i
	}
	require.Len(t, number, len(c.Points), "points with names of their own")
	for _, it := range w.items {
		if it.shape == nil || it.element >= 0 || it.class == "head" {
			continue
		}
		is, known := number[it.point]
		if !known && strings.HasPrefix(it.says, "back to ") {
			is, known = number[strings.TrimPrefix(it.says, "back to ")]
		}
		if !known && it.class == "post" {
			is, known = Minus, true
		}
		require.True(t, known, "%s: what is %q?", name, it.says)
		g := w.over(it.x, it.y)
		if g < 0 && is == Minus {
			continue // the foot
		}
		require.GreaterOrEqual(t, g, 0, "%s: %q lies on no line", name, it.says)
		if was, twice := w.point[g]; twice && was != is {
			t.Errorf("%s: %q and %q hang together", name, c.Points[was].Name, c.Points[is].Name)
		}
		w.point[g] = is
	}
	seen := map[int]bool{}
	for _, it := range w.items {
		if it.element < 0 {
			continue
		}
		require.False(t, seen[it.element], "%s: drawn twice", name)
		seen[it.element] = true
		e := c.Elements[it.element]
		above, ok := w.point[w.at(it.x, it.above, false)]
		require.True(t, ok, "%s: nothing leads to %q", name, it.says)
		below, ok := w.point[w.at(it.x, it.below, true)]
		if !ok && strings.HasPrefix(it.class, "element ground-joint") {
			below, ok = Minus, true
		}
		require.True(t, ok, "%s: nothing leads from %q", name, it.says)
		if [2]int{above, below} != [2]int{e.From, e.To} && [2]int{above, below} != [2]int{e.To, e.From} {
			t.Errorf("%s: element %d lies from %d to %d and is drawn from %d to %d", name, it.element, e.From, e.To, above, below)
		}
	}
	require.Len(t, seen, len(c.Elements), "%s: every element is drawn", name)
}

// TestDrawnAsJoined reads pictures back from where their lines are: each element lies
// between its points, and no two points hang together.
func TestDrawnAsJoined(t *testing.T) {
	t.Parallel()
	for _, width := range []float64{360, 1280} {
		for _, shape := range shapes {
			for size := 5; size <= 40; size += 5 {
				for seed := range uint64(*seeds) {
					readBack(t, fmt.Sprintf("%s of %d, seed %d, %.0f px", shape, size, seed, width), sketch(seed, shape, size), width)
				}
			}
		}
		for name, c := range odd() {
			readBack(t, name, c, width)
		}
	}
}
