package circuit

import "slices"

// blows is how many times its rating a fuse does not hold for a minute (ISO 8820-3,
// from memory: 1.1 times for a hundred hours, 1.35 times for up to ten minutes, 1.6
// times for 50 seconds at most).
const blows = 1.6

// usualRating is that of a fuse of which nobody knows it, in a draw. Assumed: the
// commonest.
const usualRating = 15

// struck is the position of a stretch with what a fault elsewhere does to it, if it is
// a fuse.
func (m *model) struck(x *assumed, s, i int, p Position) Position {
	st, f := &m.stretches[s], &x.faults[i]
	if p != Closed || st.kind != Fuse && st.kind != Breaker {
		return p
	}
	switch {
	case f.does == toOther && !x.bounds:
		if contains(m.blownBy(x, f), s) {
			return Open
		}
	case f.does == toOther && x.held == s+1:
	case f.does == toOther && x.holds[s] == Open:
		return Open
	case m.reroutes(x, f, s) && !m.spared(x, s):
		return Either
	case (f.does == toMinus || f.does == instead) && x.held != s+1 && contains(m.fuses[f.stretch], s):
		return m.blown(x, s, *f, x.size(i, f.ohms))
	}
	return p
}

// blown says how a fuse stands below which a fault draws current through so many ohms. In
// a draw it is open when it would blow, and before the others in its way: a slow fuse holds
// a while, and what has gone on for a while is long over. For bounds it is open only when
// so much must flow; else nobody knows, since a short may come and go.
func (m *model) blown(x *assumed, fuse int, f done, ohms Span) Position {
	switch {
	case x.bounds && x.holds[fuse] == Open:
		return Open
	case x.bounds:
		return Either
	}
	f.ohms = ohms
	if contains(m.blownBy(x, &f), fuse) {
		return Open
	}
	return Closed
}

// blownFuses finds which fuses cannot have held under the faults: with the fuse
// whole, more than it holds must flow. A voltmeter changes nothing of that, so that the
// readings in one state share it.
func (m *model) blownFuses(x *assumed) map[int]Position {
	if !slices.ContainsFunc(x.faults, func(f done) bool { return f.does == toMinus || f.does == instead || f.does == toOther }) {
		return nil
	}
	in := m
	if m.base != nil {
		in = m.base
	}
	var key [maxFaults]done
	for i, f := range x.faults {
		key[i] = m.moved(f, in)
	}
	if in != m && len(x.faults) == 2 {
		m.order(x.faults, in, key[:2])
	}
	blown, ok := in.blew[key]
	if !ok {
		y := *x
		y.faults, y.loads, y.gates, y.sensed = nil, nil, nil, 0
		y.faults = append(y.faults, key[:len(x.faults)]...)
		blown = in.blow(&y)
		in.blew[key] = blown
	}
	if in == m || blown == nil {
		return blown
	}
	out := map[int]Position{}
	for s, p := range blown {
		out[m.of[in.stretches[s].elements[0]]] = p
	}
	return out
}

// moved is the fault as another model of the same state has it.
func (m *model) moved(f done, to *model) done {
	if f.stretch >= 0 {
		f.stretch = to.of[m.stretches[f.stretch].elements[0]]
	}
	if f.does == toOther {
		touches := to.of[m.stretches[f.touches].elements[0]]
		f.stretch, f.touches = min(f.stretch, touches), max(f.stretch, touches)
	}
	return f
}

// order puts two faults that lie in one stretch of another model in their order there, as far
// as it is known here: there stretches are longer, and may run the other way.
func (m *model) order(faults []done, to *model, moved []done) {
	f, g := &faults[0], &faults[1]
	moved[0].place, moved[1].place = 0, 0
	if moved[0].stretch != moved[1].stretch || f.does == toOther || g.does == toOther {
		return
	}
	all := to.stretches[moved[0].stretch].elements
	at := func(k int) int { return slices.Index(all, k) }
	first := at(m.stretches[f.stretch].elements[0]) < at(m.stretches[g.stretch].elements[0])
	if own := m.stretches[f.stretch].elements; f.stretch == g.stretch {
		if f.place == 0 || g.place == 0 {
			return
		}
		first = (f.place < g.place) == (at(own[0]) <= at(own[len(own)-1]))
	}
	if !first {
		moved[0], moved[1] = moved[1], moved[0]
	}
	moved[0].place, moved[1].place = 1, 2
}

// blow works blownFuses out.
func (m *model) blow(x *assumed) map[int]Position {
	var out map[int]Position
	for _, f := range x.faults {
		if f.does != toMinus && f.does != instead && f.does != toOther {
			continue
		}
		fuses := m.fuses[f.stretch]
		if f.does == toOther {
			fuses = append(slices.Clone(fuses), m.fuses[f.touches]...)
		}
		for _, fuse := range fuses {
			rating := m.c.Elements[m.stretches[fuse].elements[0]].Rating
			if rating <= 0 || out[fuse] == Open {
				continue
			}
			y := *x
			y.held, y.sensed, y.far, y.lead = fuse+1, fuse+1, false, Bridge{}
			y.holds, y.gates = nil, make([]gate, len(m.gated))
			for n, s := range m.gated { // how they stand is not known yet
				y.gates[n] = gate{position: Either, ohms: Usual(m.stretches[s].kind, 0)}
			}
			y.before = true
			least := m.through(&y, m.setup.Posts).Lo
			if y.before = false; unordered(y.faults) {
				least = min(least, m.through(&y, m.setup.Posts).Lo)
			}
			if least > blows*rating+1e-4 {
				if out == nil {
					out = map[int]Position{}
				}
				out[fuse] = Open
			}
		}
	}
	return out
}

// reroutes reports whether the fault may send more current through a fuse than it holds
// though it draws none right below it: what is fed past its fuse, or from another conductor,
// may blow another, and where there is a way round the fuse, what no longer flows that way
// flows through it. What is shorted between a resistor and its motor takes all that the
// resistor lets through, which is more than ever flows through both. A diode the other way
// round shorts what it stands across, and by way of one that conducts a fuse feeds what it is
// not known to be above.
func (m *model) reroutes(x *assumed, f *done, fuse int) bool {
	return x.bounds && (f.does == toPlus || f.does == toOther || f.does == series && m.loops && f.stretch != fuse && m.round(fuse) ||
		f.does == other && contains(m.fuses[f.stretch], fuse) ||
		(f.does == toMinus || f.does == instead) && !contains(m.fuses[f.stretch], fuse) && (m.diodes || m.chained(x, fuse, f.stretch)))
}

// chained reports whether a load that current comes to first behind a fuse has no ground of
// its own: another is behind it, as a motor behind its resistor, or its ground is lost, by what
// is open or by another fault. Then it takes more than ever where the stretch, which has no
// ground either, is shorted: the short takes the place of what was behind it, or is all the
// ground that a motor has, and starves it. What a load with nothing behind it but its ground
// takes, its fuse was chosen for.
//
// A jumper from a feed to a ground lifts the ground of all that lies there by volts, so that
// what shares it is starved, and a starved motor takes more than one that runs.
//
// What blew before something was pulled, or bridged, stays blown, so that it goes by the
// circuit with every contact closed as well as by the one that is there.
func (m *model) chained(x *assumed, fuse, shorted int) bool {
	now, before := m, m.c.allClosed()
	if m.base != nil {
		now = m.base
	}
	lost := -1
	for _, f := range x.faults {
		if f.does == series {
			lost = m.stretches[f.stretch].elements[0]
		}
	}
	k, short := m.stretches[fuse].elements[0], m.stretches[shorted].elements[0]
	if before.of[short] < 0 {
		return true // nobody knows
	}
	for _, in := range [2]*model{now, before} {
		g, st := in.grounding(lost), &in.stretches[in.of[short]]
		if g.jumpered || g.chains[in.of[k]] && !(g.grounded[st.a] && g.grounded[st.b]) {
			return true
		}
	}
	return false
}

// grounding is what a model has for ground while one element adds resistance.
type grounding struct {
	grounded []bool // of each node whether the negative post is reached without a load, by what is closed
	chains   []bool // of each stretch that is a fuse whether a load that current comes to first behind it is not grounded
	jumpered bool   // a jumper joins a feed to a ground
}

// grounding finds what is grounded with an element lost; -1: with none.
func (m *model) grounding(lost int) *grounding {
	if g := m.grounds[lost]; g != nil {
		return g
	}
	bare := *m
	bare.bridges = nil
	for _, b := range m.bridges {
		if b.Usual == 0 {
			bare.bridges = append(bare.bridges, b)
		}
	}
	g := &grounding{chains: make([]bool, len(m.stretches))}
	feeds, grounds := bare.fed(plus, -1), bare.fed(minus, -1)
	for n := range m.n {
		g.jumpered = g.jumpered || feeds[n] && grounds[n]
	}
	bare.bridges, bare.stretches = nil, nil
	for s := range m.stretches {
		if st := &m.stretches[s]; st.position == Closed && st.follows < 0 && !contains(st.elements, lost) {
			bare.stretches = append(bare.stretches, *st)
		}
	}
	g.grounded = bare.fed(minus, -1)
	for fuse := range m.stretches {
		f := &m.stretches[fuse]
		if f.kind != Fuse && f.kind != Breaker {
			continue
		}
		for _, way := range [2][2]int{{f.a, f.b}, {f.b, f.a}} {
			if way[1] == plus || way[1] == minus {
				continue
			}
			reached := m.fed(way[1], way[0])
			for s := range m.stretches {
				st := &m.stretches[s]
				if st.kind < Load || st.kind == Diode || reached[st.a] == reached[st.b] {
					continue
				}
				far := st.a
				if reached[st.a] {
					far = st.b
				}
				g.chains[fuse] = g.chains[fuse] || !g.grounded[far]
			}
		}
	}
	if m.grounds == nil {
		m.grounds = map[int]*grounding{}
	}
	m.grounds[lost] = g
	return g
}

// stands is the position of a stretch with nothing wrong. Where a plug that is off was a
// way round a fuse, what no longer flows that way flows through the fuse, and may be more
// than it holds.
func (m *model) stands(x *assumed, s int) Position {
	st := &m.stretches[s]
	if !x.bounds || !m.parted || !m.loops || st.position != Closed || st.kind != Fuse && st.kind != Breaker || x.held == s+1 || !m.round(s) || m.spared(x, s) {
		return st.position
	}
	return Either
}

// round reports whether what conducts leads round the stretch.
func (m *model) round(s int) bool {
	reached := make([]bool, m.n)
	reached[m.stretches[s].a] = true
	for again := true; again; {
		again = false
		for k := range m.stretches {
			st := &m.stretches[k]
			if k == s || m.load[k] >= 0 || st.kind == Coil || reached[st.a] == reached[st.b] {
				continue
			}
			reached[st.a], reached[st.b], again = true, true, true
		}
	}
	return reached[m.stretches[s].b]
}
