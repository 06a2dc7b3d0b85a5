package circuit

import "math/bits"

// network is a set of nodes with a conductance between any two, in siemens, each
// known to lie in a span. Node 0 is the negative post, node 1 the positive one:
// the only two whose voltage is given.
type network struct {
	n    int
	g    []Span // of a and b at a*n+b and b*n+a
	near []uint64
	w    int // words of near for each node
}

const (
	minus = 0
	plus  = 1
)

func newNetwork(n int) *network {
	w := (n + 63) / 64
	return &network{n: n, g: make([]Span, n*n), near: make([]uint64, n*w), w: w}
}

// emptied is a network of n nodes or more with nothing in it, in the room of w where that
// does.
func (w *network) emptied(n int) *network {
	if w == nil || w.n < n {
		return newNetwork(n + 3)
	}
	clear(w.g)
	clear(w.near)
	return w
}

// join puts a conductance between two nodes, beside what is there.
func (w *network) join(a, b int, g Span) {
	if a == b || g.Hi <= 0 {
		return
	}
	w.put(a, b, w.g[a*w.n+b].Plus(g))
}

func (w *network) put(a, b int, g Span) {
	w.g[a*w.n+b], w.g[b*w.n+a] = g, g
	w.near[a*w.w+b/64] |= 1 << (b % 64)
	w.near[b*w.w+a/64] |= 1 << (a % 64)
}

// degree is how many nodes the node is joined with.
func (w *network) degree(k int) int {
	d := 0
	for _, x := range w.near[k*w.w : (k+1)*w.w] {
		d += bits.OnesCount64(x)
	}
	return d
}

// remove takes a node out: a star of conductances g1..gm to its neighbours is to
// them the same as a mesh in which i and j are joined by gi gj / (g1+...+gm)
// (star-mesh transform; A. Rosen, 1924; for all nodes at once it is Kron's
// reduction). All terms are positive, so nothing cancels. With spans, gi gj / sum
// grows with gi and with gj and falls with every other: its ends are where those
// are.
func (w *network) remove(k int) {
	var all [64]int
	nodes := all[:0]
	for i, x := range w.near[k*w.w : (k+1)*w.w] {
		for x != 0 {
			b := bits.TrailingZeros64(x)
			nodes = append(nodes, i*64+b)
			x &^= 1 << b
		}
	}
	row := w.g[k*w.n : (k+1)*w.n]
	var sum Span
	for _, i := range nodes {
		sum.Lo += row[i].Lo
		sum.Hi += row[i].Hi
	}
	for x, i := range nodes {
		gi := row[i]
		for _, j := range nodes[x+1:] {
			gj := row[j]
			var m Span
			if gi.Lo > 0 && gj.Lo > 0 {
				m.Lo = gi.Lo * gj.Lo / (gi.Lo + gj.Lo + (sum.Hi - gi.Hi - gj.Hi))
			}
			if gi.Hi > 0 && gj.Hi > 0 {
				m.Hi = gi.Hi * gj.Hi / (gi.Hi + gj.Hi + max(sum.Lo-gi.Lo-gj.Lo, 0))
			}
			w.join(i, j, m)
		}
	}
	for _, i := range nodes {
		w.g[k*w.n+i], w.g[i*w.n+k] = Span{}, Span{}
		w.near[i*w.w+k/64] &^= 1 << (k % 64)
	}
	clear(w.near[k*w.w : (k+1)*w.w])
}

// keep removes every node but the two posts and those given, the least joined
// first.
func (w *network) keep(nodes ...int) {
	kept := func(k int) bool {
		if k == minus || k == plus {
			return true
		}
		for _, n := range nodes {
			if n == k {
				return true
			}
		}
		return false
	}
	for {
		best, least := -1, 0
		for k := range w.n {
			if d := w.degree(k); d > 0 && !kept(k) && (best < 0 || d < least) {
				best, least = k, d
				if d <= 2 {
					break
				}
			}
		}
		if best < 0 {
			return
		}
		w.remove(best)
	}
}

// between is what lies between two nodes of a network that keep has reduced.
func (w *network) between(a, b int) Span { return w.g[a*w.n+b] }

// volts is the voltage between red and black, with plus at e volts over minus.
// keep has left the posts, red and black.
func (w *network) volts(red, black int, e Span) Span {
	return times(shareOf(w.between(red, plus), w.between(red, minus), w.between(black, plus), w.between(black, minus), w.between(red, black), red, black), e)
}

func turned(s Span) Span { return Span{-s.Hi, -s.Lo} }

func rest(s Span) Span { return Span{1 - s.Hi, 1 - s.Lo} }

func times(s, e Span) Span {
	out := Span{s.Lo * e.Lo, s.Hi * e.Hi}
	if s.Lo < 0 {
		out.Lo = s.Lo * e.Hi
	}
	if s.Hi < 0 {
		out.Hi = s.Hi * e.Lo
	}
	return out
}

// shareOf is the voltage between red and black as a share of the supply's, by what
// they conduct to plus and minus (a and b of red, c and d of black) and between them.
func shareOf(a, b, c, d, r Span, red, black int) Span {
	switch {
	case red == black:
		return Span{}
	case black == minus:
		return share(a, b, red)
	case red == minus:
		return turned(share(c, d, black))
	case red == plus:
		return rest(share(c, d, black))
	case black == plus:
		return turned(rest(share(a, b, red)))
	}
	return bridge(a, b, c, d, r)
}

// share is the voltage of a node as a share of the supply's: p / (p + m). A node that
// nothing leads to has none.
func share(p, m Span, k int) Span {
	if k == plus {
		return Span{1, 1}
	}
	var out Span
	if p.Lo > 0 {
		out.Lo = p.Lo / (p.Lo + m.Hi)
	}
	if p.Hi > 0 {
		out.Hi = p.Hi / (p.Hi + m.Lo)
	}
	return out
}

// bridge is the voltage between two nodes as a share of the supply's: with spans,
// (a d - b c) / ((a+b)(c+d) + r (a+b+c+d)) grows with a and d, falls with b and c, and r
// brings it nearer to nothing.
func bridge(a, b, c, d, r Span) Span {
	of := func(a, b, c, d float64) (num, without, with float64) {
		return a*d - b*c, (a + b) * (c + d), a + b + c + d
	}
	value := func(num, without, with float64, toZero bool) float64 {
		g := r.Lo
		if toZero {
			g = r.Hi
		}
		den := without + g*with
		if den <= 0 || num == 0 {
			return 0
		}
		return num / den
	}
	var out Span
	num, without, with := of(a.Hi, b.Lo, c.Lo, d.Hi)
	out.Hi = value(num, without, with, num < 0)
	num, without, with = of(a.Lo, b.Hi, c.Hi, d.Lo)
	out.Lo = value(num, without, with, num > 0)
	return out
}
