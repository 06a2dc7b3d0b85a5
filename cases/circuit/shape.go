package circuit

import "math"

// shape is how a network is taken apart down to the posts and the two places where
// the leads are. It depends on what lies between which nodes and not on how well that
// conducts, so that it is worked out once and serves every fault, every bound and
// every draw.
//
// What lies between two nodes has a slot that holds its conductance. An operation
// takes a node out, or puts two slots that lie side by side together, and puts what
// comes of it into new slots. The first operations treat only what is in series, side by
// side, or ends nowhere: with spans they are exact, and each conductance goes into one
// of those that are left, so that these are independent. The rest are stars.
type shape struct {
	slots      int // how many there are, those made on the way too
	ops        []operation
	numbers    []int32 // what they hold
	core       int     // how many operations lead to the core
	red, black int
	// Of the core: the slots whose voltage between the leads rises with what they
	// conduct, falls with it, or goes who knows which way.
	rises, falls, either []int32
	// What is left in the end, by slot; -1: nothing is there.
	redPlus, redMinus, blackPlus, blackMinus, across int32
	again                                            again
}

// operation takes a node out, or puts two slots together. Its numbers lie one behind the
// other, since they are gone through a million times: the slots at it, of a node where each
// leads, and the slots made: of a node with two neighbours or more one for each pair, in the
// order (0,1), (0,2), (1,2), (0,3)...
type operation struct {
	node int32 // the node taken out; -1: two slots are put together
	n    int32 // how many slots are at it
	from int32 // where its numbers begin
}

// of are the slots at what an operation takes out, where they lead, and what it makes.
func (p *operation) of(numbers []int32) (in, far, out []int32) {
	all := numbers[p.from:]
	if p.node < 0 {
		return all[:2], nil, all[2:3]
	}
	n := p.n
	return all[:n], all[n : 2*n], all[2*n : 2*n+n*(n-1)/2]
}

// maxEither is how many conductances may be left in the core of which nobody knows
// which way they work.
const maxEither = 9

// onePost reports whether a lead is at a post: then more conductance to the positive
// post raises the voltage at the other lead, more to the negative one lowers it.
func (s *shape) onePost() bool { return s.red <= plus || s.black <= plus }

// work carries operations out on conductances that are known. A star of conductances
// g1..gm is to its ends the same as a mesh in which i and j are joined by gi gj /
// (g1+...+gm) (star-mesh transform; A. Rosen, 1924; for all nodes at once it is Kron's
// reduction). All terms are positive, so nothing cancels.
func (s *shape) work(ops []operation, g []float64) {
	for o := range ops {
		s.carry(&ops[o], g)
	}
}

// carry carries one operation out, and returns the slots that it made.
func (s *shape) carry(p *operation, g []float64) []int32 {
	if p.node < 0 {
		n := s.numbers[p.from : p.from+3]
		g[n[2]] = g[n[0]] + g[n[1]]
		return n[2:]
	}
	if p.n == 2 { // in series, as most are
		n := s.numbers[p.from : p.from+5]
		a, b := g[n[0]], g[n[1]]
		if b > 0 {
			b /= a + b
		}
		g[n[4]] = a * b
		return n[4:]
	}
	in, _, out := p.of(s.numbers)
	sum := 0.0
	for _, i := range in {
		sum += g[i]
	}
	n := 0
	for j, b := range in {
		gb := g[b]
		if gb > 0 {
			gb /= sum
		}
		for _, a := range in[:j] {
			g[out[n]] = g[a] * gb
			n++
		}
	}
	return out
}

// workSpans carries operations out on conductances that lie in spans. gi gj / sum
// grows with gi and with gj and falls with every other: its ends are where those are.
func (s *shape) workSpans(ops []operation, g []Span) {
	for o := range ops {
		p := &ops[o]
		in, _, made := p.of(s.numbers)
		if p.node < 0 {
			a, b := g[in[0]], g[in[1]]
			g[made[0]] = Span{a.Lo + b.Lo, a.Hi + b.Hi}
			continue
		}
		if len(in) == 1 {
			continue
		}
		var sum Span
		if len(in) > 2 {
			for _, i := range in {
				sum.Lo += g[i].Lo
				sum.Hi += g[i].Hi
			}
		}
		n := 0
		for j, b := range in {
			gb := g[b]
			for _, a := range in[:j] {
				ga := g[a]
				var out Span
				lo, hi := ga.Lo+gb.Lo, ga.Hi+gb.Hi
				others := Span{math.Max(sum.Lo-lo, 0), math.Max(sum.Hi-hi, 0)}
				if len(in) == 2 {
					others = Span{}
				}
				if ga.Lo > 0 && gb.Lo > 0 {
					out.Lo = ga.Lo * gb.Lo / (lo + others.Hi)
				}
				if ga.Hi > 0 && gb.Hi > 0 {
					out.Hi = ga.Hi * gb.Hi / (hi + others.Lo)
				}
				g[made[n]] = out
				n++
			}
		}
	}
}

func valueOf(g []float64, slot int32) float64 {
	if slot < 0 {
		return 0
	}
	return g[slot]
}

// share is the voltage between the leads as a share of the supply's, once all
// operations are carried out. With the conductances a, b of red to plus and minus, c, d of
// black, and r between them, it is (a d - b c) / ((a+b)(c+d) + r (a+b+c+d)). A node that
// nothing leads to is at the negative post.
func (s *shape) share(g []float64) float64 {
	a, b := valueOf(g, s.redPlus), valueOf(g, s.redMinus)
	c, d := valueOf(g, s.blackPlus), valueOf(g, s.blackMinus)
	part := func(x, rest float64) float64 {
		if x <= 0 {
			return 0
		}
		return x / (x + rest)
	}
	switch {
	case s.red == s.black:
		return 0
	case s.red == plus && s.black == minus:
		return 1
	case s.red == minus && s.black == plus:
		return -1
	case s.black == minus:
		return part(a, b)
	case s.red == minus:
		return -part(c, d)
	case s.red == plus:
		if c <= 0 {
			return 1
		}
		return part(d, c)
	case s.black == plus:
		if a <= 0 {
			return -1
		}
		return -part(b, a)
	}
	r := valueOf(g, s.across)
	num, den := a*d-b*c, (a+b)*(c+d)+r*(a+b+c+d)
	if num == 0 || den <= 0 {
		return 0
	}
	return num / den
}

// resist is the resistance, in ohms, of red to the posts and of black to the posts
// added up, once all operations are carried out: by how many volts an ampere into
// either moves it, at most.
func (s *shape) resist(g []float64) float64 {
	a := valueOf(g, s.redPlus) + valueOf(g, s.redMinus)
	c := valueOf(g, s.blackPlus) + valueOf(g, s.blackMinus)
	r := valueOf(g, s.across)
	// Of one lead: its own conductance to the posts, and that by way of the other, where
	// that is not at a post itself.
	of := func(own, other float64, free bool) float64 {
		switch {
		case !free:
			return 1 / (own + r)
		case r > 0:
			return 1 / (own + r*other/(r+other))
		}
		return 1 / own
	}
	sum := 0.0
	if s.red > plus {
		sum += of(a, c, s.black > plus)
	}
	if s.black > plus {
		sum += of(c, a, s.red > plus)
	}
	return sum
}

// volts gives the voltage of every node, with the posts at 0 and e, once all operations
// are carried out: the other way round, each node's is the mean of its neighbours',
// weighted by the conductances it had to them when it was taken out.
func (s *shape) volts(g, v []float64, e float64) {
	s.ends(g, v, e)
	for o := len(s.ops) - 1; o >= 0; o-- {
		s.back(o, g, v)
	}
}

// ends gives the voltages of the posts and of the leads, and none to all others.
func (s *shape) ends(g, v []float64, e float64) {
	clear(v)
	v[plus] = e
	if s.red > plus || s.black > plus {
		a, b := valueOf(g, s.redPlus), valueOf(g, s.redMinus)
		c, d := valueOf(g, s.blackPlus), valueOf(g, s.blackMinus)
		r := valueOf(g, s.across)
		// Each by way of the other too.
		series := func(x, y float64) float64 {
			if x <= 0 || y <= 0 {
				return 0
			}
			return x * y / (x + y)
		}
		at := func(a, b, c, d float64) float64 {
			other := 0.0
			if c+d > 0 {
				other = series(r, c+d) / (c + d)
			}
			p, m := a+other*c, b+other*d
			if p <= 0 {
				return 0
			}
			return e * p / (p + m)
		}
		if s.red > plus {
			if s.black <= plus {
				c, d, r = 0, 0, 0
			}
			v[s.red] = at(a, b, c, d)
		}
		if s.black > plus && s.black != s.red {
			if s.red <= plus {
				a, b, r = 0, 0, 0
			}
			v[s.black] = at(c, d, a, b)
		}
	}
}

// back gives the voltage of the node that an operation took out; those it led to have theirs.
func (s *shape) back(o int, g, v []float64) {
	p := &s.ops[o]
	if p.node < 0 {
		return
	}
	sum, weighted := 0.0, 0.0
	in, far, _ := p.of(s.numbers)
	for i, slot := range in {
		sum += g[slot]
		weighted += g[slot] * v[far[i]]
	}
	if sum > 0 {
		v[p.node] = weighted / sum
	}
}

// stiffness gives, of every node, by how many volts an ampere into it moves it at most,
// once all operations are carried out: no more than by way of any of those it led to when
// it was taken out.
func (s *shape) stiffness(g, r []float64) {
	for k := range r {
		r[k] = math.Inf(1)
	}
	r[minus], r[plus] = 0, 0
	for o := len(s.ops) - 1; o >= 0; o-- {
		p := &s.ops[o]
		if p.node < 0 {
			continue
		}
		in, far, _ := p.of(s.numbers)
		for i, slot := range in {
			if g[slot] > 0 {
				if by := r[far[i]] + 1/g[slot]; by < r[p.node] {
					r[p.node] = by
				}
			}
		}
	}
}

// shares is share with spans.
func (s *shape) shares(g []Span) Span {
	of := func(slot int32) Span {
		if slot < 0 {
			return Span{}
		}
		return g[slot]
	}
	return shareOf(of(s.redPlus), of(s.redMinus), of(s.blackPlus), of(s.blackMinus), of(s.across), s.red, s.black)
}
