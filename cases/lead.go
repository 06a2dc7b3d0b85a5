package cases

import (
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// loose is a point key without what people write now one way, now another.
func loose(key string) string {
	return strings.NewReplacer(".", " ", "-", " ", "_", " ", "/", " ").Replace(key)
}

// elementOf is the first element of the component that a name means; -1: none is drawn.
func (c *Case) elementOf(d *Drawn, name string) int {
	i := slices.IndexFunc(d.Elements, func(e DrawnElement) bool { return e.Component.Key == c.Key(name) })
	if i < 0 {
		i = slices.IndexFunc(d.Elements, func(e DrawnElement) bool { return bare(e.Component.Key) == bare(c.Key(name)) })
	}
	return i
}

// Place finds the nodes of the circuit that a name may mean: a point; 'X in' and
// 'X out' of an element; the side of a contact; a bare name means either end, of a
// contact the side that its wire is at. None when the circuit has no such point.
func (c *Case) Place(d *Drawn, name string) []int {
	key := c.pointKey(name)
	if key == "" {
		return nil
	}
	if n, ok := d.nodes[key]; ok {
		return []int{n}
	}
	base, side := key, ""
	for _, s := range []string{"in", "out", "harness side", "component side"} {
		if b, ok := strings.CutSuffix(key, " "+s); ok {
			base, side = b, s
		}
	}
	i := c.elementOf(d, base)
	if i < 0 {
		for k, n := range d.nodes {
			if loose(k) == loose(key) || bare(k) == bare(key) {
				return []int{n}
			}
		}
		return nil
	}
	e := &d.Circuit.Elements[i]
	in, out := e.From, e.To
	if e.Kind == circuit.Diode && strings.HasSuffix(notation.Key(d.Elements[i].GetFrom()), " out") {
		in, out = out, in // drawn against the path
	}
	switch side {
	case "in":
		return []int{in}
	case "out":
		return []int{out}
	}
	if e.Kind != circuit.Contact {
		return []int{in, out}
	}
	wired := func(n int) bool {
		return slices.ContainsFunc(d.Circuit.Elements, func(o circuit.Element) bool {
			return (o.From == n || o.To == n) && o.Kind == circuit.Wiring
		})
	}
	harness, component := []int{in}, []int{out}
	switch {
	case wired(in) && wired(out):
		harness, component = []int{in, out}, []int{in, out}
	case wired(out):
		harness, component = component, harness
	}
	if side == "component side" {
		return component
	}
	return harness
}

// SamePoint reports whether two names mean one point of a drawn circuit, or points
// with nothing but a wire between them.
func (c *Case) SamePoint(a, b string) bool {
	if c.pointKey(a) == c.pointKey(b) {
		return true
	}
	for _, d := range c.Circuits() {
		x, y := c.Place(d, a), c.Place(d, b)
		for _, n := range x {
			if slices.Contains(y, n) || slices.ContainsFunc(d.Circuit.Elements, func(e circuit.Element) bool {
				return e.Kind == circuit.Wiring && (e.From == n && slices.Contains(y, e.To) || e.To == n && slices.Contains(y, e.From))
			}) {
				return true
			}
		}
	}
	return false
}

// bare is the key of a component without the word for its kind.
func bare(key string) string {
	words := strings.Fields(loose(key))
	words = slices.DeleteFunc(words, func(w string) bool {
		return slices.Contains([]string{"fuse", "relay", "splice", "gnd", "ground", "contact", "pin", "connector", "inline", "plug", "lamp", "coil", "switch"}, w)
	})
	if len(words) == 0 {
		return loose(key)
	}
	return strings.Join(words, " ")
}

// Find is Component, and for a wire that has no name of its own also 'wire P to Q'
// by any names of its points, in either order.
func (c *Case) Find(name string) *Component {
	if comp := c.Component(name); comp != nil {
		return comp
	}
	p, q, ok := strings.Cut(strings.TrimPrefix(notation.Key(name), "wire "), " to ")
	if !ok {
		return nil
	}
	for _, d := range c.Circuits() {
		from, to := c.Place(d, p), c.Place(d, q)
		for i, e := range d.Circuit.Elements {
			if e.Kind == circuit.Wiring && (slices.Contains(from, e.From) && slices.Contains(to, e.To) || slices.Contains(from, e.To) && slices.Contains(to, e.From)) {
				return d.Elements[i].Component
			}
		}
	}
	return nil
}

// bodies are the names of metal that somebody may have put a black lead on without
// drawing it: a ground nobody proved.
var bodies = []string{"chassis", "body", "engine", "engine block", "block", "ground", "frame", "bare metal", "bracket", "chassis ground", "body ground"}

// opened reports whether something that was unplugged, by its name, opens the
// element.
func (c *Case) opened(d *Drawn, i int, name string) bool {
	e := d.Elements[i]
	key := c.Key(name)
	if key == "" {
		return false
	}
	contact := e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_CONTACT
	switch {
	case e.Component.Key == key:
		return true
	case contact:
		// 'fan C1' has the pins 'fan.C1-1' and 'fan.C1-2'.
		of := loose(e.Component.Key)
		if rest, ok := strings.CutPrefix(of, loose(key)+" "); ok && !strings.Contains(rest, " ") {
			return true
		}
	}
	return !contact && bare(e.Component.Key) == bare(key) && relayOf(e.Element) == "" && e.GetKind() != eventv1.ElementKind_ELEMENT_KIND_WIRE
}

// bridged finds the two points that something lies between, in 'A to B'.
func (c *Case) between(d *Drawn, text string) (a, b int, ok bool) {
	text = notation.Key(text)
	for _, word := range []string{" at ", " from ", " across ", " between "} {
		if _, rest, cut := strings.Cut(" "+text, word); cut {
			text = rest
		}
	}
	for _, sep := range []string{" to ", " and ", " - "} {
		x, y, cut := strings.Cut(text, sep)
		if !cut {
			continue
		}
		y, _, _ = strings.Cut(y, ",")
		from, to := c.Place(d, x), c.Place(d, y)
		if len(from) > 0 && len(to) > 0 {
			return from[0], to[0], true
		}
	}
	return 0, 0, false
}

// DrawnAt is what drawings say of a point: the colour and size of a wire that ends
// there, and the last drawing that has it; nil when none does.
func (c *Case) DrawnAt(p *Point) (colour, gauge string, by *Step) {
	for _, e := range c.elements(c.everything()) {
		if k := c.pointKey(p.Name); c.pointKey(e.GetFrom()) != k && c.pointKey(e.GetTo()) != k {
			continue
		}
		by = e.By
		if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_WIRE {
			colour, gauge = or(colour, e.GetColour()), or(gauge, e.GetGauge())
		}
	}
	return colour, gauge, by
}
