package circuit

import "math"

// A diode conducts from 0.4 to 1.0 V on (silicon; common practice: 0.6 to 0.8).
var knee = Span{0.4, 1.0}

const kneeAbout = 0.75

// burning is what a diode has over it at the current of a short, for as long as it lasts:
// 0.84 V at an ampere and 0.1 V more for each tenfold come to 1.1 V at four hundred. Assumed.
const burning = 1.2

// pullIn and dropOut are the shares of the nominal voltage at which a relay is sure
// to close, and sure not to (common practice: it closes by two thirds and lets go
// by a tenth).
const (
	pullIn  = 0.7
	dropOut = 0.1
)

// settle lets what is assumed hold what follows from voltages: which fuses cannot have held,
// how the contacts stand that coils close, which diodes conduct.
func (m *model) settle(x *assumed) {
	if x.bounds && !m.cold { // with nothing feeding it, a new fuse may be in
		x.holds = m.blownFuses(x)
	}
	if len(m.gated) > 0 {
		m.set(x)
	}
}

// set finds how the gates stand.
func (m *model) set(x *assumed) {
	x.gates = make([]gate, len(m.gated))
	if m.cold {
		m.setCold(x)
		return
	}
	for n, s := range m.gated {
		x.gates[n] = gate{position: Either, ohms: Usual(m.stretches[s].kind, 0)}
		if !x.bounds {
			x.gates[n] = gate{position: Open, ohms: Exactly(1)}
		}
	}
	// A contact may lead to the next coil: as often as there are some.
	for range m.gated {
		changed := false
		for n, s := range m.gated {
			st, before := &m.stretches[s], x.gates[n]
			switch {
			case st.follows < 0:
				m.diode(x, n)
			case m.of[st.follows] < 0: // the coil is unplugged
				x.gates[n] = gate{position: m.stuck(x.faults, s, Open), ohms: x.some(st.ohms)}
			default:
				x.gates[n] = gate{position: m.stuck(x.faults, s, m.pulled(x, m.of[st.follows])), ohms: x.some(st.ohms)}
			}
			changed = changed || x.gates[n].position != before.position || x.gates[n].ohms != before.ohms
		}
		if !changed {
			break
		}
	}
}

// kneeOhms is what an ohmmeter makes of a diode that it lets conduct, at the
// milliampere or less that it sends (common practice).
var kneeOhms = Span{300, math.Inf(1)}

// setCold is set while an ohmmeter is on what nothing feeds: a coil pulls only where it is
// fed from elsewhere, and a diode lets through what little the meter sends, or nothing. Where
// a fault feeds it, any coil may pull and a diode conduct.
func (m *model) setCold(x *assumed) {
	fed := x.bounds && m.feeds(x.faults)
	for n, s := range m.gated {
		st := &m.stretches[s]
		switch {
		case st.follows >= 0:
			p := Open
			switch {
			case x.bounds && (fed || m.pullable()[n]):
				p = Either
			case m.pullable()[n]:
				p = Closed
			}
			x.gates[n] = gate{position: m.stuck(x.faults, s, p), ohms: x.some(st.ohms)}
		case fed:
			x.gates[n] = gate{position: Either, ohms: Span{0, math.Inf(1)}}
		case x.bounds:
			x.gates[n] = gate{position: Closed, ohms: kneeOhms}
		default:
			x.gates[n] = gate{position: Open, ohms: Exactly(1)}
		}
		for _, f := range x.faults {
			if f.stretch == s && f.does == instead {
				x.gates[n] = gate{position: Closed, ohms: x.size(0, f.ohms)}
			}
		}
	}
}

// pullable says of each gate whether something feeds the coil that it follows though an
// ohmmeter is on.
func (m *model) pullable() []bool {
	if m.pulls == nil {
		m.pulls = make([]bool, len(m.gated))
		for n, s := range m.gated {
			if coil := m.stretches[s].follows; coil >= 0 && !m.setup.Off && m.of[coil] >= 0 {
				e := &m.c.Elements[coil]
				m.pulls[n] = m.c.Live(m.setup, e.From, e.To)
			}
		}
	}
	return m.pulls
}

// stuck is the position, unless a fault holds the contact closed.
func (m *model) stuck(faults []done, s int, p Position) Position {
	for _, f := range faults {
		if f.stretch == s && f.does == stuck {
			return Closed
		}
	}
	return p
}

// over is the voltage over a stretch, from a to b.
func (m *model) over(x *assumed, s int) Span {
	st := &m.stretches[s]
	posts := x.some(m.setup.Posts)
	if !x.bounds {
		return Exactly(m.seen(x, st.a, st.b) * posts.Lo)
	}
	return m.bound(x, st.a, st.b, posts, nil)
}

// pulled says whether the coil closes its contact.
func (m *model) pulled(x *assumed, coil int) Position {
	for _, f := range x.faults {
		if f.stretch == coil && f.does == series && f.ohms.Lo >= openOhms.Lo {
			return Open // no current, whatever the voltage over it
		}
	}
	v := m.over(x, coil)
	lo, hi := math.Min(math.Abs(v.Lo), math.Abs(v.Hi)), math.Max(math.Abs(v.Lo), math.Abs(v.Hi))
	if v.Lo < 0 && v.Hi > 0 {
		lo = 0
	}
	switch {
	case lo > pullIn*m.c.System:
		return Closed
	case hi < dropOut*m.c.System || !x.bounds && hi < (pullIn+dropOut)/2*m.c.System:
		return Open
	case !x.bounds:
		return Closed
	}
	return Either
}

// diode finds how the diode in gate n stands: it conducts when the voltage over it, if it did
// not, would be past its knee.
func (m *model) diode(x *assumed, n int) {
	s, round := m.gated[n], false
	for _, f := range x.faults {
		if f.stretch == s {
			switch f.does {
			case other:
				round = !round
			case instead: // shorted: it is no diode any more
				x.gates[n] = gate{position: Closed, ohms: x.size(0, f.ohms)}
				return
			}
		}
	}
	forward := func(p Position, ohms Span) Span {
		x.gates[n] = gate{position: p, ohms: ohms}
		v := m.over(x, s)
		if round {
			return turned(v)
		}
		return v
	}
	v := forward(Open, Exactly(1))
	switch {
	case v.Hi < knee.Lo:
		return
	case x.bounds:
		x.gates[n] = gate{position: Either, ohms: Span{0, math.Inf(1)}, conducts: v.Lo > knee.Hi}
		return
	}
	// The resistance at which the voltage over it is that of the knee.
	lo, hi := 1e-3, 1e8
	for range 25 {
		mid := math.Sqrt(lo * hi)
		if forward(Closed, Exactly(mid)).Hi > kneeAbout {
			hi = mid
		} else {
			lo = mid
		}
	}
}
