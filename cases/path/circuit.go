package path

import (
	"cmp"
	"slices"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// circuit is what the uses of names come to.
type circuit struct {
	byKey    map[string][]*element
	owner    map[string]*element // of a terminal's point, by key
	battery  *element
	plusUsed bool
	drawn    []piece
	joints   joints
}

// element is one element, wherever it is named.
type element struct {
	*eventv1.Element
	mark
	base      string
	terminals [2]string
	reversed  bool
	// fed: something stands before it in a path; led: something behind it.
	fed, led bool
	shown    bool
}

// in and out are its own points, before joints are looked at.
func (e *element) in() string  { return e.side(0, " in") }
func (e *element) out() string { return e.side(1, " out") }

func (e *element) side(i int, name string) string {
	if e.terminals[i] == "" {
		return e.Component + name
	}
	base := e.base
	if base == "" {
		base = e.Component
	}
	return base + "." + e.terminals[i]
}

// pinned: the names of its points cannot be told from its place in the circuit.
func (e *element) pinned() bool { return e.terminals[0] != "" || e.reversed }

// piece is an element, or a wire between two points.
type piece struct {
	mark
	el       *element
	from, to string
	path     *path
	target   *element // what a wire leads to; nil: a post or point
}

// name makes elements of the uses. First those that say a kind, so that others
// may call them by their name alone.
func (d *drawing) name() {
	d.byKey, d.owner, d.battery = map[string][]*element{}, map[string]*element{}, &element{Element: &eventv1.Element{Component: battery, Kind: supply}}
	pairs := map[string][]*use{}
	for _, u := range d.uses {
		key := notation.Key(u.name)
		if u.terminals[0] != "" && !slices.ContainsFunc(pairs[key], func(o *use) bool { return sameTerminals(o.terminals, u.terminals) }) {
			pairs[key] = append(pairs[key], u)
		}
	}
	for _, u := range d.uses {
		switch {
		case u.post != "":
			if d.battery.line == 0 {
				d.battery.mark = u.mark
			}
			u.of = d.battery
		case u.kind == wire && u.name == "":
			u.of = &element{Element: &eventv1.Element{Kind: wire}, mark: u.mark}
		case u.kind != unsaid && u.side == "":
			d.assign(u, pairs[notation.Key(u.name)])
		}
	}
	for _, u := range d.uses {
		if u.of != nil || u.kind != unsaid || u.side != "" {
			continue
		}
		key := notation.Key(u.name)
		switch owner := d.owner[key]; {
		case len(d.byKey[key]) > 0:
			u.kind = d.byKey[key][0].Kind
			d.assign(u, pairs[key])
		case owner != nil:
			u.point = u.name
		case u.pin:
			u.kind = contact
			d.assign(u, pairs[key])
		default:
			d.stranger(u)
		}
	}
	for _, u := range d.uses {
		switch {
		case u.side != "":
			d.point(u)
		case u.of != nil:
			d.suit(u)
			d.fill(u)
		}
		if (u.side != "" || u.point != "") && (len(u.quantities) > 0 || u.gauge != "" || u.terminals[0] != "" || u.reversed || len(u.closed) > 0) {
			d.refuse(u.mark, "something said of a point", "say it of the element, in its own place: fuse F7 10A")
		}
	}
}

func sameTerminals(a, b [2]string) bool {
	return notation.Key(a[0]) == notation.Key(b[0]) && notation.Key(a[1]) == notation.Key(b[1])
}

// assign finds or makes the element that a use means. pairs are the first uses of
// each pair of terminals that the name has.
func (d *drawing) assign(u *use, pairs []*use) {
	key := notation.Key(u.name)
	terminals := u.terminals
	switch {
	case len(pairs) == 1:
		terminals = pairs[0].terminals
	case len(pairs) > 1 && terminals[0] == "":
		d.refuse(u.mark, u.name+" has two pairs of terminals", "say which: "+u.name+" "+pairs[0].terminals[0]+"/"+pairs[0].terminals[1])
		return
	case len(pairs) > 1 && !slices.Contains(changesOver, u.kind):
		if !sameTerminals(terminals, pairs[0].terminals) {
			d.refuse(u.terminalsMark, u.name+" has other terminals in line "+itoa(pairs[0].line), "name them the same each time")
			return
		}
	}
	for _, el := range d.byKey[key] {
		if el.Kind != u.kind {
			d.refuse(u.mark, u.name+" is "+a(el.Kind)+" in line "+itoa(el.line)+" and "+a(u.kind)+" here", "give one of them another name")
			return
		}
		if sameTerminals(el.terminals, terminals) {
			u.of = el
			return
		}
	}
	el := &element{Element: &eventv1.Element{Component: u.name, Kind: u.kind}, mark: u.mark, base: u.base, terminals: terminals}
	if el.base == "" && len(pairs) > 0 {
		el.base = pairs[0].base
	}
	if terminals[0] != "" {
		for _, p := range []string{el.in(), el.out()} {
			if o := d.owner[notation.Key(p)]; o != nil && notation.Key(o.Component) != key {
				d.refuse(u.mark, p+" is a terminal of "+o.Component+" already, in line "+itoa(o.line), "give it another name or other terminals")
				return
			}
			d.owner[notation.Key(p)] = el
		}
	}
	d.byKey[key] = append(d.byKey[key], el)
	u.of = el
}

// stranger refuses a name without a kind.
func (d *drawing) stranger(u *use) {
	what, key := "'"+u.name+"' says no kind", notation.Key(u.name)
	for _, p := range d.uses {
		if p.base != "" && p.of != nil && notation.Key(p.base) == key {
			d.refuse(u.mark, what, "did you mean "+p.name+"?")
			return
		}
	}
	if kind, typed := kindNear(u.words); kind != "" {
		d.refuse(typed.mark, what, "did you mean "+kind+"? else "+kindsOffered)
		return
	}
	if quotes(u.words) {
		d.refuse(u.mark, what, "put a kind word before it: load "+`"`+u.name+`"`)
		return
	}
	d.refuse(u.mark, what, kindsOffered)
}

// point finds the point that 'X in' or 'X out' is.
func (d *drawing) point(u *use) {
	key := notation.Key(u.name)
	_, post := posts[key]
	switch els := d.byKey[key]; {
	case post:
		d.refuse(u.mark, "a post has no sides", "write batt+ or batt-")
	case len(els) > 1:
		d.refuse(u.mark, u.name+" has two pairs of terminals", "name the terminal: "+els[0].in())
	case len(els) == 1 && els[0].Kind == wire:
		d.refuse(u.mark, "a wire's end is no point of its own", "name what the wire ends at")
	case len(els) == 1 && u.side == "in":
		u.point = els[0].in()
	case len(els) == 1:
		u.point = els[0].out()
	default:
		u.point = u.name + " " + u.side
		all := make([]string, 0, len(d.byKey))
		for k := range d.byKey {
			all = append(all, k)
		}
		slices.Sort(all)
		remedy := "as part of an earlier drawing it joins there"
		if near := notation.Nearest(key, all); near != "" {
			remedy += "; or did you mean " + d.byKey[near][0].Component + " " + u.side + "?"
		}
		d.warn(u.mark, "'"+u.point+"' is a point of nothing drawn here", remedy)
	}
}

// elements puts the pieces together: the battery first, then as drawn.
func (d *drawing) elements() []*eventv1.Element {
	at := d.joints.name
	var out []*eventv1.Element
	if d.plusUsed || d.battery.Emf != nil || d.battery.Resistance != nil {
		b := d.battery.Element
		b.From, b.To = minus, plus
		out = append(out, b)
	}
	wires := map[string]piece{}
	for _, p := range d.drawn {
		e := p.el.Element
		from, to := at(p.from), at(p.to)
		if e.Kind == wire {
			key := notation.Key(from) + "\x00" + notation.Key(to) + "\x00" + notation.Key(e.Component)
			if was, twice := wires[key]; twice {
				d.again(was, p)
				continue
			}
			wires[key] = p
			if both := from + to; both == plus+minus || both == minus+plus {
				d.refuse(p.mark, "a wire from post to post: a dead short", "draw what lies between, with a load that does the work")
			}
			if p.el.shown {
				d.refuse(p.mark, "wire "+e.Component+" lies in two places", "give one of them another name")
			}
			p.el.shown = true
		} else {
			from, to = at(p.el.in()), at(p.el.out())
			switch {
			case e.Kind == ground && !p.el.led:
				to = minus
			case e.Kind == supply && !p.el.fed:
				from = minus
			case p.el.reversed:
				from, to = to, from
			}
		}
		if notation.Key(from) == notation.Key(to) {
			d.refuse(p.mark, "both ends at "+from, "it lies between two points")
		}
		e.From, e.To = from, to
		if len(from) > maxName || len(to) > maxName || len(e.Component) > maxName {
			d.refuse(p.mark, "a name longer than 180 bytes", "shorten it")
		}
		out = append(out, e)
	}
	return out
}

// again takes a wire that was drawn before between the same points.
func (d *drawing) again(was, now piece) {
	if was.path == now.path && was.target == now.target {
		d.refuse(now.mark, "two wires between the same points cannot be told apart", "name them: > wire W1 >; or draw a contact in each")
		return
	}
	a, b := was.el.Element, now.el.Element
	merged := proto.Clone(a).(*eventv1.Element)
	proto.Merge(merged, b)
	// What both say must be the same, whatever either leaves open.
	other := proto.Clone(b).(*eventv1.Element)
	proto.Merge(other, a)
	other.From, other.To, merged.From, merged.To = "", "", "", ""
	if !proto.Equal(merged, other) {
		d.refuse(now.mark, "this wire is drawn otherwise in line "+itoa(was.line), "say it once, or the same each time")
		return
	}
	merged.From, merged.To = a.From, a.To
	proto.Reset(a)
	proto.Merge(a, merged)
}

// joints are points that are one, because a pin is a part's own.
type joints struct {
	parent map[string]string
	rank   map[string]int
	best   map[string]string
}

// rank of a point's name when it shares its point with others.
const (
	rankTerminal = iota
	rankContact
	rankOther
)

func (j *joints) root(p string) string {
	for j.parent[p] != "" && j.parent[p] != p {
		p = j.parent[p]
	}
	return p
}

// join makes two points one; false when both have names that must be kept.
func (j *joints) join(a string, rankA int, b string, rankB int) bool {
	if j.parent == nil {
		j.parent, j.rank, j.best = map[string]string{}, map[string]int{}, map[string]string{}
	}
	for _, p := range []struct {
		name string
		rank int
	}{{a, rankA}, {b, rankB}} {
		key := notation.Key(p.name)
		if _, known := j.parent[key]; !known {
			j.parent[key], j.rank[key], j.best[key] = key, p.rank, p.name
		}
	}
	x, y := j.root(notation.Key(a)), j.root(notation.Key(b))
	if x == y {
		return true
	}
	if j.rank[x] == rankTerminal && j.rank[y] == rankTerminal {
		return false
	}
	if cmp.Or(cmp.Compare(j.rank[y], j.rank[x]), cmp.Compare(notation.Key(j.best[y]), notation.Key(j.best[x]))) < 0 {
		j.rank[x], j.best[x] = j.rank[y], j.best[y]
	}
	j.parent[y] = x
	return true
}

// name is the one name of a point.
func (j *joints) name(p string) string {
	if best := j.best[j.root(notation.Key(p))]; best != "" {
		return best
	}
	return p
}
