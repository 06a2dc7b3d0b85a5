package circuit

import (
	"fmt"
	"math"
	"slices"
)

// How much a load draws depends on what feeds it, and what feeds it on how much it
// draws. Begun with all that the load could draw, each round gives a least voltage
// over it, and that a narrower resistance; every round encloses the truth because
// the one before does.

// rounds are enough: a third changes less than a meter shows.
const rounds = 3

// little is how much narrower, by its share, a resistance must become to go on.
const little = 0.01

// metered is more than a voltmeter's current changes the voltage over a load, in
// volts.
const metered = 1e-3

// manyLoads, times what else follows from voltages, are not narrowed down.
const manyLoads = 200

// loadsUnder are the resistances of the loads under the faults, for bounds. Of two faults
// nothing is known of them (nil: all that they may be): what the one leaves of what feeds a
// load, by way of another load say, the other may take.
func (m *model) loadsUnder(faults []done) []Span {
	if len(m.loads) == 0 || m.cold || len(faults) > 1 {
		return nil // with nothing feeding them they are anything from cold to warm
	}
	if len(m.loads)*(1+len(m.gated)) > manyLoads {
		return nil // it would take long, and all that they may be is not wrong
	}
	out := m.shared(done{stretch: -1})
	for _, f := range faults {
		of := m.shared(f)
		joined := make([]Span, len(out))
		for k := range out {
			joined[k] = out[k].with(of[k])
		}
		out = joined
	}
	return out
}

// shared is fedUnder of the circuit in the same state without any leads, which all
// readings in that state share: a voltmeter takes nothing from a load. There the
// stretches are longer, so that less is known of where a fault lies.
func (m *model) shared(f done) []Span {
	if m.base == nil {
		return m.fedUnder(f)
	}
	all := m.base.fedUnder(m.moved(f, m.base))
	out := make([]Span, len(m.loads))
	for k, s := range m.loads {
		out[k] = all[m.base.load[m.base.of[m.stretches[s].elements[0]]]]
	}
	return out
}

// bare is the model of a state without any leads.
func (c *Circuit) bare(setup *Setup) *model {
	key := fmt.Sprint(setup.Posts, setup.Position, setup.Bridges, setup.Off)
	m := c.states[key]
	if m == nil {
		own := *setup
		m = c.reduce(&own, nil)
		if c.states == nil {
			c.states = map[string]*model{}
		}
		c.states[key] = m
	}
	return m
}

// allClosed is the model of the circuit with every contact closed and no leads.
func (c *Circuit) allClosed() *model {
	if c.closed == nil {
		c.closed = c.bare(&Setup{Posts: Exactly(c.System), Position: make([]Position, len(c.Elements))})
	}
	return c.closed
}

// fedUnder are the resistances of the loads under one fault; of stretch -1: none.
func (m *model) fedUnder(f done) []Span {
	if out, ok := m.fedLoads[f]; ok {
		return out
	}
	x := assumed{before: true, bounds: true}
	if f.stretch >= 0 {
		x.faults = []done{f}
	}
	x.loads = make([]Span, len(m.loads))
	for k, s := range m.loads {
		x.loads[k] = m.stretches[s].ohms
	}
	for range rounds {
		next := make([]Span, len(m.loads))
		narrower := false
		y := x
		m.settle(&y)
		for k, s := range m.loads {
			st := &m.stretches[s]
			v := magnitude(m.bound(&y, st.a, st.b, m.setup.Posts, nil))
			next[k] = m.c.Elements[st.elements[0]].within(min(max(v.Lo-metered, 0)/m.c.System, 1))
			narrower = narrower || next[k].Lo > (1+little)*x.loads[k].Lo
		}
		x.loads = next
		if !narrower {
			break
		}
	}
	m.fedLoads[f] = x.loads
	return x.loads
}

// LampVolts is the voltage, by the nominal one, at which a filament lamp has the
// power that is printed on it: 13.5 V of 12 (UN ECE Regulation 37, from memory).
const LampVolts = 1.125

// fullyFed are the resistances that the loads may have whatever feeds them.
func (m *model) fullyFed() []Span {
	if m.full == nil {
		m.full = make([]Span, len(m.loads))
		for k, s := range m.loads {
			m.full[k] = m.c.Elements[m.stretches[s].elements[0]].within(1)
		}
	}
	return m.full
}

// draw is the voltage between two nodes in a draw. Of a filament the resistance goes by
// the voltage over it (its current about as the 0.55th power of the voltage, common
// practice); other loads have what they usually have.
func (m *model) draw(x assumed, red, black int) float64 {
	_, s, f, e := m.warm(x, red, black)
	m.stiff = s.resist(f)
	return s.share(f) * e
}

// warm draws a network, as seen from two nodes, with each filament as warm as it gets; f
// are its conductances once all operations are carried out, e the voltage of the supply.
func (m *model) warm(x assumed, red, black int) (l *layout, s *shape, f []float64, e float64) {
	e = x.some(m.setup.Posts).Lo
	if m.filaments {
		if len(x.faults) > 0 && m.usually(&x).lit == nil { // where all begin
			well := x
			well.faults, well.warm = nil, false
			m.warm(well, red, black)
		}
		m.begin(&x)
	}
	var g []Span
	for round := 0; ; round++ {
		if round == 0 || len(m.gated) > 0 || m.atLoad(x.faults) {
			if len(m.gated) > 0 {
				m.settle(&x)
			}
			l = m.lay(&x)
			s, g = m.shape(l, red, black), m.spans(len(l.ends))
			m.fill(&x, l, g)
		} else {
			m.relit(&x, l, g)
		}
		f = s.rework(g)
		if !m.filaments || round == 3 || !m.warmed(&x, l, s, f, e) {
			if len(x.faults) == 0 && m.filaments { // where all that follows begins
				usual := m.usually(&x)
				usual.lit, usual.bulbs = slices.Clone(x.loads), slices.Clone(x.bulbs)
			}
			return l, s, f, e
		}
	}
}

// begin puts the filaments as warm as they are with nothing wrong, or as the draw before
// left them.
func (m *model) begin(x *assumed) {
	if m.lit == nil {
		m.lit, m.bulbs = make([]Span, len(m.loads)), make([]float64, len(m.bridges))
	}
	x.loads, x.bulbs = m.lit, m.bulbs
	if x.warm {
		return
	}
	usual := m.usually(x)
	if usual.lit != nil {
		copy(x.loads, usual.lit)
		copy(x.bulbs, usual.bulbs)
		return
	}
	for k, s := range m.loads {
		x.loads[k] = usual.ohms[s]
	}
	for k, b := range m.bridges {
		x.bulbs[k] = b.Usual
	}
}

// atLoad reports whether a fault is in a stretch that holds a load.
func (m *model) atLoad(faults []done) bool {
	for _, f := range faults {
		if f.stretch >= 0 && m.load[f.stretch] >= 0 {
			return true
		}
	}
	return false
}

// relit fills in the filaments alone.
func (m *model) relit(x *assumed, l *layout, g []Span) {
	for k, s := range m.loads {
		if m.stretches[s].kind == Lamp {
			g[s] = x.loose(x.loads[k].conductance(), m.stretches[s].position)
		}
	}
	for k, b := range m.bridges {
		if b.Usual > 0 {
			g[l.bridge+k] = Exactly(x.bulbs[k]).conductance()
		}
	}
}

// warmed lets the filaments take the warmth that goes with the voltages over them; false
// where they had it.
func (m *model) warmed(x *assumed, l *layout, s *shape, f []float64, e float64) bool {
	if len(m.volts) < l.n {
		m.volts = make([]float64, l.n+3)
	}
	v := m.volts
	s.ends(f, v, e)
	if s.again.lit == nil {
		s.again.lit = s.behind(m.glowing(), l.n)
	}
	for _, o := range s.again.lit {
		s.back(int(o), f, v)
	}
	lit := func(ohms, was, volts float64) (float64, bool) {
		now, fed := 0.1*ohms, min(math.Abs(volts)/(LampVolts*m.c.System), 1.2)
		if fed > 0 {
			now = ohms * max(math.Exp(0.45*math.Log(fed)), 0.1)
		}
		return now, math.Abs(now-was) > 0.02*now
	}
	changed := false
	usual := m.usually(x)
	for k, s := range m.loads {
		if st := &m.stretches[s]; st.kind == Lamp {
			now, moved := lit(usual.ohms[s].Lo, x.loads[k].Lo, v[st.a]-v[st.b])
			x.loads[k], changed = Exactly(now), changed || moved
		}
	}
	for k, b := range m.bridges {
		if b.Usual > 0 {
			now, moved := lit(b.Usual, x.bulbs[k], v[b.A]-v[b.B])
			x.bulbs[k], changed = now, changed || moved
		}
	}
	return changed
}

// cold is the share of its resistance that a load has for an ohmmeter: a filament a
// tenth, a motor that stands still a fifth (common practice).
func (k Kind) cold(is bool) float64 {
	switch {
	case is && k == Lamp:
		return 0.1
	case is && k == Motor:
		return 0.2
	}
	return 1
}

// usual is what all stretches have as they usually are.
type usual struct {
	of            usualKey
	ohms, siemens []Span
	// lit are the resistances of the loads with nothing wrong and each filament as warm as
	// it gets, bulbs those of the bridges that are bulbs; nil: not worked out yet.
	lit   []Span
	bulbs []float64
}

// wornAt is the share of all that contacts, wires and grounds may have which those that
// are worn have. Assumed: about one standard deviation of one, less of several together.
const wornAt = 0.75

// wornOhms is what a stretch that is worn has, in a draw.
func (m *model) wornOhms(s int) (ohms float64) {
	for _, k := range m.stretches[s].elements {
		ohms += m.c.Elements[k].Ohms.at(wornAt)
	}
	return ohms
}

type usualKey struct {
	loads float64
	worn  bool
}

// usually is what all stretches have, with loads of which nobody knows what they draw a
// share of the way from much to little, and what conducts worn or not.
func (m *model) usually(x *assumed) *usual {
	key := usualKey{x.little, x.worn}
	if !m.unknown {
		key.loads = 0.5
	}
	for _, u := range m.usual {
		if u.of == key {
			return u
		}
	}
	u := &usual{of: key, ohms: make([]Span, len(m.stretches)), siemens: make([]Span, len(m.stretches))}
	for s := range m.stretches {
		st := &m.stretches[s]
		ohms := st.nominal * st.kind.cold(m.cold)
		switch {
		case key.loads != 0.5 && st.isUnknown(m.c):
			ohms = m.c.Elements[st.elements[0]].Ohms.at(key.loads) * st.kind.cold(m.cold)
		case key.worn && st.kind < Load:
			ohms = m.wornOhms(s)
		}
		u.ohms[s] = Exactly(ohms)
		switch g := u.ohms[s].conductance(); st.position {
		case Closed:
			u.siemens[s] = g
		case Either:
			u.siemens[s] = g.Times(0.5)
		}
	}
	m.usual = append(m.usual, u)
	return u
}

// isUnknown reports whether nobody knows how much the load draws, by decades.
func (st *stretch) isUnknown(c *Circuit) bool {
	return st.kind >= Load && c.Elements[st.elements[0]].unknown()
}

// unknown reports whether nobody knows how much it draws, by decades.
func (e *Element) unknown() bool {
	return e.Kind >= Load && e.Kind != Diode && e.Ohms.Hi > 30*e.Ohms.Lo
}

// looped reports whether the stretches other than loads, and what bridges them, form
// a loop, or a load feeds what others hang on; both posts
// counted as one node each.
func (m *model) looped() bool {
	root := make([]int, m.n)
	for k := range root {
		root[k] = k
	}
	find := func(k int) int {
		for root[k] != k {
			k = root[k]
		}
		return k
	}
	for s := range m.stretches {
		st := &m.stretches[s]
		if m.load[s] >= 0 || st.kind == Coil || st.kind == Resistor || st.kind == Diode {
			continue
		}
		a, b := find(st.a), find(st.b)
		if a == b {
			return true
		}
		root[a] = b
	}
	for _, b := range m.bridges {
		x, y := find(b.A), find(b.B)
		if x == y {
			return true
		}
		root[x] = y
	}
	for _, s := range m.loads { // one that feeds others
		if st := &m.stretches[s]; find(st.a) == find(st.b) {
			return true
		}
	}
	return find(plus) == find(minus)
}
