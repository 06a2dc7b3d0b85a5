package circuit

import "math/bits"

// One draw after the other mostly differs in few conductances: those of a fault, and of
// filaments that get warmer. Each conductance goes into one operation, and what that makes
// into one more, so that only what lies behind what is new is carried out again. The rest is
// what it was to the last bit, so that it does not matter which draw came before.

// again is what is kept of a shape from one draw to the next.
type again struct {
	f     []float64 // the conductances once all operations were carried out; nil: never yet
	into  []int32   // of each slot the operation that it goes into; -1: it is left
	stale []uint64  // the operations to carry out
	lit   []int32   // the operations behind the voltages over filaments, the last first
}

// rework carries out the operations on conductances that are known, in slots as many as the
// layout has, and returns those of all slots.
func (s *shape) rework(g []Span) []float64 {
	a := &s.again
	if a.f == nil {
		a.f = make([]float64, s.slots)
		for i := range g {
			a.f[i] = g[i].Lo
		}
		s.work(s.ops, a.f)
		return a.f
	}
	if a.into == nil {
		a.into, a.stale = make([]int32, s.slots), make([]uint64, len(s.ops)/64+1)
		for i := range a.into {
			a.into[i] = -1
		}
		for o := range s.ops {
			in, _, _ := s.ops[o].of(s.numbers)
			for _, slot := range in {
				a.into[slot] = int32(o)
			}
		}
	}
	for i := range g {
		if v := g[i].Lo; v != a.f[i] {
			a.f[i] = v
			a.spoil(int32(i))
		}
	}
	for w := range a.stale {
		for a.stale[w] != 0 {
			k := bits.TrailingZeros64(a.stale[w])
			a.stale[w] &^= 1 << k
			o := 64*w + k
			for _, slot := range s.carry(&s.ops[o], a.f) {
				a.spoil(slot)
			}
		}
	}
	return a.f
}

// spoil marks what a slot goes into.
func (a *again) spoil(slot int32) {
	if o := a.into[slot]; o >= 0 {
		a.stale[o/64] |= 1 << (o % 64)
	}
}

// behind are the operations that the voltages of the nodes need, the last first.
func (s *shape) behind(nodes []int, n int) []int32 {
	needed := make([]bool, n)
	for _, k := range nodes {
		needed[k] = true
	}
	var out []int32
	for o := range s.ops {
		p := &s.ops[o]
		if p.node < 0 || !needed[p.node] {
			continue
		}
		out = append(out, int32(o))
		_, far, _ := p.of(s.numbers)
		for _, k := range far {
			needed[k] = true
		}
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out
}

// glowing are the nodes at the ends of filaments.
func (m *model) glowing() (nodes []int) {
	for _, s := range m.loads {
		if st := &m.stretches[s]; st.kind == Lamp {
			nodes = append(nodes, st.a, st.b)
		}
	}
	for _, b := range m.bridges {
		if b.Usual > 0 {
			nodes = append(nodes, b.A, b.B)
		}
	}
	return nodes
}
