package circuit

import (
	"math"

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
	effects []done // by class, from firstEffect on
	class   map[done]int
	memo    map[[3]int]result
	draws   map[[3]int][]float64
}

type result struct{ most, beyond float64 }

const (
	noEffect = iota
	wild     // something not named, or not as drawn
	firstEffect
)

// Observe makes evidence of a reading. parts says of each element what was in its
// place at the time.
func (c *Circuit) Observe(setup Setup, r Reading, parts []suspect.Part) *Observation {
	keep := append(append([]int{}, r.Red...), r.Black...)
	if r.Quantity == Amps {
		keep = append(keep, c.Elements[r.Along].From, c.Elements[r.Along].To)
	}
	o := &Observation{Reading: r, circuit: c, setup: setup, parts: parts, class: map[done]int{}, memo: map[[3]int]result{}, draws: map[[3]int][]float64{}}
	o.model = c.reduce(&o.setup, keep)
	return o
}

// Source implements suspect.Evidence.
func (o *Observation) Source() (id, setup string) { return o.ID, o.Setup }

// Class implements suspect.Classed: faults in one stretch that do the same.
func (o *Observation) Class(f suspect.Fault) int {
	if f.Part == suspect.NotNamed || f.Part == suspect.NotAsDrawn {
		return wild
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
		isWild = isWild || key[i] == wild
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

// reach bounds what can be shown under the faults.
func (o *Observation) reach(faults []done) Span {
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
	if o.Quantity == Amps {
		return o.amps(x)
	}
	var out Span
	for i, red := range o.Red {
		for j, black := range o.Black {
			v := o.at(x, o.model.node[red], o.model.node[black])
			if i+j == 0 {
				out = v
			} else {
				out = out.with(v)
			}
		}
	}
	return out
}

func (o *Observation) at(x assumed, red, black int) Span {
	posts := x.choose(ofPosts, o.setup.Posts)
	x.lead = Bridge{red, black, o.Lead}
	w, conducting := o.model.solved(x, red, black)
	switch o.Quantity {
	case Ohms:
		return w.ohms(red, black)
	case Shine:
		v := w.volts(red, black, Exactly(1))
		return magnitude(v)
	}
	v := w.volts(red, black, posts)
	for s, sure := range conducting {
		v = o.clamp(v, s, sure, red, black, x)
	}
	if o.Through.Hi > 0 {
		if ohms, ok := o.model.between(x, red, black); ok {
			v = v.meet(times(o.Through, ohms))
		}
	}
	if o.Duty.Hi > 0 {
		v = times(v, o.Duty)
	}
	return v
}

// clamp holds a voltage over a diode at its knee.
func (o *Observation) clamp(v Span, s int, sure bool, red, black int, x assumed) Span {
	st := &o.model.stretches[s]
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
func (o *Observation) amps(x assumed) Span {
	s := o.model.of[o.Along]
	if s < 0 {
		return Span{}
	}
	x.sensed = s + 1
	a, mid := o.model.stretches[s].a, o.model.n+2
	w, _ := o.model.solved(x, a, mid)
	v := w.volts(a, mid, x.choose(ofPosts, o.setup.Posts))
	return magnitude(v).Times(1 / senseOhms)
}

// ohms between two nodes of a network that keep has reduced, with nothing feeding
// it. The posts are nodes like others then.
func (w *network) ohms(a, b int) Span {
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
			if at != red && next >= 0 {
				return Span{}, false // a branch
			}
			if at == red && !m.leadsTo(s, at, black) {
				continue
			}
			next = s
		}
		if next < 0 {
			return Span{}, false
		}
		st := &m.stretches[next]
		if st.kind >= Output || st.position != Closed || st.follows >= 0 {
			return Span{}, false
		}
		ohms := x.choose(ofLow, st.ohms)
		for i, f := range x.faults {
			if f.stretch == next {
				if f.does != series {
					return Span{}, false
				}
				ohms = ohms.Plus(x.choose(ofFault+share(i), f.ohms))
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
