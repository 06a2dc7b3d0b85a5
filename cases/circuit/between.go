package circuit

import (
	"math"
	"slices"
)

// between is the resistance from one node to another where what flows into the one
// flows out of the other: stretches one behind the other with nothing else joined. A clamp
// said how much that is; where it is sure to be some, no fuse of them is blown. A load among
// them has what it has at the volts that were shown at least, less what the others drop.
func (m *model) between(x assumed, red, black int, flows Span, shown float64) (Span, bool) {
	for _, b := range m.bridges {
		if b.A == red && b.B == black || b.A == black && b.B == red {
			return Span{}, false // what flows there no clamp round the others told
		}
	}
	at, from, load := red, -1, -1
	var sum Span
	for at != black {
		next := -1
		for s := range m.stretches {
			st := &m.stretches[s]
			if s == from || st.a != at && st.b != at {
				continue
			}
			if at == red && !m.leadsTo(s, at, black) {
				continue
			}
			if next >= 0 {
				return Span{}, false // a branch, or two side by side
			}
			next = s
		}
		if next < 0 {
			return Span{}, false
		}
		st := &m.stretches[next]
		if st.kind == Output || st.kind == Diode || st.position != Closed || flows.Lo <= 0 && m.stands(&x, next) != Closed || st.follows >= 0 {
			return Span{}, false
		}
		ohms, is := st.ohms, m.load[next] >= 0 && x.bounds && !x.replaced(next)
		switch {
		case !x.bounds && x.worn && st.kind < Load:
			ohms = Exactly(m.wornOhms(next))
		case !x.bounds:
			ohms = Exactly(st.nominal)
		case is && load >= 0:
			return Span{}, false // nobody knows how they share what was shown
		case is:
			load, ohms = next, Span{}
		}
		for i, f := range x.faults {
			if fuse := st.kind == Fuse || st.kind == Breaker; fuse && flows.Lo <= 0 &&
				((f.does == toMinus || f.does == instead) && contains(m.fuses[f.stretch], next) || m.reroutes(&x, &f, next)) {
				return Span{}, false // a fuse that it may have blown
			}
			if !f.at(next) {
				continue
			}
			switch f.does {
			case series:
				ohms = ohms.Plus(x.size(i, f.ohms))
			case instead:
				ohms = x.size(i, f.ohms)
			default:
				return Span{}, false
			}
		}
		sum = sum.Plus(ohms)
		at, from = st.a+st.b-at, next
	}
	if load >= 0 {
		fed := (shown - flows.Hi*sum.Hi) / m.c.System
		sum = sum.Plus(m.c.Elements[m.stretches[load].elements[0]].within(math.Max(0, math.Min(fed, 1))))
	}
	return sum, true
}

// leadsTo reports whether the stretch leads from a node to another without a
// branch.
func (m *model) leadsTo(s, at, to int) bool {
	for range m.stretches {
		at = m.stretches[s].a + m.stretches[s].b - at
		if at == to {
			return true
		}
		if at == minus || at == plus {
			return false
		}
		for _, b := range m.bridges {
			if b.A == at || b.B == at {
				return false
			}
		}
		next := -1
		for k := range m.stretches {
			if k != s && (m.stretches[k].a == at || m.stretches[k].b == at) {
				if next >= 0 {
					return false
				}
				next = k
			}
		}
		if next < 0 {
			return false
		}
		s = next
	}
	return false
}

// replaced reports whether a fault puts something else in the place of the stretch.
func (x *assumed) replaced(s int) bool {
	for i := range x.faults {
		if f := &x.faults[i]; f.does == instead && f.at(s) {
			return true
		}
	}
	return false
}

// sensing is the current through a stretch in a draw, without sign, at the one end or the far
// one.
func (m *model) sensing(x assumed, s int, far bool) float64 {
	x.sensed, x.far = s+1, far
	a, b := m.stretches[s].a, m.lay(&x).sense
	if far {
		a, b = b, m.stretches[s].b
	}
	return math.Abs(m.draw(x, a, b)) / senseOhms
}

// way are the stretches from lead to lead where one of the faults shorts something on it;
// none where no fault does.
func (o *Observation) way(m *model, faults []done) []int {
	shorts := func(s int) bool {
		return slices.ContainsFunc(faults, func(f done) bool { return (f.does == toMinus || f.does == toPlus || f.does == toOther) && f.at(s) })
	}
	if len(o.Red) != 1 || len(o.Black) != 1 {
		return nil
	}
	at, to := m.node[o.Red[0]], m.node[o.Black[0]]
	for first := range m.stretches {
		if st := &m.stretches[first]; st.a != at && st.b != at || !m.leadsTo(first, at, to) {
			continue
		}
		way := []int{first}
		for here := m.stretches[first].a + m.stretches[first].b - at; here != to; {
			last := way[len(way)-1]
			for s := range m.stretches {
				if st := &m.stretches[s]; s != last && (st.a == here || st.b == here) {
					way, here = append(way, s), st.a+st.b-here
					break
				}
			}
		}
		if slices.ContainsFunc(way, shorts) {
			return way
		}
	}
	return nil
}

// amps through the stretch of the element, without sign.
func (o *Observation) amps(m *model, x assumed) Span {
	s := m.of[o.Along]
	if s < 0 {
		return Span{}
	}
	x.sensed = s + 1
	// With a drop over several the clamp was somewhere on the way: before a short there, or
	// behind it.
	if way := o.way(m, x.faults); len(way) > 1 {
		if x.bounds {
			return Span{0, math.Inf(1)}
		}
		best := Exactly(m.sensing(x, way[0], false))
		if v := Exactly(m.sensing(x, way[len(way)-1], true)); o.off(v) < o.off(best) {
			best = v
		}
		return best
	}
	if !x.bounds {
		return Exactly(m.sensing(x, s, false))
	}
	posts, shorts := m.setup.Posts, 0
	for _, f := range x.faults {
		if f.at(s) && (f.does == toMinus || f.does == toPlus || f.does == toOther) {
			shorts++
		}
	}
	if shorts > 1 {
		return Span{0, math.Inf(1)} // it may have been between the two
	}
	y := x
	m.settle(&y)
	out := magnitude(m.through(&y, posts))
	if shorts > 0 { // where the clamp was, before the short or behind it, nobody said
		y := x
		y.far = true
		m.settle(&y)
		out = out.with(magnitude(m.through(&y, posts)))
	}
	return out
}
