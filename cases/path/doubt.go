package path

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// doubt tells what the drawing lacks.
func (d *drawing) doubt(event *eventv1.CircuitDrawn) {
	var whole, bare sets
	shorted := false
	for _, e := range event.GetElements() {
		whole.join(e.GetFrom(), e.GetTo())
	}
	for _, p := range d.drawn {
		e := p.el.Element
		switch e.GetKind() {
		case load, coil, resistor, diode, supply:
		default:
			bare.join(e.GetFrom(), e.GetTo())
			if !shorted && bare.root(plus) == bare.root(minus) {
				shorted = true
				d.warn(p.mark, "from batt+ to batt- there is no load", "draw what does the work; as drawn it is a short")
			}
		}
	}
	// Two elements may share a terminal, and what feeds it feeds both.
	fed, led := map[string]bool{}, map[string]bool{}
	source := d.plusUsed
	for _, els := range d.byKey {
		for _, el := range els {
			source = source || el.Kind == supply
			if el.fed {
				fed[notation.Key(d.joints.name(el.in()))] = true
			}
			if el.led {
				led[notation.Key(d.joints.name(el.out()))] = true
			}
		}
	}
	main := whole.root(plus)
	if !d.plusUsed && len(d.paths) > 0 {
		main = whole.root(d.anywhere(d.paths[0]))
	}
	islands := map[string]bool{main: true}
	for _, p := range d.paths {
		if at := whole.root(d.anywhere(p)); at != main {
			if !islands[at] {
				islands[at] = true
				d.warn(p.mark, "nothing drawn joins this to the rest", "begin or end it at a splice, pin or other element of another path")
			}
			continue
		}
		for _, u := range ends(p, true) {
			if u.post == "" && u.point == "" && u.kind != supply && !fed[notation.Key(d.joints.name(u.of.in()))] {
				d.warn(u.mark, "nothing feeds "+u.name+" here", "begin the path at batt+, at a supply, or at something another path leads to")
			}
		}
		for _, u := range ends(p, false) {
			if u.post == "" && u.point == "" && u.kind != ground && !led[notation.Key(d.joints.name(u.of.out()))] {
				d.warn(u.mark, "nothing leads on from "+u.name, "end the path at a ground, at batt-, or at something another path leads on from")
			}
			if u.post == plus && !slices.ContainsFunc(event.GetElements(), func(e *eventv1.Element) bool { return e.Kind == supply && e.Component != battery }) {
				d.warn(u.mark, "a path that ends at batt+", "a path runs from plus to minus; only what charges the battery ends there")
			}
		}
	}
	if !source && len(d.paths) > 0 && !slices.ContainsFunc(d.warnings, func(p Problem) bool { return strings.HasPrefix(p.What, "nothing feeds") }) &&
		!slices.ContainsFunc(d.uses, func(u *use) bool { return u.point != "" }) {
		d.warn(d.paths[0].mark, "no source is drawn", "begin a path at batt+, or at a supply")
	}
	if len(event.GetElements()) > 0 {
		d.unknownPoints(event)
	}
	d.alike()
}

// alike tells names that differ in nothing but the word for their kind, as lamp A
// and bulb A.
func (d *drawing) alike() {
	named := map[string]*use{}
	for _, u := range d.uses {
		if u.base == "" || u.of == nil {
			continue
		}
		key := notation.Word(u.kind) + " " + notation.Key(u.base)
		first := named[key]
		if first == nil {
			named[key] = u
		} else if notation.Key(first.name) != notation.Key(u.name) {
			d.warn(u.mark, u.name+" and "+first.name+" in line "+itoa(first.line)+" are two", "write the same word each time if they are one")
		}
	}
}

// ends are the first or last elements of a path.
func ends(p *path, first bool) []*use {
	it := p.items[len(p.items)-1]
	if first {
		it = p.items[0]
	}
	var out []*use
	for _, b := range it.branches {
		switch {
		case b.path != nil:
			out = append(out, ends(b.path, first)...)
		case b.use.kind != wire:
			out = append(out, b.use)
		}
	}
	return out
}

// anywhere is one point of a path.
func (d *drawing) anywhere(p *path) string {
	for _, b := range p.items[0].branches {
		switch {
		case b.path != nil:
			return d.anywhere(b.path)
		case b.use.post == minus:
			return minus
		case b.use.post != "":
			return plus
		case b.use.point != "":
			return d.joints.name(b.use.point)
		case b.use.of != nil:
			return b.use.of.To
		}
	}
	return ""
}

// unknownPoints tells notes of points that are not drawn.
func (d *drawing) unknownPoints(event *eventv1.CircuitDrawn) {
	known := map[string]string{}
	add := func(names ...string) {
		for _, n := range names {
			if key := notation.Key(n); key != "" {
				known[key] = n
			}
		}
	}
	for _, e := range event.GetElements() {
		add(e.GetFrom(), e.GetTo(), e.GetComponent())
	}
	for _, els := range d.byKey {
		for _, el := range els {
			add(el.in(), el.out(), el.Component+" in", el.Component+" out")
			if el.Kind == contact {
				add(el.Component+" harness side", el.Component+" component side")
			}
		}
	}
	keys := make([]string, 0, len(known))
	for k := range known {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, n := range d.notes {
		key := notation.Key(n.seen.Point)
		if _, ok := known[key]; ok {
			continue
		}
		remedy := "draw it, or it stays a point by itself"
		if near := notation.Nearest(key, keys); near != "" {
			remedy = "did you mean " + known[near] + "?"
		}
		d.warn(n.mark, n.seen.Point+" is not drawn", remedy)
	}
}

// sets are points that hang together.
type sets struct{ parent map[string]string }

func (s *sets) root(p string) string {
	key := notation.Key(p)
	for s.parent[key] != "" && s.parent[key] != key {
		key = s.parent[key]
	}
	return key
}

func (s *sets) join(a, b string) {
	if s.parent == nil {
		s.parent = map[string]string{}
	}
	if x, y := s.root(a), s.root(b); x != y {
		s.parent[y] = x
	}
}
