package circuit

import "math"

// Star-mesh elimination forgets that the conductances it makes of one star go
// together, so that its bounds are wide where loads lie side by side. Where few
// conductances are left once everything in series and side by side is put together,
// all their corners can be tried instead, and the bounds are exact.
//
// Why corners are enough: a voltage between two nodes, as a function of one
// conductance with the others fixed, is a quotient of two linear functions of it, and
// so rises or falls all the way. Going from any point of the spans to an end in one
// conductance after another, each time to the end where the voltage is higher, leads to
// a corner where it is as high at least; so the highest is at a corner, and the
// lowest. It does not matter in which direction each one works there, nor that this may
// differ from corner to corner.
//
// Of what leads to a post it is known: with one lead at a post, more conductance from
// anywhere to the positive post raises the other lead, to the negative post lowers it.
//
// What is put together keeps its own ends: of two in series g h / (g+h) and of two side
// by side g+h rise with both, and each element is in one of the conductances that are
// left, so that these are independent. The four nodes that are asked about stay: the
// posts and where the leads are. Where more than maxEither are left, stars are taken out
// first by the mesh of spans, which holds too and is only wider.

// wanted is what was shown: bounds need not be worked out to their ends when it
// is within them, or far outside already by what is quicker to work out.
type wanted struct {
	shown Span
	far   float64 // in volts
}

// within reports whether what was shown may be so.
func (w *wanted) within(s Span) bool { return w != nil && s.Lo <= w.shown.Hi && w.shown.Lo <= s.Hi }

// beyond reports whether what was shown is far from it.
func (w *wanted) beyond(s Span) bool {
	return w != nil && (w.shown.Lo > s.Hi+w.far || w.shown.Hi < s.Lo-w.far)
}

// bound is the voltage between two nodes at all, with plus at e volts over minus. With
// something wanted it holds what was shown if that can be, and is else far from it.
func (m *model) bound(x *assumed, red, black int, e Span, want *wanted) Span {
	if red == black {
		return Span{}
	}
	l := m.lay(x)
	if s, ok := m.corners(x, l, red, black, e, want); ok {
		return s
	}
	w := m.mesh(x, l)
	w.keep(red, black)
	return w.volts(red, black, e)
}

// through is the current at all through the sensed stretch, in amperes, from its end
// a to its end b.
func (m *model) through(x *assumed, e Span) Span {
	l, s := m.lay(x), x.sensed-1
	red, black := m.stretches[s].a, l.sense
	if x.far {
		red, black = l.sense, m.stretches[s].b
	}
	v, ok := m.corners(x, l, red, black, e, nil)
	if !ok {
		w := m.mesh(x, l)
		w.keep(red, black)
		v = w.volts(red, black, e)
	}
	return v.Times(1 / senseOhms)
}

// corners bounds the voltage between two nodes by the corners. False where one of the
// nodes floats.
func (m *model) corners(x *assumed, l *layout, red, black int, e Span, want *wanted) (Span, bool) {
	s := m.shape(l, red, black)
	g := m.spans(s.slots)
	m.fill(x, l, g)
	open := 0.0 // what still gets through where something is open
	for i := range l.ends {
		if h := g[i].Hi; h > 0 && h <= 1/openOhms.Lo {
			open += h
			g[i] = Span{}
		}
	}
	s.workSpans(s.ops[:s.core], g)
	f := m.floats(s.slots)
	set := func(slots []int32, high bool) {
		for _, i := range slots {
			f[i] = g[i].Lo
			if high {
				f[i] = g[i].Hi
			}
		}
	}
	// What leaks and what an open lets through are currents of at most their
	// conductance times the supply into some node. A current into a node moves no node
	// more than itself, and that by its resistance to the posts, which is the largest when
	// every conductance is the least. Of a current no more than all of it, and all that
	// comes out elsewhere, flows anywhere.
	leaks := 2*float64(l.n)*per(Leak.Lo) + open
	moved := 2 * leaks * senseOhms
	if x.sensed == 0 {
		set(s.rises, false)
		set(s.falls, false)
		set(s.either, false)
		s.work(s.ops[s.core:], f)
		moved = s.resist(f) * leaks
	}
	if !(moved < 0.1) {
		return Span{}, false // it floats, or nearly
	}
	wide := func(share Span) Span {
		v := times(share, e)
		if x.sensed > 0 {
			return Span{v.Lo - moved*e.Hi, v.Hi + moved*e.Hi}
		}
		return Span{v.Lo - moved*e.Hi - 1e-9, v.Hi + moved*e.Hi + 1e-9}
	}
	vary := m.vary[:0]
	for _, i := range s.either {
		f[i] = g[i].Lo
		if g[i].Hi > g[i].Lo {
			vary = append(vary, i)
		}
	}
	m.vary = vary
	if len(vary) > 2 && want != nil {
		s.workSpans(s.ops[s.core:], g)
		if v := wide(s.shares(g)); want.beyond(v) {
			return v, true
		}
	}
	out := Span{math.Inf(1), math.Inf(-1)}
	try := func() {
		s.work(s.ops[s.core:], f)
		share := s.share(f)
		out.Lo, out.Hi = math.Min(out.Lo, share), math.Max(out.Hi, share)
	}
	all := 1<<len(vary) - 1
	for n := range all + 1 {
		corner := n / 2 // the farthest apart first
		if n%2 == 1 {
			corner = all - n/2
		}
		for k, i := range vary {
			f[i] = g[i].Lo
			if corner>>k&1 == 1 {
				f[i] = g[i].Hi
			}
		}
		if len(s.rises)+len(s.falls) > 0 {
			set(s.rises, true)
			set(s.falls, false)
			try()
			set(s.rises, false)
			set(s.falls, true)
		}
		try()
		if n%2 == 1 && want.within(wide(out)) {
			break
		}
	}
	return wide(out), true
}

// seen is the voltage between two nodes in a draw, as a share of the supply's.
func (m *model) seen(x *assumed, red, black int) float64 {
	_, s, f := m.drawn(x, red, black)
	return s.share(f)
}

// voltages of all nodes in a draw, by the supply's.
func (m *model) voltages(x *assumed, e float64) []float64 {
	l, s, f := m.drawn(x, minus, minus)
	if len(m.volts) < l.n {
		m.volts = make([]float64, l.n+3)
	}
	s.volts(f, m.volts, e)
	return m.volts
}

// drawn are the conductances of a draw once all operations are carried out, as seen from
// two nodes.
func (m *model) drawn(x *assumed, red, black int) (*layout, *shape, []float64) {
	l := m.lay(x)
	s := m.shape(l, red, black)
	g := m.spans(len(l.ends))
	m.fill(x, l, g)
	return l, s, s.rework(g)
}
