package circuit

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
// What is put together keeps its own ends: of two in series g h / (g+h) and of two side
// by side g+h rise with both, and each element is in one of the conductances that are
// left, so that these are independent. The four nodes that are asked about stay: the
// posts and where the leads are.

// maxCore is how many conductances may be left for all corners to be tried.
const maxCore = 9

// edge is a conductance between two nodes.
type edge struct {
	i, j int
	g    Span
}

// extremes bounds the voltage between two nodes under what is assumed, by the
// corners. False where too much is left to try, or where one of the nodes floats.
func (m *model) extremes(x assumed, red, black int, e Span) (Span, bool) {
	if x.rough || len(m.gated()) > 0 {
		return Span{}, false // how gates stand follows from voltages
	}
	x.noLeaks, x.lead = true, Bridge{}
	x.holds = m.blownFuses(x)
	w := m.build(&x)
	for _, l := range m.leads {
		if l.Ohms.Lo < MeterOhms {
			g := l.Ohms.conductance()
			if len(m.leads) > 1 {
				g.Lo = 0 // it is at one of several places
			}
			w.join(l.A, l.B, g)
		}
	}
	open := 0.0 // what still gets through where something is open
	for i := range w.n {
		for j := range i {
			if g := w.g[i*w.n+j]; g.Hi > 0 && g.Hi <= 1/openOhms.Lo {
				open += g.Hi
				w.part(i, j)
			}
		}
	}
	// What leaks, what a meter takes and what an open lets through are currents of at
	// most their conductance times the supply into some node. A current into a node
	// moves no node more than itself, and that by its resistance to the posts, which is
	// the largest when every conductance is the least.
	r := w.inject(red, red)[red] + w.inject(black, black)[black]
	moved := r * (2*float64(w.n)*per(Leak.Lo) + 1/MeterOhms + open)
	if !(moved < 0.1) {
		return Span{}, false // it floats, or nearly
	}
	edges := w.core(red, black)
	if edges == nil {
		return Span{}, false
	}
	share := corners(edges, red, black)
	out := times(share, e)
	return Span{out.Lo - moved*e.Hi - 1e-9, out.Hi + moved*e.Hi + 1e-9}, true
}

// part takes out what joins two nodes.
func (w *network) part(i, j int) {
	w.g[i*w.n+j], w.g[j*w.n+i] = Span{}, Span{}
	w.near[i*w.w+j/64] &^= 1 << (j % 64)
	w.near[j*w.w+i/64] &^= 1 << (i % 64)
}

// core is what is left of the network when what is in series or ends nowhere is put
// together, and with it what is then side by side; nil when it is too much. To remove
// a node with two neighbours is to put two in series, with exact ends.
func (w *network) core(red, black int) []edge {
	w.part(plus, minus) // between the posts it moves nothing
	for again := true; again; {
		again = false
		for k := 2; k < w.n; k++ {
			if d := w.degree(k); k != red && k != black && d > 0 && d <= 2 {
				w.remove(k)
				again = true
			}
		}
	}
	w.part(plus, minus)
	edges := make([]edge, 0, maxCore)
	for i := range w.n {
		for j := range i {
			if g := w.g[i*w.n+j]; g.Hi > 0 {
				if len(edges) == maxCore {
					return nil
				}
				edges = append(edges, edge{i, j, g})
			}
		}
	}
	return edges
}

// corners is the least and the most that lies between two nodes over all corners, as
// a share of the supply.
func corners(edges []edge, red, black int) Span {
	node := map[int]int{minus: minus, plus: plus}
	number := func(k int) int {
		if _, ok := node[k]; !ok {
			node[k] = len(node)
		}
		return node[k]
	}
	red, black = number(red), number(black)
	for k := range edges {
		edges[k].i, edges[k].j = number(edges[k].i), number(edges[k].j)
	}
	w := newNetwork(len(node))
	var out Span
	for corner := range 1 << len(edges) {
		for k, d := range edges {
			g := d.g.Lo
			if corner>>k&1 == 1 {
				g = d.g.Hi
			}
			w.g[d.i*w.n+d.j], w.g[d.j*w.n+d.i] = Exactly(g), Exactly(g)
		}
		v := w.solve(1)
		s := Exactly(v[red] - v[black])
		if corner == 0 {
			out = s
		}
		out = out.with(s)
	}
	return out
}
