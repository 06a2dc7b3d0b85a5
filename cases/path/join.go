package path

import (
	"slices"
	"strings"
	"unicode"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// port is where the next item is joined.
type port struct {
	mark
	point string
	el    *element // nil for posts and points
	// wire describes the wire to the next item.
	wire *use
	// alone: nothing is before it.
	alone bool
	// last: why nothing may come behind it, and the remedy; empty: something may.
	last, remedy string
}

// join walks the paths and joins what stands side by side.
func (d *drawing) join() {
	for _, p := range d.paths {
		w := &walker{drawing: d, top: p, seen: map[*element]int{}}
		ends := w.path(p, nil)
		for _, end := range ends {
			switch {
			case end.wire != nil:
				d.refuse(end.wire.mark, "a wire with nothing behind it", "name what it ends at, as a splice or a pin")
			case end.alone && len(ends) == 1:
				d.refuse(p.mark, "a path of one item", "a path joins two at least: batt+ > fuse F7 10A")
			case end.alone:
				d.refuse(end.mark, "joined to nothing", "a path joins two at least: batt+ > fuse F7 10A")
			}
		}
		for el, n := range w.seen {
			if n > 1 && el.Kind == ground && el.led {
				d.refuse(p.mark, el.Component+" ends branches of this path and leads on", "draw what is behind it in a line of its own")
			}
		}
	}
}

// walker follows one line.
type walker struct {
	*drawing
	top  *path
	seen map[*element]int
}

// path joins the items of a path to the ports before it and gives those at its
// end.
func (w *walker) path(p *path, cur []port) []port {
	for _, it := range p.items {
		if len(it.branches) > 1 {
			switch {
			case len(cur) > 1:
				w.refuse(it.mark, "branches right behind branches", "put what joins them between, as a splice: A; B > splice S1 > C; D")
				cur = cur[:1]
			case len(cur) == 1 && cur[0].wire != nil:
				w.refuse(cur[0].wire.mark, "one wire before several branches", "put a splice behind it, or describe a wire in each branch: (2 m brown > lamp A)")
				cur = []port{{mark: cur[0].mark, point: cur[0].point, el: cur[0].el}}
			}
		}
		var next []port
		for _, b := range it.branches {
			if b.path != nil {
				next = append(next, w.path(b.path, cur)...)
			} else {
				next = append(next, w.use(b.use, cur)...)
			}
		}
		cur = next
	}
	return cur
}

// use joins one element to the ports before it.
func (w *walker) use(u *use, cur []port) []port {
	if u.kind == wire {
		switch {
		case len(cur) == 0:
			w.refuse(u.mark, "a wire with nothing before it", "name what it begins at, as batt+ or a splice")
			return nil
		case len(cur) > 1:
			w.refuse(u.mark, "one wire behind several branches", "put a splice before it, or describe a wire in each branch: (lamp A > 2 m brown)")
			return cur[:1]
		case cur[0].wire != nil:
			w.refuse(u.mark, "two wires with nothing between", "draw what joins them, as a splice, or describe them as one")
			return cur
		}
		return []port{{mark: cur[0].mark, point: cur[0].point, el: cur[0].el, wire: u, last: cur[0].last, remedy: cur[0].remedy}}
	}
	to := port{mark: u.mark, el: u.of, alone: len(cur) == 0}
	post := u.post
	if post == battery {
		post = plus
		if len(cur) > 0 {
			post = minus
		}
	}
	switch {
	case post == plus:
		w.plusUsed = true
		to.point, to.el = plus, nil
		if len(cur) > 0 {
			to.last, to.remedy = "batt+ within a path", "a path begins at batt+; begin a line there"
		}
	case post == minus:
		to.point, to.el = minus, nil
		to.last, to.remedy = "something behind batt-", "a path runs from plus to minus and ends at batt-"
		if len(cur) == 0 {
			w.refuse(u.mark, "batt- begins a path", "a path runs from plus to minus, as current flows: lamp A > batt-")
		}
	case u.point != "":
		to.point = u.point
		if len(cur) > 0 {
			to.last, to.remedy = "a point within a path", "a path begins or ends at a point; here name the element it belongs to"
		}
	default:
		w.seen[u.of]++
		if w.seen[u.of] > 1 && u.kind != ground {
			w.refuse(u.mark, u.of.Component+" is twice in this path", "draw the branch in a line of its own that begins or ends at it")
		}
		to.point = u.of.in()
		u.of.fed = u.of.fed || len(cur) > 0
	}
	for _, c := range cur {
		w.connect(c, to, u)
	}
	if to.el != nil {
		if !u.of.shown {
			u.of.shown = true
			w.drawn = append(w.drawn, piece{mark: u.of.mark, el: u.of, path: w.top})
		}
		to.point = u.of.out()
	}
	return []port{to}
}

func (w *walker) connect(from, to port, u *use) {
	if from.last != "" {
		w.refuse(u.mark, from.last, from.remedy)
		return
	}
	if from.el != nil {
		from.el.led = true
	}
	if from.wire == nil && from.el != nil && to.el != nil && ownPin(from.el.Element, to.el.Element) && w.joints.join(from.point, from.el.rank(), to.point, to.el.rank()) {
		return
	}
	el := &element{Element: &eventv1.Element{Kind: wire}}
	at := from.to(to.mark)
	if from.line != to.line || from.col > to.col {
		at = to.mark
	}
	if from.wire != nil {
		el, at = from.wire.of, from.wire.mark
	}
	w.drawn = append(w.drawn, piece{mark: at, el: el, from: from.point, to: to.point, path: w.top, target: to.el})
}

// ownPin: one is a contact, the other a part that has pins of its own, and the
// contact is one of them. Its name says so: 'fan.C1-2' of the fan motor, and not of
// the relay before it; or it is the pin next to what does the work, and no connector
// in the loom ('inline 7').
func ownPin(a, b *eventv1.Element) bool {
	if b.GetKind() == contact {
		a, b = b, a
	}
	if a.GetKind() != contact || !slices.Contains(hasPin, b.GetKind()) {
		return false
	}
	if looksLikePin(a.GetComponent()) && slices.Contains(endsPath, b.GetKind()) {
		return true
	}
	of := nameWords(b.GetComponent())
	return slices.ContainsFunc(nameWords(a.GetComponent()), func(w string) bool { return slices.Contains(of, w) })
}

// nameWords are the words of a name by which a part and its pins are told.
func nameWords(name string) []string {
	words := strings.FieldsFunc(notation.Key(name), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
	return slices.DeleteFunc(words, func(w string) bool { return len(w) < 2 || kinds[w] == contact })
}

func (e *element) rank() int {
	switch {
	case e.pinned():
		return rankTerminal
	case e.Kind == contact:
		return rankContact
	}
	return rankOther
}
