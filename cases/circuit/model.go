package circuit

// stretch is a run of elements one behind the other that nothing branches off and
// no lead touches: to a reading, what is wrong with one of them is wrong with all.
type stretch struct {
	a, b     int // nodes of the model
	elements []int
	kind     Kind
	ohms     Span // of all of them, well and closed
	nominal  float64
	position Position
	follows  int // the coil, as an element; -1: none
}

// model is the circuit in one state, as far as one reading is concerned.
type model struct {
	c         *Circuit
	setup     *Setup
	node      []int // of the circuit's nodes the model's; -1: within a stretch
	n         int
	stretches []stretch
	of        []int // of each element its stretch; -1: it is taken out
	bridges   []Bridge
	fuses     [][]int // of each stretch the fuses that a short in it would blow
	loads     []int   // stretches whose resistance depends on what feeds them
	load      []int   // of each stretch its place among loads, -1: none
	loops     bool    // what conducts forms a loop
	parted    bool    // a plug is off
	gated     []int   // stretches whose state follows from voltages
	fedLoads  map[done][]Span
	usual     []*usual
	rest      []Span // what the stretches conduct with nothing wrong, for bounds
	layouts   map[layoutKey]*layout
	leads     []Bridge // what the instrument may put where, for what feeds the loads
	diodes    bool     // something in it is one
	filaments bool     // something in it glows
	lit       []Span   // room for the loads and bulbs of a draw
	bulbs     []float64
	blew      map[[maxFaults]done]map[int]Position
	takes     []float64      // of each stretch that is a fuse what loads take through it at most, in amperes; nil: not worked out
	took      []float64      // with takes, the same with every contact closed, by the stretches of that model
	touchBlew map[done][]int // of each short between two stretches the fuses that it blows in a draw
	turning   map[done]bool  // whether what a draw shows may turn round as a fault grows
	full      []Span         // what the loads may have whatever feeds them
	islands   []int          // of each point of the circuit what joins it to others, see joined
	unknown   bool           // nobody knows how much one of the loads draws
	loose     bool           // something is open without any fault, so that nodes float
	room      []Span
	known     []float64
	volts     []float64
	stiff     float64 // how many volts an ampere moves what the last draw saw, at most
	vary      []int32
	stiffness []float64
	readings  int     // how many share the state, of one without leads
	survey    *survey // of such a state
	base      *model  // the same state without leads, shared by readings; nil: none
	cold      bool    // nothing feeds it: an ohmmeter is on
	pulls     []bool  // of each gate whether its coil is fed all the same; nil: not asked yet
}

// reduce makes the model in which the nodes of keep can be told apart.
func (c *Circuit) reduce(setup *Setup, keep []int) *model {
	m := &model{c: c, setup: setup, of: make([]int, len(c.Elements)), node: make([]int, len(c.Points))}
	touching := make([][]int, len(c.Points))
	for k := range c.Elements {
		e := &c.Elements[k]
		m.of[k] = -1
		if p := m.position(k); e.From == e.To || p == Gone && !e.Kind.plugs() || p == Open && e.Kind != Switch && e.Kind != Output {
			continue
		}
		touching[e.From] = append(touching[e.From], k)
		touching[e.To] = append(touching[e.To], k)
	}
	key := make([]bool, len(c.Points))
	key[minus], key[plus] = true, true
	for _, n := range keep {
		key[n] = true
	}
	for _, b := range setup.Bridges {
		key[b.A], key[b.B] = true, true
	}
	for n, all := range touching {
		key[n] = key[n] || len(all) != 2 || !m.runsOn(all[0]) || !m.runsOn(all[1])
	}
	m.n = 0
	for n := range c.Points {
		m.node[n] = -1
		if key[n] && (n <= plus || len(touching[n]) > 0 || m.bridged(n)) || contains(keep, n) {
			m.node[n] = m.n
			m.n++
		}
	}
	for n, all := range touching {
		if m.node[n] >= 0 {
			for _, k := range all {
				if m.of[k] < 0 {
					m.walk(n, k, touching)
				}
			}
		}
	}
	for k := range c.Elements { // a ring that nothing joins
		if e := &c.Elements[k]; m.of[k] < 0 && contains(touching[e.From], k) && m.node[e.From] < 0 {
			m.node[e.From] = m.n
			m.n++
			m.walk(e.From, k, touching)
		}
	}
	for _, b := range setup.Bridges {
		m.filaments = m.filaments || b.Usual > 0
		m.bridges = append(m.bridges, Bridge{m.node[b.A], m.node[b.B], b.Ohms, b.Usual})
	}
	m.above()
	m.load = make([]int, len(m.stretches))
	for s := range m.stretches {
		m.unknown = m.unknown || m.stretches[s].isUnknown(c)
		m.load[s] = -1
		m.diodes = m.diodes || m.stretches[s].kind == Diode
		if m.stretches[s].kind == Diode || m.stretches[s].follows >= 0 {
			m.gated = append(m.gated, s)
		}
		if k := m.stretches[s].kind; k == Lamp || k == Motor || k == Load {
			m.load[s] = len(m.loads)
			m.loads = append(m.loads, s)
			m.filaments = m.filaments || k == Lamp
		}
	}
	for k := range c.Elements {
		p := m.position(k)
		m.loose = m.loose || p != Closed
		m.parted = m.parted || p == Gone && c.Elements[k].Kind == Contact
	}
	m.blew, m.touchBlew, m.turning = map[[maxFaults]done]map[int]Position{}, map[done][]int{}, map[done]bool{}
	m.fedLoads = map[done][]Span{}
	m.loops = m.looped()
	return m
}

// plugs reports whether an element of the kind stays in the model while it is unplugged:
// it conducts nothing, but a short in it, or behind it, may have blown a fuse before that,
// and a chafed plug may touch metal on either side.
func (k Kind) plugs() bool { return k == Contact || k == Load || k == Lamp || k == Motor }

func contains(all []int, n int) bool {
	for _, x := range all {
		if x == n {
			return true
		}
	}
	return false
}

func (m *model) bridged(n int) bool {
	for _, b := range m.setup.Bridges {
		if b.A == n || b.B == n {
			return true
		}
	}
	return false
}

func (m *model) position(k int) Position {
	if k < len(m.setup.Position) {
		return m.setup.Position[k]
	}
	return Closed
}

// runsOn reports whether the element can be part of a longer stretch.
func (m *model) runsOn(k int) bool {
	e := &m.c.Elements[k]
	return e.Kind.merges() && m.position(k) == Closed && e.Follows < 0
}

// walk gathers the stretch that leaves the node by the element.
func (m *model) walk(from, first int, touching [][]int) {
	st := stretch{a: m.node[from], follows: -1}
	at, k := from, first
	for {
		e := &m.c.Elements[k]
		m.of[k] = len(m.stretches)
		st.elements = append(st.elements, k)
		ohms := e.within(0)
		st.ohms = st.ohms.Plus(ohms)
		st.nominal += e.Ohms.at(0.5)
		if at = e.From + e.To - at; m.node[at] >= 0 {
			break
		}
		next := touching[at][0]
		if next == k {
			next = touching[at][1]
		}
		k = next
	}
	st.b = m.node[at]
	if e := &m.c.Elements[first]; len(st.elements) == 1 {
		st.kind, st.position, st.follows = e.Kind, m.position(first), e.Follows
		if e.From != from {
			st.a, st.b = st.b, st.a // as drawn, from plus to minus
		}
	}
	m.stretches = append(m.stretches, st)
}

// above finds, for each stretch, the fuses through which the positive post reaches
// it, and be it by one way of several: a short there may have blown them.
func (m *model) above() {
	m.fuses = make([][]int, len(m.stretches))
	for f := range m.stretches {
		fuse := &m.stretches[f]
		if fuse.kind != Fuse && fuse.kind != Breaker {
			continue
		}
		for _, way := range [2][2]int{{fuse.a, fuse.b}, {fuse.b, fuse.a}} {
			near, far := way[0], way[1]
			if far == plus || far == minus || !m.fed(plus, far)[near] {
				continue
			}
			below := m.fed(far, near)
			for s := range m.stretches {
				st := &m.stretches[s]
				if s != f && (below[st.a] || below[st.b]) && !contains(m.fuses[s], f) {
					m.fuses[s] = append(m.fuses[s], f)
				}
			}
		}
	}
}

// fed marks the nodes that a node reaches through anything but loads, one other node
// and the posts. Contacts count as closed: what was blown may have been blown at
// another time.
func (m *model) fed(from, without int) []bool {
	out := make([]bool, m.n)
	out[from] = true
	for again := true; again; {
		again = false
		for s := range m.stretches {
			st := &m.stretches[s]
			low := st.kind.merges() || st.kind == Fuse || st.kind == Breaker || st.kind == Output
			if !low {
				continue
			}
			again = reach(out, st.a, st.b, without) || again
		}
		for _, b := range m.bridges {
			again = reach(out, b.A, b.B, without) || again
		}
	}
	return out
}

// reach marks either end when the other is marked, unless it is a post or without.
func reach(out []bool, a, b, without int) bool {
	far := a
	if out[a] {
		far = b
	}
	if out[a] == out[b] || far == minus || far == plus || far == without {
		return false
	}
	out[far] = true
	return true
}

// nominal is the voltage over a stretch with everything as it usually is.
func (m *model) nominal(st *stretch) float64 {
	w := newNetwork(m.n)
	leak := Exactly(per(Leak.at(0.5)))
	for k := 2; k < m.n; k++ {
		w.join(k, plus, leak)
		w.join(k, minus, leak)
	}
	for s := range m.stretches {
		other := &m.stretches[s]
		w.join(other.a, other.b, Exactly(per(other.nominal)))
	}
	w.keep(st.a, st.b)
	return w.volts(st.a, st.b, m.setup.Posts).Hi
}
