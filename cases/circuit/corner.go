package circuit

import "math"

// Star-mesh elimination forgets that the conductances it makes of one star go
// together, so that its bounds are wide where loads lie side by side. In a circuit
// like a tree the voltage between two nodes rises with some conductances and falls
// with others, whatever their values: its extremes are at two corners of all the
// spans, and those are solved exactly.
//
// Why the signs are fixed: by reciprocity the change of a voltage V(red)-V(black)
// with the conductance between i and j has the sign of -(Vi-Vj)(Ui-Uj), with U the
// voltages that a current into red and out of black makes while both posts are held
// at 0. Where what conducts is two trees, one with its root at the positive post and
// one at the negative, with loads from the one to the other, current can flow through
// any element in one direction only: away from plus in the first tree, through loads
// from the first to the second, towards minus in the second. So Vi-Vj never changes its
// sign. U has its source and sink at two nodes; off the trees' paths from them to the roots
// every branch only takes from, or only gives to, the node it hangs on, and loads are
// fed from the one end that is nearer to the source: the sign of Ui-Uj is that at any
// values. What floats, and loops, are left to the bounds of the mesh.

// side of a node: which tree it belongs to.
const (
	island = iota
	feed
	earth
)

// tree works out the two trees of the model; false when what conducts is none.
func (m *model) tree() ([]int, bool) {
	side := make([]int, m.n)
	if m.loops {
		return nil, false
	}
	side[plus], side[minus] = feed, earth
	for again := true; again; {
		again = false
		for s := range m.stretches {
			st := &m.stretches[s]
			if !st.conducts() || side[st.a] == side[st.b] {
				continue
			}
			switch {
			case side[st.a] == island:
				side[st.a], again = side[st.b], true
			case side[st.b] == island:
				side[st.b], again = side[st.a], true
			default:
				return nil, false // from post to post
			}
		}
	}
	hung := make([]int, m.n) // what ends at a node of no tree
	hang := func(a, b int) bool {
		if side[a] != island && side[a] == side[b] {
			return false
		}
		if side[a] == island {
			hung[a]++
		}
		if side[b] == island {
			hung[b]++
		}
		return true
	}
	for s := range m.stretches {
		st := &m.stretches[s]
		if st.kind == Diode || st.follows >= 0 || st.position == Either {
			return nil, false
		}
		if (!st.conducts() || side[st.a] == island) && st.position == Closed && !hang(st.a, st.b) {
			return nil, false
		}
	}
	for _, b := range m.bridges {
		beside := false // a lead round one stretch only makes it conduct better
		for s := range m.stretches {
			st := &m.stretches[s]
			beside = beside || st.a == b.A && st.b == b.B || st.a == b.B && st.b == b.A
		}
		if !beside && !hang(b.A, b.B) {
			return nil, false
		}
	}
	for k := range hung {
		if hung[k] > 1 {
			return nil, false
		}
	}
	return side, true
}

// conducts reports whether the stretch is no load and closed.
func (st *stretch) conducts() bool {
	return (st.kind <= Output) && st.position == Closed
}

// extremes bounds the voltage between two nodes under what is assumed, by its
// corners. False where the signs are not fixed.
func (m *model) extremes(x assumed, red, black int, e Span) (Span, bool) {
	side, ok := m.trees()
	for _, l := range m.leads {
		ok = ok && l.Ohms.Lo >= MeterOhms
	}
	if !ok || side[red] == island || black < m.n && side[black] == island {
		return Span{}, false
	}
	for _, f := range x.faults {
		st := &m.stretches[f.stretch]
		switch {
		case f.does == toMinus && side[st.a] != feed, f.does == toPlus, f.does == stuck, f.does == other:
			return Span{}, false
		}
	}
	x.noLeaks, x.lead = true, Bridge{}
	w := m.build(&x)
	type edge struct {
		i, j int
		g    Span
	}
	var edges []edge
	open := 0.0 // what still gets through where something is open
	for i := range w.n {
		for j := range i {
			switch g := w.g[i*w.n+j]; {
			case g.Hi <= 0:
			case g.Hi <= 1/openOhms.Lo:
				open += g.Hi
				w.g[i*w.n+j], w.g[j*w.n+i] = Span{}, Span{}
			case g.Lo <= 0:
				return Span{}, false
			default:
				edges = append(edges, edge{i, j, g})
			}
		}
	}
	set := func(of func(edge) float64) {
		for _, d := range edges {
			g := Exactly(of(d))
			w.g[d.i*w.n+d.j], w.g[d.j*w.n+d.i] = g, g
		}
	}
	set(func(d edge) float64 { return math.Sqrt(d.g.Lo * d.g.Hi) })
	v, u := w.solve(1), w.inject(red, black)
	turns := false
	at := func(highest bool) float64 {
		set(func(d edge) float64 {
			if rises := -(v[d.i]-v[d.j])*(u[d.i]-u[d.j]) > 0; rises == highest {
				return d.g.Hi
			}
			return d.g.Lo
		})
		s, t := w.solve(1), w.inject(red, black)
		for _, d := range edges {
			here, middle := (s[d.i]-s[d.j])*(t[d.i]-t[d.j]), (v[d.i]-v[d.j])*(u[d.i]-u[d.j])
			turns = turns || here*middle < 0 && math.Abs(here)*d.g.Hi > 1e-9
		}
		return s[red] - s[black]
	}
	share := Span{at(false), at(true)}
	if turns {
		return Span{}, false // a sign is not fixed after all, as between two branches that hang on one trunk
	}
	// What leaks, and what a meter takes, moves a node by no more than through the
	// largest resistance there may be between it and the posts.
	set(func(d edge) float64 { return d.g.Lo })
	r := w.inject(red, red)[red] + w.inject(black, black)[black]
	moved := r * (2*float64(m.n)*per(Leak.Lo) + 1/MeterOhms + open)
	if !(moved < 0.1) {
		return Span{}, false // it floats
	}
	out := times(share, e)
	return Span{out.Lo - moved*e.Hi - 1e-9, out.Hi + moved*e.Hi + 1e-9}, true
}

// trees is tree, worked out once.
func (m *model) trees() ([]int, bool) {
	if !m.asked {
		m.side, m.isTree = m.tree()
		m.asked = true
	}
	return m.side, m.isTree
}
