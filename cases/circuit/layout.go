package circuit

import (
	"encoding/binary"
	"math"
	"slices"
)

// layout says what lies between which nodes, slot by slot: each stretch, or what a
// short or two faults in it cut it into, what bridges the circuit, the instrument, and
// in a draw what leaks where the leads are.
type layout struct {
	n      int
	bounds bool
	ends   [][2]int32
	first  [maxCuts]int // of each cut stretch the slots behind the first
	bridge int
	lead   int // the instrument, or all that it may be
	leak   int
	sense  int      // the node between a sensed stretch and what senses it
	shapes []*shape // each from other leads
}

type layoutKey struct {
	bounds, far bool
	lead        [2]int16 // nodes of the instrument
	sensed      int16
	cuts        [maxCuts]cut
}

// lay is the layout under what is assumed.
func (m *model) lay(x *assumed) *layout {
	key := layoutKey{bounds: x.bounds, lead: [2]int16{-1, -1}, sensed: int16(x.sensed), far: x.far, cuts: x.cuts()}
	if x.lead.Ohms.Hi > 0 {
		key.lead = [2]int16{int16(x.lead.A), int16(x.lead.B)}
	}
	if m.layouts == nil {
		m.layouts = m.alike()
	}
	l := m.layouts[key]
	if l == nil {
		l = m.newLayout(x, key)
		m.layouts[key] = l
	}
	return l
}

// maxAlike bounds how many models the layouts are kept of.
const maxAlike = 2000

// alike are the layouts of models in which the same lies between the same nodes: they go
// neither by how it stands nor by what it conducts.
func (m *model) alike() map[layoutKey]*layout {
	var key []byte
	put := func(n int) { key = binary.AppendVarint(key, int64(n)) }
	put(m.n)
	for s := range m.stretches {
		put(m.stretches[s].a)
		put(m.stretches[s].b)
	}
	for _, all := range [2][]Bridge{m.bridges, m.leads} {
		put(-1)
		for _, b := range all {
			put(b.A)
			put(b.B)
		}
	}
	if m.c.layouts == nil || len(m.c.layouts) > maxAlike {
		m.c.layouts = map[string]map[layoutKey]*layout{}
	}
	out := m.c.layouts[string(key)]
	if out == nil {
		out = map[layoutKey]*layout{}
		m.c.layouts[string(key)] = out
	}
	return out
}

func (m *model) newLayout(x *assumed, key layoutKey) *layout {
	l := &layout{n: m.n, bounds: x.bounds}
	l.ends = make([][2]int32, 0, len(m.stretches)+len(m.bridges)+len(m.leads)+16)
	put := func(a, b int) { l.ends = append(l.ends, [2]int32{int32(a), int32(b)}) }
	node := func() int {
		l.n++
		return l.n - 1
	}
	for s := range m.stretches {
		put(m.stretches[s].a, m.stretches[s].b)
	}
	if s := x.sensed - 1; s >= 0 {
		l.sense = node()
		end := 0
		if x.far {
			end = 1
		}
		l.ends[s][end] = int32(l.sense)
	}
	var joins [maxFaults]int // the nodes at which faults join two stretches
	for i, c := range key.cuts {
		if c.stretch == 0 {
			break
		}
		l.first[i] = len(l.ends)
		mid, end := node(), int(l.ends[c.stretch-1][1])
		l.ends[c.stretch-1][1] = int32(mid)
		for k := range int(c.shorts) {
			if k > 0 { // they may lie apart
				next := node()
				put(mid, next)
				mid = next
			}
			to := int(c.to[k])
			if to < 0 {
				join := &joins[-1-to]
				if *join == 0 {
					*join = node()
				}
				to = *join
			}
			put(mid, to)
		}
		put(mid, end)
	}
	l.bridge = len(l.ends)
	for _, b := range m.bridges {
		put(b.A, b.B)
	}
	l.lead = len(l.ends)
	switch {
	case x.lead.Ohms.Hi > 0:
		put(x.lead.A, x.lead.B)
	case x.bounds:
		for _, b := range m.leads {
			put(b.A, b.B)
		}
	}
	l.leak = len(l.ends)
	if !x.bounds && x.lead.Ohms.Hi > 0 { // in a draw what floats leaks once, at the leads
		for _, k := range [2]int{x.lead.A, x.lead.B} {
			put(k, plus)
			put(k, minus)
		}
	}
	if s := x.sensed - 1; s >= 0 {
		if x.far {
			put(l.sense, m.stretches[s].b)
		} else {
			put(m.stretches[s].a, l.sense)
		}
	}
	return l
}

// shape as seen from the leads.
func (m *model) shape(l *layout, red, black int) *shape {
	for _, s := range l.shapes {
		if s.red == red && s.black == black {
			return s
		}
	}
	s := m.c.taker.takeApart(l.n, l.ends, red, black, l.bounds)
	l.shapes = append(l.shapes, s)
	return s
}

// resting are the conductances of the stretches with nothing wrong.
func (m *model) resting(x *assumed) []Span {
	if !x.bounds {
		return m.usually(x).siemens
	}
	if m.rest == nil {
		m.rest = make([]Span, len(m.stretches))
		for s := range m.stretches {
			m.rest[s] = x.loose(m.stretches[s].ohms.conductance(), m.stands(&assumed{bounds: true}, s))
		}
	}
	return m.rest
}

// loose is the conductance of a contact in a position.
func (x *assumed) loose(g Span, p Position) Span {
	switch p {
	case Open, Gone:
		return Span{}
	case Either:
		if x.bounds {
			return Span{0, g.Hi}
		}
		return x.some(Span{0, g.Hi})
	}
	return g
}

// fill puts into the slots of the layout what they conduct.
func (m *model) fill(x *assumed, l *layout, g []Span) {
	copy(g, m.resting(x))
	if x.loads != nil {
		for k, s := range m.loads {
			g[s] = x.loose(x.loads[k].conductance(), m.stretches[s].position)
		}
	}
	for n := range x.gates {
		m.put(x, l, g, m.gated[n])
	}
	for _, f := range x.faults {
		m.put(x, l, g, f.stretch)
		if f.does == toOther {
			m.put(x, l, g, f.touches)
			for _, fuse := range m.blownBy(x, &f) {
				m.put(x, l, g, fuse)
			}
		}
		if f.does == toMinus || f.does == instead {
			for _, fuse := range m.fuses[f.stretch] {
				m.put(x, l, g, fuse)
			}
		}
		if x.bounds {
			for s := range m.stretches {
				if k := m.stretches[s].kind; (k == Fuse || k == Breaker) && m.reroutes(x, &f, s) {
					m.put(x, l, g, s)
				}
			}
		}
	}
	for k, b := range m.bridges {
		ohms := x.some(b.Ohms)
		if x.bulbs != nil && b.Usual > 0 {
			ohms = Exactly(x.bulbs[k])
		} else if !x.bounds && b.Usual > 0 {
			ohms = Exactly(b.Usual)
		}
		g[l.bridge+k] = ohms.conductance()
	}
	switch {
	case x.lead.Ohms.Hi > 0:
		g[l.lead] = x.some(x.lead.Ohms).conductance()
	case x.bounds:
		for k, b := range m.leads {
			g[l.lead+k] = b.Ohms.conductance()
		}
	}
	at := l.leak
	if !x.bounds && x.lead.Ohms.Hi > 0 {
		leakPlus, leakMinus := x.leaky(Leak)
		g[at], g[at+1], g[at+2], g[at+3] = leakPlus, leakMinus, leakPlus, leakMinus
		at += 4
	}
	if x.sensed > 0 {
		g[at] = Exactly(1 / senseOhms)
	}
}

// put fills in one stretch with what is wrong with it.
func (m *model) put(x *assumed, l *layout, g []Span, s int) {
	st := &m.stretches[s]
	position, ohms := m.stands(x, s), st.ohms
	if !x.bounds {
		ohms = m.usually(x).ohms[s]
	}
	if k := m.load[s]; k >= 0 && x.loads != nil {
		ohms = x.loads[k]
	}
	if x.gates != nil {
		if n := slices.Index(m.gated, s); n >= 0 {
			ohms, position = x.gates[n].ohms, x.gates[n].position
		}
	}
	var near, far Span // series faults on either side of a short
	var shorts [maxFaults]Span
	n, both, passed := 0, false, false
	for i, f := range x.faults {
		if !f.at(s) {
			position = m.struck(x, s, i, position)
			continue
		}
		v := x.size(i, f.ohms)
		switch f.does {
		case series:
			if (i == 0) == x.before {
				near = near.Plus(v)
			} else {
				far = far.Plus(v)
			}
			both = near.Hi > 0 && far.Hi > 0
		case instead:
			ohms = v
		case toMinus, toPlus:
			shorts[n] = v
			n++
		case toOther:
			if f.passes() {
				passed = x.bounds
				continue
			}
			if m.stretches[f.stretch].position == Gone || m.stretches[f.touches].position == Gone {
				// A plug that is off holds its pins apart, but what they blew stays blown.
				if v.Hi = math.Inf(1); !x.bounds {
					v.Lo = v.Hi
				}
			}
			if f.touches == s { // the ohms are at its other end
				v = Span{}
			} else {
				v.Lo = max(v.Lo-5/most, 0) // what that end has, and pieces of no length, at least
			}
			shorts[n] = v
			n++
		case stuck:
			position = Closed // only contacts and outputs stick, and unplugged they are not here
		}
	}
	if passed {
		// Any of it may be passed by; and where something leads away in between, a delta of
		// pieces is to the rest a star whose arms are none of them longer.
		for k := range n {
			shorts[k].Hi += ohms.Hi
		}
		ohms.Lo, near.Lo, far.Lo = 0, 0, 0
	}
	if n == 0 && (!both || !x.bounds) {
		g[s] = x.loose(ohms.Plus(near).Plus(far).conductance(), position)
		return
	}
	at := 0
	for i, c := range x.cuts() {
		if int(c.stretch) == s+1 {
			at = l.first[i]
		}
	}
	if n == 0 {
		g[s], g[at] = x.loose(ohms.Plus(near).conductance(), position), x.loose(far.conductance(), position)
		return
	}
	if position == Gone && st.kind == Contact && x.bounds {
		position = Either // which half of the plug has the short, nobody knows
	}
	half, rest := ohms.Times(0.5), ohms.Times(0.5)
	for _, f := range x.faults {
		if f.stretch == s && f.along > 0 {
			half, rest = ohms.Times(f.along), ohms.Times(1-f.along)
		}
	}
	apart := Span{}
	if x.bounds { // nobody knows where
		half = Span{0, ohms.Hi}
		rest, apart = half, half
	}
	if n == 2 && x.swapped(s) {
		shorts[0], shorts[1] = shorts[1], shorts[0]
	}
	g[s] = x.loose(half.Plus(near).conductance(), position)
	for k := range n {
		if k > 0 {
			g[at] = apart.conductance()
			at++
		}
		g[at] = shorts[k].conductance()
		at++
	}
	g[at] = x.loose(rest.Plus(far).conductance(), position)
}

// mesh is the network of a layout with what everything leaks, for bounds that hold
// where something floats.
func (m *model) mesh(x *assumed, l *layout) *network {
	g := m.spans(len(l.ends))
	m.fill(x, l, g)
	w := m.c.scratch[0].emptied(l.n)
	m.c.scratch[0] = w
	for i, e := range l.ends {
		w.join(int(e[0]), int(e[1]), g[i])
	}
	leak := Leak
	if x.bounds {
		leak.Hi = math.Inf(1) // all of it may leak somewhere else
	}
	leakPlus, leakMinus := x.leaky(leak)
	for k := plus + 1; k < l.n; k++ {
		if x.bounds || x.lead.Ohms.Hi <= 0 && (k == x.lead.A || k == x.lead.B) {
			w.join(k, plus, leakPlus)
			w.join(k, minus, leakMinus)
		}
	}
	// An ohmmeter may see it, by way of all that floats beside the model too.
	w.join(plus, minus, leakPlus.Times(float64(len(m.c.Points))))
	return w
}

// spans is room for the slots.
func (m *model) spans(n int) []Span {
	if len(m.room) < n {
		m.room = make([]Span, 2*n)
	}
	return m.room[:n]
}

// floats is room for the slots.
func (m *model) floats(n int) []float64 {
	if len(m.known) < n {
		m.known = make([]float64, 2*n)
	}
	return m.known[:n]
}
