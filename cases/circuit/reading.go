package circuit

import (
	"math"
	"slices"

	"knowngood.example/cases/suspect"
)

// Quantity is what was read.
type Quantity int

// The quantities.
const (
	Volts Quantity = iota
	Amps
	Ohms
	// Shine is how bright a lamp between the leads was, as the share of the supply
	// over it.
	Shine
)

// Reading is something read in one state of the circuit.
type Reading struct {
	ID, Setup string
	Quantity  Quantity
	// Red and Black are the nodes that the leads may have touched: more than one
	// where a name may mean either side. Of a current: the ends of Along.
	Red, Black []int
	// Along is the element whose current was read.
	Along int
	// Shown lies in this span; both ends are the value where it was exact.
	Shown Span
	// Sigma is the standard deviation of the reading: meter, leads, a shaking hand.
	Sigma float64
	// Lead is what the instrument itself puts between red and black, in ohms; none
	// where Hi is 0.
	Lead Span
	// Through is the current that flowed meanwhile where somebody read it; Hi 0:
	// nobody did.
	Through Span
	// Duty is the share of the time for which a driven circuit was fed, as an
	// averaging meter sees it; 1 where nothing pulses.
	Duty Span
	// Absent is how likely it is that the fault was not there at the time: it comes
	// and goes.
	Absent float64
	// Told: it proves nothing, since nobody's leads were there.
	Told bool
}

// Observation is a reading as evidence.
type Observation struct {
	Reading
	circuit *Circuit
	setup   Setup
	parts   []suspect.Part // of each element, what was in its place
	model   *model
	idle    *model // what drives it not driving, where it is driven in pulses
	effects []done // by class, from firstEffect on
	class   map[done]int
	memo    map[[3]int]result
	draws   map[drawKey][]float64
	chances map[[3]int][]float64
}

type drawKey struct {
	classes [3]int
	n       int
}

type result struct{ most, beyond float64 }

const (
	noEffect = iota
	notNamed // something not named takes part
	notDrawn // it is not as drawn
	firstEffect
)

// Observe makes evidence of a reading. parts says of each element what was in its
// place at the time.
func (c *Circuit) Observe(setup Setup, r Reading, parts []suspect.Part) *Observation {
	r.Lead = r.Lead.sane()
	setup.Posts = setup.Posts.sane()
	if limit := 10 * c.System; !(setup.Posts.Hi < limit) { // no battery
		setup.Posts = Span{math.Min(setup.Posts.Lo, limit), limit}
	}
	setup.Bridges = slices.Clone(setup.Bridges)
	for k := range setup.Bridges {
		setup.Bridges[k].Ohms = setup.Bridges[k].Ohms.sane()
	}
	keep := append(append([]int{}, r.Red...), r.Black...)
	if r.Quantity == Amps {
		keep = append(keep, c.Elements[r.Along].From, c.Elements[r.Along].To)
	}
	o := &Observation{Reading: r, circuit: c, setup: setup, parts: parts, class: map[done]int{}, memo: map[[3]int]result{}, draws: map[drawKey][]float64{}, chances: map[[3]int][]float64{}}
	o.model = c.reduce(&o.setup, keep)
	o.model.cold = r.Quantity == Ohms
	o.model.leads = o.leads(o.model)
	if r.Duty.Hi > 0 && r.Duty.Lo < 1 {
		idle := setup
		idle.Position = make([]Position, len(c.Elements))
		for k := range c.Elements {
			idle.Position[k] = o.model.position(k)
			if c.Elements[k].Kind == Output && idle.Position[k] != Gone {
				idle.Position[k] = Open
			}
		}
		o.idle = c.reduce(&idle, keep)
	}
	return o
}

// Source implements suspect.Evidence.
func (o *Observation) Source() (id, setup string) { return o.ID, o.Setup }

// Had reports whether the part was in the circuit when the reading was taken.
func (o *Observation) Had(p suspect.Part) bool {
	for _, q := range o.parts {
		if p == q {
			return true
		}
	}
	return false
}

// Class implements suspect.Classed: faults in one stretch that do the same.
func (o *Observation) Class(f suspect.Fault) int {
	switch f.Part {
	case suspect.NotNamed:
		return notNamed
	case suspect.NotAsDrawn:
		return notDrawn
	}
	d, ok := o.done(f)
	if !ok {
		return noEffect
	}
	k, met := o.class[d]
	if !met {
		k = firstEffect + len(o.effects)
		o.class[d] = k
		o.effects = append(o.effects, d)
	}
	return k
}

// done is what the fault did when the reading was taken.
func (o *Observation) done(f suspect.Fault) (done, bool) {
	for k, p := range o.parts {
		if p != f.Part || o.model.of[k] < 0 {
			continue
		}
		e := &o.circuit.Elements[k]
		if !e.Kind.has(f.Mode) {
			continue
		}
		what, ohms := e.effect(f.Mode, o.circuit.high[k])
		if what == nothing {
			return done{}, false
		}
		return done{o.model.of[k], what, ohms}, true
	}
	return done{}, false
}

func (k Kind) has(m suspect.Mode) bool {
	for _, s := range k.Modes() {
		if s.Mode == m {
			return true
		}
	}
	return false
}

// key of a hypothesis of at most three faults: their classes.
func (o *Observation) key(h suspect.Hypothesis) (key [3]int, isWild bool) {
	for i, f := range h {
		if i == len(key) {
			break
		}
		key[i] = o.Class(f)
		isWild = isWild || key[i] == notNamed || key[i] == notDrawn
	}
	return key, isWild
}

func (o *Observation) doneOf(key [3]int) []done {
	var out []done
	for _, k := range key {
		if k >= firstEffect {
			out = append(out, o.effects[k-firstEffect])
		}
	}
	return out
}

// Expect is what the reading can be at all under the hypothesis.
func (o *Observation) Expect(h suspect.Hypothesis) Span {
	key, _ := o.key(h)
	return o.reach(o.doneOf(key))
}

// reach bounds what can be shown under the faults. Where a resistance is unknown by
// decades and loads depend on what feeds them, all of it at once would allow for
// loads that are starved by much and fed through little; piece by piece it does not.
func (o *Observation) reach(faults []done) Span {
	first := true
	var out Span
	for _, piece := range o.pieces(faults) {
		s := o.reachAt(piece)
		if first {
			out, first = s, false
		}
		out = out.with(s)
	}
	return out
}

// nearest is how far what was shown lies outside what can be, by the piece that it
// lies nearest to.
func (o *Observation) nearest(faults []done) float64 {
	off := o.off(o.reachAt(faults))
	if off > 0 || !o.starves(faults) {
		return off
	}
	off = math.Inf(1)
	for _, piece := range o.pieces(faults) {
		if off = math.Min(off, o.off(o.reachAt(piece))); off == 0 {
			break
		}
	}
	return off
}

// starves reports whether pieces tell more than the whole.
func (o *Observation) starves(faults []done) bool {
	for _, f := range faults {
		if f.varies() {
			return len(o.model.loads) > 0 && o.Quantity != Ohms
		}
	}
	return false
}

// pieceEnds are where pieces of an unknown resistance end, by its least.
var pieceEnds = []float64{1, 3, 10, 30, 100, 1e4}

// pieces are the faults with each unknown resistance cut into pieces.
func (o *Observation) pieces(faults []done) [][]done {
	if !o.starves(faults) {
		return [][]done{faults}
	}
	out := [][]done{nil}
	for _, f := range faults {
		cut := []done{f}
		if f.varies() {
			cut = nil
			for k, from := range pieceEnds {
				to := f.ohms.Hi
				if k+1 < len(pieceEnds) {
					to = f.ohms.Lo * pieceEnds[k+1]
				}
				cut = append(cut, done{f.stretch, f.does, Span{f.ohms.Lo * from, math.Max(to, f.ohms.Lo*from)}})
			}
		}
		var next [][]done
		for _, before := range out {
			for _, c := range cut {
				next = append(next, append(append([]done{}, before...), c))
			}
		}
		out = next
	}
	return out
}

// reachAt is reach in one piece.
func (o *Observation) reachAt(faults []done) Span {
	x := assumed{faults: faults, before: true, choose: everything, bounds: true, loads: o.model.loadsUnder(faults)}
	out := o.span(x)
	if sameStretch(faults) {
		x.before = false
		out = out.with(o.span(x))
	}
	return out
}

func sameStretch(faults []done) bool {
	for i := range faults {
		for j := range i {
			if faults[i].stretch == faults[j].stretch {
				return true
			}
		}
	}
	return false
}

// span is what is shown under what is assumed, over all that the leads may have
// touched.
func (o *Observation) span(x assumed) Span {
	all := o.spans(x)
	out := all[0]
	for _, s := range all[1:] {
		out = out.with(s)
	}
	return out
}

// spans are those of each pair of places that the leads may have touched. Of what
// is driven in pulses a meter shows the mean over the time it is driven and the time
// it is not.
func (o *Observation) spans(x assumed) []Span {
	out := o.spansOf(o.model, x)
	if o.idle == nil {
		return out
	}
	x.loads, x.bulbs = nil, nil
	for k, off := range o.spansOf(o.idle, x) {
		on, duty := out[k], o.Duty
		if !x.bounds {
			duty = Exactly((duty.Lo + duty.Hi) / 2)
		}
		mean := func(d float64) Span { return Span{d*on.Lo + (1-d)*off.Lo, d*on.Hi + (1-d)*off.Hi} }
		out[k] = mean(duty.Lo).with(mean(duty.Hi))
	}
	return out
}

func (o *Observation) spansOf(m *model, x assumed) []Span {
	if o.Quantity == Amps {
		return []Span{o.amps(m, x)}
	}
	var out []Span
	for _, red := range o.Red {
		for _, black := range o.Black {
			out = append(out, o.at(m, x, m.node[red], m.node[black]))
		}
	}
	return out
}

func (o *Observation) at(m *model, x assumed, red, black int) Span {
	posts := x.choose(ofPosts, o.setup.Posts)
	x.lead = Bridge{A: red, B: black, Ohms: o.Lead}
	if !x.bounds && o.Quantity != Ohms {
		return o.atPoint(m, x, red, black, posts.Lo)
	}
	w, conducting := m.solved(x, red, black)
	switch o.Quantity {
	case Ohms:
		return w.ohms(red, black)
	case Shine:
		v := w.volts(red, black, Exactly(1))
		return magnitude(v)
	}
	v := w.volts(red, black, posts)
	if o.Lead.Lo >= MeterOhms {
		if c, ok := m.extremes(x, red, black, posts); ok {
			v = v.and(c)
		}
	}
	for s, sure := range conducting {
		v = o.clamp(m, v, s, sure, red, black, x)
	}
	if o.Through.Hi > 0 {
		if ohms, ok := m.between(x, red, black); ok {
			v = o.both(v, times(o.Through, ohms))
		}
	}
	return v
}

// atPoint is at in a draw.
func (o *Observation) atPoint(m *model, x assumed, red, black int, posts float64) Span {
	all := m.voltages(x)
	v := all[red] - all[black]
	if o.Quantity == Shine {
		return Exactly(math.Abs(v / posts))
	}
	if o.Through.Hi > 0 {
		if ohms, ok := m.between(x, red, black); ok {
			// The current is better known than the rest, as far as it can flow at all.
			if known := (o.Through.Lo + o.Through.Hi) / 2 * ohms.Lo; ohms.Lo < isLow {
				v = known
			}
		}
	}
	return Exactly(v)
}

// isLow is the resistance, in ohms, up to which a drop is foretold by the current
// that was read and not by all that is in the way of it.
const isLow = 0.5

// both is what two bounds allow together. Where they allow nothing it is the one
// that what was shown lies farther from.
func (o *Observation) both(a, b Span) Span {
	if a.Lo <= b.Hi && b.Lo <= a.Hi {
		return Span{math.Max(a.Lo, b.Lo), math.Min(a.Hi, b.Hi)}
	}
	if o.off(a) > o.off(b) {
		return a
	}
	return b
}

// clamp holds a voltage over a diode at its knee.
func (o *Observation) clamp(m *model, v Span, s int, sure bool, red, black int, x assumed) Span {
	st := &m.stretches[s]
	same, round := st.a == red && st.b == black, st.a == black && st.b == red
	if !same && !round || !x.bounds {
		return v
	}
	for _, f := range x.faults {
		if f.stretch != s {
			continue
		}
		if f.does == other {
			same, round = round, same
		} else {
			return v // open or shorted, it holds nothing
		}
	}
	if round {
		v = turned(v)
	}
	v.Hi = math.Min(v.Hi, knee.Hi)
	if sure {
		v.Lo = math.Max(v.Lo, knee.Lo)
	}
	v.Lo = math.Min(v.Lo, v.Hi)
	if round {
		v = turned(v)
	}
	return v
}

func magnitude(v Span) Span {
	switch {
	case v.Lo >= 0:
		return v
	case v.Hi <= 0:
		return turned(v)
	}
	return Span{0, math.Max(-v.Lo, v.Hi)}
}

// amps through the stretch of the element, without sign.
func (o *Observation) amps(m *model, x assumed) Span {
	s := m.of[o.Along]
	if s < 0 {
		return Span{}
	}
	x.sensed = s + 1
	a, mid := m.stretches[s].a, m.n+2
	if !x.bounds {
		v := m.voltages(x)
		return Exactly(math.Abs(v[a]-v[mid]) / senseOhms)
	}
	w, _ := m.solved(x, a, mid)
	v := w.volts(a, mid, x.choose(ofPosts, m.setup.Posts))
	if c, ok := m.extremes(x, a, mid, m.setup.Posts); ok {
		v = v.and(c)
	}
	out := magnitude(v).Times(1 / senseOhms)
	for _, f := range x.faults {
		if f.stretch == s && (f.does == toMinus || f.does == toPlus) {
			// Where the clamp was, before the short or behind it, nobody said.
			x.far = true
			b := m.stretches[s].b
			w, _ := m.solved(x, mid, b)
			behind := magnitude(w.volts(mid, b, x.choose(ofPosts, m.setup.Posts)))
			return out.with(behind.Times(1 / senseOhms))
		}
	}
	return out
}

// leads are all places at which the instrument may have been, for bounds.
func (o *Observation) leads(m *model) []Bridge {
	var out []Bridge
	if o.Quantity == Amps || o.Lead.Hi <= 0 {
		return out
	}
	for _, red := range o.Red {
		for _, black := range o.Black {
			ohms := o.Lead
			if len(o.Red)*len(o.Black) > 1 {
				ohms.Hi = math.Inf(1)
			}
			out = append(out, Bridge{A: m.node[red], B: m.node[black], Ohms: ohms})
		}
	}
	return out
}

// ohms between two nodes of a network that keep has reduced, with nothing feeding
// it. The posts are nodes like others then.
func (w *network) ohms(a, b int) Span {
	if a == b {
		return Span{}
	}
	for _, k := range []int{plus, minus} {
		if k != a && k != b {
			w.remove(k)
		}
	}
	g := w.between(a, b)
	out := Span{math.Inf(1), math.Inf(1)}
	if g.Hi > 0 {
		out.Lo = 1 / g.Hi
	}
	if g.Lo > 0 {
		out.Hi = 1 / g.Lo
	}
	return out
}

// between is the resistance from one node to another where what flows into the one
// flows out of the other: stretches one behind the other with nothing else joined.
func (m *model) between(x assumed, red, black int) (Span, bool) {
	at, from := red, -1
	var sum Span
	for at != black {
		next := -1
		for s := range m.stretches {
			st := &m.stretches[s]
			if s == from || st.a != at && st.b != at {
				continue
			}
			if at == red && !m.leadsTo(s, at, black) {
				continue
			}
			if next >= 0 {
				return Span{}, false // a branch, or two side by side
			}
			next = s
		}
		if next < 0 {
			return Span{}, false
		}
		st := &m.stretches[next]
		if st.kind == Output || st.kind == Diode || st.position != Closed || st.follows >= 0 {
			return Span{}, false
		}
		ohms := st.ohms
		if !x.bounds {
			ohms = Exactly(st.nominal)
		}
		for i, f := range x.faults {
			if f.stretch != next {
				continue
			}
			switch f.does {
			case series:
				ohms = ohms.Plus(x.choose(ofFault+share(i), f.ohms))
			case instead:
				ohms = x.choose(ofFault+share(i), f.ohms)
			default:
				return Span{}, false
			}
		}
		sum = sum.Plus(ohms)
		at, from = st.a+st.b-at, next
	}
	return sum, true
}

// leadsTo reports whether the stretch leads from a node to another without a
// branch.
func (m *model) leadsTo(s, at, to int) bool {
	for range m.stretches {
		at = m.stretches[s].a + m.stretches[s].b - at
		if at == to {
			return true
		}
		if at == minus || at == plus {
			return false
		}
		for _, b := range m.bridges {
			if b.A == at || b.B == at {
				return false
			}
		}
		next := -1
		for k := range m.stretches {
			if k != s && (m.stretches[k].a == at || m.stretches[k].b == at) {
				if next >= 0 {
					return false
				}
				next = k
			}
		}
		if next < 0 {
			return false
		}
		s = next
	}
	return false
}
