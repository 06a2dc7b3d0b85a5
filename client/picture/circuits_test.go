package picture

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/proving"
)

var shapes = []string{"chain", "branches", "shared", "loops"}

// sketch is a circuit as proving invents it, dressed with names, colours, readings and
// suspects by dice of the same seed.
func sketch(seed uint64, shape string, size int) Circuit {
	d := rand.New(rand.NewPCG(seed, uint64(size)))
	from := proving.Sketch(seed, shape, size)
	c := Circuit{ID: "c", Title: "Circuit as drawn", Description: "invented"}
	for i, name := range from.Points {
		p := Point{Name: name, Notes: invented(d)}
		switch d.IntN(6) {
		case 0:
			p.Name = pick(d, "bcm.C3-14 out", "behind the left headlamp, second plug from the top, harness side in", strings.Repeat("W", 180), "splice S4 in", "继电器三十号端子 in")
			p.Name += fmt.Sprint(" ", i)
		case 1:
			p.Says = []string{"grey with red stripe", "pin 14", "under the seat", "power"}
		}
		c.Points = append(c.Points, p)
	}
	for i, e := range from.Elements {
		x := Element{Name: e.Key, Kind: e.Kind, From: e.From, To: e.To, Notes: invented(d)}
		switch {
		case e.Kind == circuit.Wiring && d.IntN(3) > 0:
			x.Name, x.Colour = "", pick(d, "brown", "red with white stripe", "")
		case d.IntN(8) == 0:
			x.Name = pick(d, "the relay that somebody put in afterwards under the dash", strings.Repeat("%MW", 60), "lampe à économie d'énergie, 灯") + fmt.Sprint(" ", i)
		}
		if d.IntN(3) == 0 {
			x.Says = []string{"10 A", "2 m", "1.5 mm2", "closed when key on or ready"}
		}
		if d.IntN(5) == 0 {
			x.Suspect = "62 %"
		}
		c.Elements = append(c.Elements, x)
	}
	if d.IntN(2) == 0 {
		c.Notes = []Note{{Kind: Trouble, Text: "The trouble is here, one or another of them (94 %): fuse 1, wire 3, contact 7, splice 2."}}
	}
	return c
}

func invented(d *rand.Rand) []Note {
	var out []Note
	for d.IntN(4) == 0 {
		out = append(out, Note{
			Kind: NoteKind(d.IntN(6)), Text: fmt.Sprintf("#%d 12.41 V drop, red socket.7 in, black batt-: not as it should be", d.IntN(10000)),
			More: pick(d, "", "key on, commanded on, supply 12.5 V; concern present; with nothing wrong 12.44 to 12.49 V"),
		})
	}
	return out
}

func pick(d *rand.Rand, all ...string) string { return all[d.IntN(len(all))] }

// bridge is not series-parallel: two ways, with one across.
func bridge() Circuit {
	c := Circuit{ID: "bridge", Points: []Point{{Name: "batt-"}, {Name: "batt+"}, {Name: "left"}, {Name: "right"}}}
	for i, e := range [][2]int{{1, 2}, {1, 3}, {2, 3}, {2, 0}, {3, 0}} {
		c.Elements = append(c.Elements, Element{Name: fmt.Sprint("lamp ", i), Kind: circuit.Lamp, From: e[0], To: e[1]})
	}
	return c
}

// odd are circuits that people draw by mistake, or half.
func odd() map[string]Circuit {
	points := func(n int) []Point {
		out := []Point{{Name: "batt-"}, {Name: "batt+"}}
		for i := 2; i < n; i++ {
			out = append(out, Point{Name: fmt.Sprint("p", i)})
		}
		return out
	}
	wire := func(from, to int) Element { return Element{Kind: circuit.Wiring, From: from, To: to} }
	diode := Element{Name: "diode 1", Kind: circuit.Diode, From: 0, To: 2}
	return map[string]Circuit{
		"bridge":           bridge(),
		"nothing":          {Points: points(2)},
		"no points":        {},
		"one wire":         {Points: points(3), Elements: []Element{wire(1, 2)}},
		"fed by nothing":   {Points: points(4), Elements: []Element{wire(2, 3), wire(3, 0)}},
		"a circle":         {Points: points(5), Elements: []Element{wire(2, 3), wire(3, 4), wire(4, 2)}},
		"a circle at plus": {Points: points(4), Elements: []Element{wire(1, 2), wire(2, 3), wire(3, 1)}},
		"both ends at one": {Points: points(3), Elements: []Element{wire(1, 2), wire(2, 2), wire(2, 0)}},
		"minus to minus":   {Points: points(3), Elements: []Element{wire(0, 2), wire(2, 0)}},
		"plus to minus":    {Points: points(2), Elements: []Element{wire(1, 0), wire(0, 1)}},
		"drawn upwards":    {Points: points(4), Elements: []Element{wire(0, 2), wire(2, 3), wire(3, 1)}},
		"against a kick":   {Points: points(3), Elements: []Element{wire(1, 2), diode, wire(2, 0)}},
		"apart":            {Points: points(6), Elements: []Element{wire(1, 2), wire(2, 0), wire(3, 4), wire(4, 5), wire(5, 3), wire(3, 5)}},
		"going round":      {Points: points(5), Elements: []Element{wire(1, 2), wire(2, 3), wire(3, 4), wire(4, 2), wire(3, 0), wire(4, 0)}},
	}
}
