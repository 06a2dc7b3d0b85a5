package circuit

import "slices"

// blows is how many times its rating a fuse does not hold for a minute (ISO 8820-3,
// from memory: 1.1 times for a hundred hours, 1.35 times for up to ten minutes, 1.6
// times for 50 seconds at most).
const blows = 1.6

// struck is the position of a stretch with what a fault elsewhere does to it, if it is
// a fuse.
func (m *model) struck(x *assumed, s, i int, p Position) Position {
	st, f := &m.stretches[s], &x.faults[i]
	if p != Closed || st.kind != Fuse && st.kind != Breaker {
		return p
	}
	switch {
	case m.reroutes(x, f, s):
		return Either
	case (f.does == toMinus || f.does == instead) && x.held != s+1 && contains(m.fuses[f.stretch], s):
		return m.blown(x, s, x.choose(ofFault+unknown(i), f.ohms))
	}
	return p
}

// blown says how a fuse stands below which a fault draws current through so many
// ohms. In a draw it is open when it would blow: a slow fuse holds a
// while, and what has gone on for a while is long over. For bounds it is open only
// when so much must flow; else nobody knows, since a short may come and go.
func (m *model) blown(x *assumed, fuse int, ohms Span) Position {
	rating := m.c.Elements[m.stretches[fuse].elements[0]].Rating
	if !x.bounds {
		if rating <= 0 {
			rating = 15 // assumed: the commonest
		}
		if m.c.System/max(ohms.Hi, 1e-3) > blows*rating {
			return Open
		}
		return Closed
	}
	if x.holds[fuse] == Open {
		return Open
	}
	return Either
}

// blownFuses finds which fuses cannot have held under the faults: with the fuse
// whole, more than it holds must flow. A voltmeter changes nothing of that, so that the
// readings in one state share it.
func (m *model) blownFuses(x *assumed) map[int]Position {
	if !slices.ContainsFunc(x.faults, func(f done) bool { return f.does == toMinus || f.does == instead }) {
		return nil
	}
	in := m
	if m.base != nil {
		in = m.base
	}
	var key [maxCuts]done
	for i, f := range x.faults {
		key[i] = m.moved(f, in)
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
	return f
}

// blow works blownFuses out.
func (m *model) blow(x *assumed) map[int]Position {
	var out map[int]Position
	for _, f := range x.faults {
		if f.does != toMinus && f.does != instead {
			continue
		}
		for _, fuse := range m.fuses[f.stretch] {
			rating := m.c.Elements[m.stretches[fuse].elements[0]].Rating
			if rating <= 0 || out[fuse] == Open {
				continue
			}
			y := *x
			y.held, y.sensed, y.far, y.lead = fuse+1, fuse+1, false, Bridge{}
			y.holds = nil
			for _, s := range m.gated { // how they stand is not known yet
				if y.gates == nil {
					y.gates = map[int]gate{}
				}
				y.gates[s] = gate{position: Either, ohms: Usual(m.stretches[s].kind, 0)}
			}
			if m.through(&y, m.setup.Posts).Lo > blows*rating+1e-4 {
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
// though it draws none itself: what is fed past its fuse may blow another, and where there
// is a way round the fuse, what no longer flows that way flows through it. A diode the
// other way round shorts what it stands across.
func (m *model) reroutes(x *assumed, f *done, fuse int) bool {
	return x.bounds && (f.does == toPlus || f.does == series && m.loops && f.stretch != fuse && m.round(fuse) ||
		f.does == other && contains(m.fuses[f.stretch], fuse))
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
