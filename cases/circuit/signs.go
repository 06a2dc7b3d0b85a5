package circuit

// Which way a conductance works on a voltage often follows from what leads where alone.
//
// Let a and b be where the leads are, and let a conductance lie between c and d. The
// derivative of the voltage from a to b by it is minus the product of two: of the voltage
// from c to d, and of the voltage that an ampere into a and out of b would raise from c to d
// with the posts joined. Either is a sum over all ways to part the network into two trees,
// one with a post (or lead) and c in it, the other with the other post (or lead) and d, less
// the same with c and d changed round (all minors matrix tree theorem; W. K. Chen, Applied
// Graph Theory, 1976, from memory). All terms are products of conductances and so positive;
// and there is such a way if two paths that share no node lead from the one post to c and
// from the other to d. Where only one of the two ways round has paths, the sign holds for all
// conductances.

// signs takes from either what is known to work one way and puts it where it belongs.
func (t *taker) signs(nodes int) {
	if len(t.either) < worthSigning {
		return
	}
	g := &t.graph
	if !g.number(t, nodes) {
		return
	}
	red, black := g.of(t.s.red), g.of(t.s.black)
	unknown := t.either[:0]
	for _, slot := range t.either {
		c, d := g.of(int(t.ends[slot][0])), g.of(int(t.ends[slot][1]))
		sign := -g.way(g.apart[:], plus, minus, c, d)
		if sign != 0 {
			sign *= g.way(g.joined[:], g.post(red), g.post(black), g.post(c), g.post(d))
		}
		switch {
		case sign > 0:
			t.rises = append(t.rises, slot)
		case sign < 0:
			t.falls = append(t.falls, slot)
		default:
			unknown = append(unknown, slot)
		}
	}
	t.either = unknown
}

// worthSigning is of how many conductances nobody must know which way they work for it to be
// quicker to find out than to try all corners.
const worthSigning = 3

// graph is what leads where in a core: of each node the set of those it leads to, with the
// posts apart and joined.
type graph struct {
	apart, joined [maxCore]uint32
	name          []int // of each node of the network its number, from plus+1 on
}

// maxCore bounds the nodes of a core that is looked at.
const maxCore = 32

// number gives the nodes of a core their numbers; false where there are too many.
func (g *graph) number(t *taker, nodes int) bool {
	g.apart, g.joined = [maxCore]uint32{}, [maxCore]uint32{}
	g.name = append(g.name[:0], minus, plus)
	n := plus + 1
	for k := plus + 1; k < nodes; k++ {
		g.name = append(g.name, n)
		if len(t.at[k]) == 0 && k != t.s.red && k != t.s.black {
			continue
		}
		if n++; n > maxCore {
			return false
		}
	}
	for k := plus + 1; k < nodes; k++ {
		for _, slot := range t.at[k] {
			a, b := g.of(k), g.of(t.other(slot, k))
			g.apart[a] |= 1 << b
			g.apart[b] |= 1 << a
			a, b = g.post(a), g.post(b)
			g.joined[a] |= 1 << b
			g.joined[b] |= 1 << a
		}
	}
	return true
}

func (g *graph) of(node int) int { return g.name[node] }

// post is the node with the posts joined.
func (g *graph) post(n int) int { return max(n, plus) }

// way is the sign of the voltage from c to d with a current from one node to another, if it
// is not 0; itself 0 where it goes by the conductances.
func (g *graph) way(leads []uint32, from, to, c, d int) int {
	switch {
	case !disjoint(leads, from, d, to, c):
		return 1
	case !disjoint(leads, from, c, to, d):
		return -1
	}
	return 0
}

// disjoint reports whether paths that share no node lead from a to b and from c to d.
func disjoint(leads []uint32, a, b, c, d int) bool {
	if a == c || a == d || b == c || b == d {
		return false
	}
	return along(leads, a, b, 1<<a, c, d)
}

// along reports whether a path from a to b leaves one from c to d; taken are the nodes that
// the path has come by.
func along(leads []uint32, a, b int, taken uint32, c, d int) bool {
	if !reaches(leads, c, d, taken|1<<b) {
		return false
	}
	if a == b {
		return true
	}
	if leads[a]>>b&1 == 1 {
		return true // no path from a to b takes less
	}
	if !reaches(leads, a, b, taken&^(1<<a)|1<<c|1<<d) {
		return false
	}
	for next := range maxCore {
		if leads[a]>>next&1 == 1 && (taken|1<<c|1<<d)>>next&1 == 0 && along(leads, next, b, taken|1<<next, c, d) {
			return true
		}
	}
	return false
}

// reaches reports whether b can be reached from a without the nodes that are taken.
func reaches(leads []uint32, a, b int, taken uint32) bool {
	met, edge := uint32(1)<<a, uint32(1)<<a
	for edge != 0 && met>>b&1 == 0 {
		var next uint32
		for n := 0; edge>>n != 0; n++ {
			if edge>>n&1 == 1 {
				next |= leads[n]
			}
		}
		edge = next &^ met &^ taken
		met |= edge
	}
	return met>>b&1 == 1
}
