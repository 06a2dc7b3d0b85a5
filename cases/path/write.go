package path

import (
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Write writes a drawing as lines that Read reads to the same elements and
// points; in what order the elements stand may differ. Branches are lines of
// their own. Elements that no line can say, as one without a kind, are left out.
func Write(c *eventv1.CircuitDrawn) string {
	w := &writer{uses: map[*place]int{}}
	w.places(c.GetElements())
	w.edges(c.GetElements())
	w.chains()
	for _, p := range c.GetPoints() {
		w.lines = append(w.lines, pointLine(p))
	}
	return strings.Join(w.lines, "\n")
}

// writer takes a circuit apart into chains.
type writer struct {
	all   []*place
	links []*link
	uses  map[*place]int
	lines []string
}

// place is an item: an element, a post or a point.
type place struct {
	text, more string // more is said once
	in, out    string // keys of its points; empty: none
	el         *eventv1.Element
}

// link is what lies between two items.
type link struct {
	from, to *place
	wire     string
	used     bool
}

func (w *writer) places(elements []*eventv1.Element) {
	w.all = []*place{{text: minus, in: minus}, {text: plus, out: plus}}
	terminals := map[string]int{}
	for _, e := range elements {
		if t := terminalsOf(e); t != "" {
			terminals[notation.Key(e.GetComponent())]++
		}
	}
	for _, e := range elements {
		p := &place{el: e, in: notation.Key(e.GetFrom()), out: notation.Key(e.GetTo())}
		switch {
		case e.GetKind() == wire || e.GetKind() == unsaid:
			continue
		case e.GetKind() == supply && e.GetComponent() == battery && e.GetTo() == plus:
			w.all[1].more = said(e)
			continue
		case e.GetKind() == supply && p.in == minus:
			p.in = ""
		case e.GetKind() == ground && p.out == minus:
			p.out = ""
		}
		p.text, p.more = nameLine(e), said(e)
		if isReversed(e) {
			p.in, p.out = p.out, p.in
			p.more = join(p.more, "reversed")
		}
		if t := terminalsOf(e); t != "" {
			if terminals[notation.Key(e.GetComponent())] > 1 {
				p.text += " " + t
			} else {
				p.more = join(t, p.more)
			}
		}
		if len(e.GetClosedWhen()) > 0 {
			p.more = join(p.more, "when "+conditions(e.GetClosedWhen()))
		}
		w.all = append(w.all, p)
	}
}

// edges finds the wires, and the pins that share a point with their part.
func (w *writer) edges(elements []*eventv1.Element) {
	ins, outs := map[string][]*place{}, map[string][]*place{}
	for _, p := range w.all {
		if p.in != "" {
			ins[p.in] = append(ins[p.in], p)
		}
		if p.out != "" {
			outs[p.out] = append(outs[p.out], p)
		}
	}
	end := func(among map[string][]*place, point string) *place {
		if found := among[notation.Key(point)]; len(found) > 0 {
			return found[0]
		}
		return &place{text: pointName(point)}
	}
	for _, e := range elements {
		if e.GetKind() == wire {
			l := &link{from: end(outs, e.GetFrom()), to: end(ins, e.GetTo()), wire: wireLine(e)}
			if l.from == l.to { // from its end to its beginning
				l.to = &place{text: pointName(e.GetTo())}
			}
			if l.wire == "" && l.from.el != nil && l.to.el != nil && ownPin(l.from.el, l.to.el) {
				l.wire = "wire"
			}
			w.links = append(w.links, l)
		}
	}
	linked := map[*place]bool{}
	for _, l := range w.links {
		linked[l.from], linked[l.to] = true, true
	}
	for _, from := range w.all {
		for _, to := range ins[from.out] {
			if from.el != nil && to.el != nil && ownPin(from.el, to.el) {
				w.links = append(w.links, &link{from: from, to: to})
				linked[from], linked[to] = true, true
			}
		}
	}
	// Of two elements at one terminal the wire names one; it is drawn again for the
	// other.
	for _, p := range w.all {
		for _, e := range elements {
			if p.el == nil || linked[p] || e.GetKind() != wire {
				continue
			}
			switch {
			case p.in != "" && notation.Key(e.GetTo()) == p.in:
				w.links, linked[p] = append(w.links, &link{from: end(outs, e.GetFrom()), to: p, wire: wireLine(e)}), true
			case p.out != "" && notation.Key(e.GetFrom()) == p.out:
				w.links, linked[p] = append(w.links, &link{from: p, to: end(ins, e.GetTo()), wire: wireLine(e)}), true
			}
		}
	}
}

// chains follows the links from their beginnings, none twice.
func (w *writer) chains() {
	next := map[*place][]*link{}
	waiting := map[*place]int{} // links to a place that are not written yet
	for _, l := range w.links {
		next[l.from] = append(next[l.from], l)
		waiting[l.to]++
	}
	begin := func(l *link) {
		line, seen := []string{w.mention(l.from)}, map[*place]bool{l.from: true}
		for l != nil {
			l.used = true
			waiting[l.to]--
			seen[l.to] = true
			if l.wire != "" {
				line = append(line, l.wire)
			}
			line = append(line, w.mention(l.to))
			i := slices.IndexFunc(next[l.to], func(n *link) bool { return !n.used && !seen[n.to] })
			if i < 0 {
				break
			}
			l = next[l.to][i]
		}
		w.lines = append(w.lines, strings.Join(line, " > "))
	}
	for _, headsOnly := range []bool{true, false} {
		for _, l := range w.links {
			if !l.used && (!headsOnly || waiting[l.from] == 0) {
				begin(l)
			}
		}
	}
}

// mention is what an item is called, with what is known of it the first time.
func (w *writer) mention(p *place) string {
	w.uses[p]++
	if w.uses[p] > 1 {
		return p.text
	}
	return join(p.text, p.more)
}

func join(parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), " ")
}

// said are the sizes of an element as they are typed.
func said(e *eventv1.Element) string {
	var out []string
	for _, q := range []*eventv1.Quantity{e.GetRating(), e.GetResistance(), e.GetPower(), e.GetCurrent(), e.GetEmf(), e.GetLength()} {
		switch {
		case q == nil:
		case q.GetSaid() != "":
			out = append(out, q.GetSaid())
		default:
			out = append(out, notation.Format(q))
		}
	}
	if e.GetKind() == wire {
		out = append(out, e.GetGauge(), e.GetColour())
	}
	return join(out...)
}

func wireLine(e *eventv1.Element) string {
	if e.GetComponent() == "" {
		return said(e)
	}
	return join(nameLine(e), said(e))
}

func isReversed(e *eventv1.Element) bool {
	return e.GetKind() == diode && e.GetFrom() == e.GetComponent()+" out" && e.GetTo() == e.GetComponent()+" in"
}

// terminalsOf is '30/87' of an element between two terminals of its own.
func terminalsOf(e *eventv1.Element) string {
	ofFrom, from, a := strings.Cut(lastDot(e.GetFrom()), "\x00")
	ofTo, to, b := strings.Cut(lastDot(e.GetTo()), "\x00")
	if !a || !b || ofFrom != ofTo || !termName.MatchString(from) || !termName.MatchString(to) || slices.Contains(noTerminals, e.GetKind()) ||
		!strings.HasSuffix(notation.Key(e.GetComponent()), notation.Key(ofFrom)) {
		return ""
	}
	return from + "/" + to
}

func lastDot(s string) string {
	if i := strings.LastIndexByte(s, '.'); i >= 0 {
		return s[:i] + "\x00" + s[i+1:]
	}
	return s
}

// nameLine writes name and kind so that both are read back.
func nameLine(e *eventv1.Element) string {
	name := e.GetComponent()
	first, rest, _ := strings.Cut(name, " ")
	lastWord := name[strings.LastIndexByte(name, ' ')+1:]
	of := generic[e.GetKind()]
	tries := []string{name, join(of, name)}
	if kinds[strings.ToLower(first)] == e.GetKind() && rest != "" {
		tries = append(tries, first+` "`+rest+`"`)
	}
	if kinds[strings.ToLower(lastWord)] == e.GetKind() {
		tries = append(tries, lastWord+" "+name)
	}
	if of != "" {
		tries = append(tries, of+` "`+name+`"`)
	}
	tries = append(tries, quotedBut(name, e.GetKind()))
	for _, t := range tries {
		if reads(t, e.GetKind(), name) {
			return t
		}
	}
	return tries[0]
}

// quotedBut quotes each word that does not say the kind.
func quotedBut(name string, kind eventv1.ElementKind) string {
	words := strings.Fields(name)
	for i, w := range words {
		if kinds[strings.ToLower(w)] != kind {
			words[i] = `"` + w + `"`
		}
	}
	return strings.Join(words, " ")
}

// reads reports whether the text is read as a single element of that kind and
// name.
func reads(text string, kind eventv1.ElementKind, name string) bool {
	d := &drawing{}
	d.read(text)
	d.name()
	return len(d.problems) == 0 && len(d.uses) == 1 && d.uses[0].of != nil && d.uses[0].kind == kind && d.uses[0].post == "" &&
		d.uses[0].name == name && len(d.uses[0].quantities) == 0 && d.uses[0].gauge == "" && d.uses[0].colour == ""
}

// pointName writes a point so that it is read as one.
func pointName(point string) string {
	if name, side, ok := cutSide(point); ok && strings.ContainsAny(name, `>;()`) || ok && !readsPoint(point) {
		return `"` + name + `" ` + side
	}
	return point
}

func cutSide(point string) (name, side string, ok bool) {
	i := strings.LastIndexByte(point, ' ')
	if i < 0 {
		return "", "", false
	}
	name, side = point[:i], point[i+1:]
	return name, side, side == "in" || side == "out"
}

func readsPoint(text string) bool {
	d := &drawing{}
	d.read(text)
	return len(d.problems) == 0 && len(d.uses) == 1 && d.uses[0].side != "" && len(d.uses[0].quantities) == 0
}

func pointLine(p *eventv1.PointSeen) string {
	parts := []string{p.GetColour(), "", p.GetWhere(), netWords[p.GetNet()]}
	if p.GetPin() != "" {
		parts[1] = "pin " + p.GetPin()
	}
	name := p.GetPoint()
	if strings.ContainsAny(name, `>;():`) {
		name = `"` + name + `"`
	}
	return "point " + name + ": " + strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), ", ")
}
