package path_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases/path"
)

var (
	someItems = []string{
		"fuse F1 10A", "fuse F1", "link L1", "relay K1 30/87", "relay K2", "relay K2 30/87a when commanded", "coil K1 85/86 85 ohm", "switch S1 when key on or running",
		"c.1", "F1.2", "left lamp.1", "K1.x", "c.2 brown", "pin bcm C3-14", "inline 7", "bcm C3-15 when not commanded", "splice S1", "splice ground splice", "lamp A 21W", "lamp A", "lamp \"red > left\"", "fan motor 8 A",
		"diode D1", "diode D1 reversed", "sender tank 250 ohm", "gnd G1", "gnd G2", "2 m brown", "wire W1 16 AWG", "1.5 mm2", "wire", "batt-", "fuse F1 in", "K1.87", "alternator A1 14 V",
		"breaker B1 20 A", "fan relay 30/87", "\"odd name\" fuse", "lamp C1 0.2 kohm", "c.3 light blue",
	}
	someNotes = []string{"point c.1: red", "point c.2: brown, pin 2, under the seat, signal", "point fuse F1 in: power", "# remark", ""}
)

// sketch draws a text out of items that fit together often enough.
func sketch(t *rapid.T) string {
	var line func(depth int, first bool) string
	branches := func(depth int) string {
		n := rapid.SampledFrom([]int{1, 1, 1, 1, 2, 3}).Draw(t, "branches")
		parts := make([]string, n)
		for i := range parts {
			if depth < 2 && rapid.IntRange(0, 7).Draw(t, "deeper") == 0 {
				parts[i] = "(" + line(depth+1, false) + ")"
			} else {
				parts[i] = rapid.SampledFrom(someItems).Draw(t, "item")
			}
		}
		return strings.Join(parts, "; ")
	}
	line = func(depth int, first bool) string {
		var items []string
		if first && rapid.IntRange(0, 2).Draw(t, "begins") > 0 {
			items = append(items, "batt+")
		}
		for range rapid.IntRange(1, 5).Draw(t, "items") {
			items = append(items, branches(depth))
		}
		return strings.Join(items, " > ")
	}
	var lines []string
	for range rapid.IntRange(1, 4).Draw(t, "lines") {
		lines = append(lines, line(0, true))
	}
	for range rapid.IntRange(0, 2).Draw(t, "notes") {
		lines = append(lines, rapid.SampledFrom(someNotes).Draw(t, "note"))
	}
	return strings.Join(lines, "\n")
}

// TestWrittenBack: whatever is understood is understood the same once it is
// written back, may come in, and whatever is refused is refused at a place.
func TestWrittenBack(t *testing.T) {
	t.Parallel()
	understood := 0
	rapid.Check(t, func(rt *rapid.T) {
		if holds(rt, sketch(rt)) {
			understood++
		}
	})
	if understood == 0 && !testing.Short() { // a few sketches may all be nonsense
		t.Error("no sketch was understood")
	}
}

// holds requires what holds for every text, and reports whether it was a drawing.
func holds(t require.TestingT, text string) bool {
	d, err := path.Read(text)
	if err != nil {
		within(t, text, err)
		return false
	}
	passes(t, text, d)
	same(t, d)
	return true
}

func FuzzRead(f *testing.F) {
	for _, file := range []string{"drawings.txt", "refused.txt"} {
		for _, text := range texts(f, file) {
			f.Add(text)
		}
	}
	f.Fuzz(func(t *testing.T, text string) { holds(t, text) })
}
