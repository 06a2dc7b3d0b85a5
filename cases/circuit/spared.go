package circuit

import "math"

// spared reports whether a fuse holds though faults add resistance somewhere, feed
// something from the positive post, or short something behind a load: then nothing flows
// through it but what loads take.
//
// Why: current flows from where the voltage is higher to where it is lower, so that what
// flows through a fuse can be parted into ways from the positive post, or from what is fed
// past it, to the negative one, none of which comes back to the positive post. Where each of
// them leads through a load, the current of all is no more than what the loads take that they
// come to first beyond the fuse, whatever else there is; and none of those takes more than it
// can at the full voltage, or starved, whichever is more.
func (m *model) spared(x *assumed, fuse int) bool {
	fed, shorted := false, false
	for i := range x.faults {
		switch f := &x.faults[i]; f.does {
		case series, stuck:
		case toPlus:
			fed = true
		case toMinus, instead:
			if shorted = true; m.diodes || contains(m.fuses[f.stretch], fuse) {
				return false // no load is before it, or no more than a diode
			}
		default:
			return false
		}
	}
	if fed && shorted {
		return false // from what is fed past it the short may lie the other way
	}
	k := m.stretches[fuse].elements[0]
	now, before := m, m.c.allClosed() // what blew before something was pulled stays blown
	if m.base != nil {
		now = m.base
	}
	if now.takes == nil {
		posts := m.setup.Posts.Hi
		now.takes, now.took = now.allTake(posts), before.allTake(posts)
	}
	return max(now.takes[now.of[k]], now.took[before.of[k]]) <= m.c.Elements[k].Rating
}

// allTake is of each fuse how much loads take through it at most, in amperes, with so many
// volts over the posts.
func (m *model) allTake(posts float64) []float64 {
	out, amps := make([]float64, len(m.stretches)), make([]float64, len(m.stretches))
	for s := range m.stretches {
		amps[s] = m.mostAmps(s, posts)
	}
	for s := range m.stretches {
		st := &m.stretches[s]
		if st.kind != Fuse && st.kind != Breaker {
			continue
		}
		out[s] = m.taken(s, st.b, amps, posts)
		if st.a != plus { // nothing flows into the positive post
			out[s] = math.Max(out[s], m.taken(s, st.a, amps, posts))
		}
	}
	return out
}

// taken is how much the loads take at most that current comes to first from a node, once it
// came there through a fuse, in amperes; infinite where it gets to the negative post without
// any. All that may conduct counts as closed.
func (m *model) taken(fuse, from int, amps []float64, posts float64) float64 {
	if from == minus {
		return math.Inf(1)
	}
	reached := make([]bool, m.n)
	reached[from] = true
	all := 1e-3 // of meters and leaks
	meet := func(a, b int, load float64) (again bool) {
		switch {
		case load > 0 && (reached[a] || reached[b]):
			all += load
		case load > 0 || reached[a] == reached[b]:
		case a == minus || b == minus:
			all = math.Inf(1)
		case a != plus && b != plus:
			reached[a], reached[b], again = true, true, true
		}
		return again
	}
	for again := true; again; {
		again = false
		for s := range m.stretches {
			if st := &m.stretches[s]; s != fuse && amps[s] == 0 {
				again = meet(st.a, st.b, 0) || again
			}
		}
		for _, b := range m.bridges {
			if b.Usual == 0 {
				again = meet(b.A, b.B, 0) || again
			}
		}
	}
	for s := range m.stretches {
		meet(m.stretches[s].a, m.stretches[s].b, amps[s])
	}
	for _, b := range m.bridges {
		if b.Usual > 0 {
			meet(b.A, b.B, posts/(b.Usual/12))
		}
	}
	for _, b := range m.leads { // a test lamp takes some too
		meet(b.A, b.B, posts/math.Max(b.Ohms.Lo, 1e-5))
	}
	return all
}

// mostAmps is what a load takes at most, however it is fed; 0 of what is none. A motor that
// is starved until it stands still takes more than one that runs (within).
func (m *model) mostAmps(s int, posts float64) float64 {
	e := &m.c.Elements[m.stretches[s].elements[0]]
	if e.Kind < Load || e.Kind == Diode {
		return 0
	}
	most, full := 0.0, max(posts/m.c.System, 1)
	const steps = 100
	for k := 1; k <= steps; k++ {
		fed := full * float64(k) / steps
		least := e.within(min(full*float64(k-1)/steps, 1)).Lo // of all that is fed as much, or a little less
		most = math.Max(most, fed*m.c.System/least)
	}
	return most
}
