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
// flows through it. What is shorted somewhere else may stand in for what was behind a load, or
// be all the ground that a motor has and starve it, as long as anything joins the two. A diode
// the other way round shorts what it stands across.
func (m *model) reroutes(x *assumed, f *done, fuse int) bool {
	return x.bounds && (f.does == toPlus || f.does == toOther || f.does == series && m.loops && f.stretch != fuse && m.round(fuse) ||
		f.does == other && contains(m.fuses[f.stretch], fuse) ||
		(f.does == toMinus || f.does == instead) && !contains(m.fuses[f.stretch], fuse) && m.joined(fuse, f.stretch))
}

// joined reports whether anything but the posts joins two stretches: a part in whatever
// position, since what blew before something was pulled stays blown, a coil with its contact,
// a jumper or a lead. What only the posts join shares nothing but their voltage, so that no
// fault in the one changes what flows in the other.
func (m *model) joined(s, t int) bool {
	if m.islands == nil {
		m.islands = m.island()
	}
	point := func(s int) int { return m.c.Elements[m.stretches[s].elements[0]].free() }
	return m.islands[point(s)] == m.islands[point(t)]
}

// island numbers the points that anything but the posts joins.
func (m *model) island() []int {
	out := make([]int, len(m.c.Points))
	for p := range out {
		out[p] = p
	}
	join := func(a, b int) {
		if a > plus && b > plus && out[a] != out[b] {
			for p, from, to := 0, out[a], out[b]; p < len(out); p++ {
				if out[p] == from {
					out[p] = to
				}
			}
		}
	}
	for k := range m.c.Elements {
		e := &m.c.Elements[k]
		if join(e.From, e.To); e.Follows >= 0 {
			join(e.free(), m.c.Elements[e.Follows].free())
		}
	}
	for _, b := range m.setup.Bridges {
		join(b.A, b.B)
	}
	for _, b := range m.leads {
		join(slices.Index(m.node, b.A), slices.Index(m.node, b.B))
	}
	return out
}

// free is an end of an element that is at no post; a post where both are.
func (e *Element) free() int { return max(e.From, e.To) }

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
