package circuit

import "math"

// done is a fault as it changes the model.
type done struct {
	stretch int
	does    does
	ohms    Span
}

// pick chooses a value from what is not known: all of it for bounds, one point for
// a draw.
type pick func(what share, s Span) Span

// share names an unknown quantity; the same name means the same value.
type share int

const (
	ofPosts share = iota
	ofLeakPlus
	ofLeakMinus
	ofLow  // what conducts
	ofLoad // what works
	ofContact
	ofFault // and one more for a second fault
)

func everything(_ share, s Span) Span { return s }

// assumed is all that a network is built under.
type assumed struct {
	faults []done
	// before puts the first of two faults in one stretch before the other, seen from
	// its end a.
	before bool
	choose pick
	bounds bool
	// loads are the resistances of the loads as far as what feeds them is known.
	loads []Span
	// bulbs are the resistances of the bridges that are bulbs, in a draw.
	bulbs []float64
	// usual are the resistances of all stretches in a draw.
	usual []Span
	// gates says of a diode, or of a contact that a coil closes, how it stands, by
	// stretch.
	gates map[int]gate
	// rough: the mesh is enough.
	rough bool
	// noLeaks leaves out what leaks.
	noLeaks bool
	// lead is what the instrument puts between two nodes.
	lead Bridge
	// sensed is a stretch in which the current is wanted, by stretch and one: it gets
	// senseOhms of its own at its end a, the last node between.
	sensed int
	// far puts that at the other end.
	far bool
	// holds says which fuses are sure to be blown; held is one that is taken to be
	// whole, by stretch and one.
	holds map[int]Position
	held  int
}

// senseOhms is little beside the least there is in any circuit, so that sensing a
// current does not change it.
const senseOhms = 1e-8

type gate struct {
	set      bool
	position Position
	ohms     Span
}

// build is the network under what is assumed.
func (m *model) build(x *assumed) *network {
	faults, before, choose, bounds := x.faults, x.before, x.choose, x.bounds
	if m.scratch == nil {
		m.scratch = newNetwork(m.n + 3)
	}
	w := m.scratch // one at a time is needed
	w.clear()
	mid := m.n
	leak := Leak
	if bounds {
		leak.Hi = math.Inf(1) // all of it may leak somewhere else
	}
	leakPlus, leakMinus := choose(ofLeakPlus, leak).conductance(), choose(ofLeakMinus, leak).conductance()
	for k := range m.n {
		// In a draw what floats leaks once, at the leads.
		at := bounds || k == x.lead.A || k == x.lead.B
		if k != minus && k != plus && at && !x.noLeaks {
			w.join(k, plus, leakPlus)
			w.join(k, minus, leakMinus)
		}
	}
	if !x.noLeaks {
		// An ohmmeter may see it, by way of all that floats beside the model too.
		w.join(plus, minus, leakPlus.Times(float64(len(m.c.Points))))
	}
	for k, b := range m.bridges {
		ohms := choose(ofLoad, b.Ohms)
		if x.bulbs != nil && b.Usual > 0 {
			ohms = Exactly(x.bulbs[k])
		} else if !bounds && b.Usual > 0 {
			ohms = Exactly(b.Usual)
		}
		w.join(b.A, b.B, ohms.conductance())
	}
	if bounds && x.lead.Ohms.Hi <= 0 && !x.noLeaks {
		for _, l := range m.leads {
			w.join(l.A, l.B, l.Ohms.conductance())
		}
	}
	if x.lead.Ohms.Hi > 0 {
		w.join(x.lead.A, x.lead.B, choose(ofLoad, x.lead.Ohms).conductance())
	}
	for s := range m.stretches {
		st := &m.stretches[s]
		at := ofLow
		if st.kind >= Load {
			at = ofLoad
		}
		ohms, position := st.ohms, st.position
		if x.usual != nil {
			ohms = x.usual[s]
		} else if !bounds {
			ohms = choose(at, ohms)
		}
		if k := m.load[s]; k >= 0 && x.loads != nil {
			ohms = x.loads[k]
		}
		if g := x.gates[s]; g.set {
			ohms, position = g.ohms, g.position
		}
		var near, far Span // series faults on either side of a short
		var shunts []Span
		var to []int
		for i, f := range faults {
			if f.stretch != s {
				if bounds && f.does == toPlus && position == Closed && (st.kind == Fuse || st.kind == Breaker) {
					position = Either // what is fed past its fuse may have blown another
				}
				if f.does == toMinus || f.does == instead {
					for _, fuse := range m.fuses[f.stretch] {
						if fuse == s && position == Closed && x.held != s+1 {
							position = m.blown(x, s, choose(ofFault+share(i), f.ohms))
						}
					}
				}
				continue
			}
			v := choose(ofFault+share(i), f.ohms)
			switch f.does {
			case series:
				if (i == 0) == before {
					near = near.Plus(v)
				} else {
					far = far.Plus(v)
				}
			case instead:
				ohms = v
			case toMinus:
				shunts, to = append(shunts, v), append(to, minus)
			case toPlus:
				shunts, to = append(shunts, v), append(to, plus)
			case stuck:
				position = Closed
			}
		}
		loose := func(g Span) Span {
			switch position {
			case Open:
				return Span{}
			case Either:
				if bounds {
					return Span{0, g.Hi}
				}
				return choose(ofContact, Span{0, g.Hi})
			}
			return g
		}
		a, b := st.a, st.b
		switch {
		case x.sensed == s+1 && x.far:
			b = m.n + 2
			w.join(b, st.b, Exactly(1/senseOhms))
		case x.sensed == s+1:
			a = m.n + 2
			w.join(st.a, a, Exactly(1/senseOhms))
		}
		if len(shunts) == 0 && near.Hi > 0 && far.Hi > 0 {
			// What lies between two that are nearly open floats by itself.
			w.join(a, mid, loose(ohms.Plus(near).conductance()))
			w.join(mid, b, loose(far.conductance()))
			if !x.noLeaks {
				w.join(mid, plus, leakPlus)
				w.join(mid, minus, leakMinus)
			}
			mid++
			continue
		}
		if len(shunts) == 0 {
			w.join(a, b, loose(ohms.Plus(near).Plus(far).conductance()))
			continue
		}
		half := ohms.Times(0.5)
		if bounds {
			half = Span{0, ohms.Hi} // nobody knows where
		}
		if bounds && len(shunts) == 2 && !before {
			shunts[0], shunts[1], to[0], to[1] = shunts[1], shunts[0], to[1], to[0]
		}
		w.join(a, mid, loose(half.Plus(near).conductance()))
		w.join(mid, to[0], shunts[0].conductance())
		for k := range shunts[1:] { // they may lie apart
			apart := half
			if !bounds {
				apart = Span{}
			}
			w.join(mid, mid+1, apart.conductance())
			mid++
			w.join(mid, to[k+1], shunts[k+1].conductance())
		}
		w.join(mid, b, loose(half.Plus(far).conductance()))
		mid++
	}
	return w
}

// blows is how many times its rating a fuse does not hold for a minute (ISO 8820-3,
// from memory: 1.1 times for a hundred hours, 1.35 times for up to ten minutes, 1.6
// times for 50 seconds at most).
const blows = 1.6

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
// whole, more than it holds must flow.
func (m *model) blownFuses(x assumed) map[int]Position {
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
			y := x
			y.held, y.sensed, y.far, y.lead = fuse+1, fuse+1, false, Bridge{}
			y.holds = nil
			w := m.build(&y)
			a, mid := m.stretches[fuse].a, m.n+2
			w.keep(a, mid)
			amps := magnitude(w.volts(a, mid, x.choose(ofPosts, m.setup.Posts))).Times(1 / senseOhms)
			if amps.Lo > blows*rating {
				if out == nil {
					out = map[int]Position{}
				}
				out[fuse] = Open
			}
		}
	}
	return out
}
