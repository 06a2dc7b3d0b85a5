package circuit

import (
	"math"
	"slices"

	"knowngood.example/cases/suspect"
)

// Expect is what the reading can be at all under the hypothesis.
func (o *Observation) Expect(h suspect.Hypothesis) Span {
	return o.reach(o.doneOf(o.key(h)))
}

// reach bounds what can be shown under the faults. Where a resistance is unknown by
// decades and loads depend on what feeds them, all of it at once would allow for
// loads that are starved by much and fed through little; piece by piece it does not.
func (o *Observation) reach(faults []done) Span {
	if untold(faults) {
		return Span{math.Inf(-1), math.Inf(1)}
	}
	first := true
	var out Span
	o.pieces(faults, func(piece []done) bool {
		s := o.reachAt(piece, false)
		if first {
			out, first = s, false
		}
		out = out.with(s)
		return true
	})
	return out
}

// nearest is how far what was shown lies outside what can be, by the piece that it
// lies nearest to.
func (o *Observation) nearest(faults []done) float64 {
	if untold(faults) {
		return 0
	}
	if len(o.model.loads) > 0 && !o.model.cold {
		if o.fits(faults) {
			return 0
		}
		// With loads that are anything they may be at all, it is quick to work out.
		if off := o.off(o.reachWith(faults, nil, true)); off >= farOut*o.Sigma {
			return off
		}
	}
	off := o.off(o.reachAt(faults, true))
	if off > 0 || !o.starves(faults) {
		return off
	}
	off = math.Inf(1)
	o.pieces(faults, func(piece []done) bool {
		off = math.Min(off, o.off(o.reachAt(piece, true)))
		return off > 0
	})
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

// pieces calls each with the faults, each unknown resistance cut into pieces, until it is
// told that this is enough.
func (o *Observation) pieces(faults []done, each func([]done) bool) {
	if !o.starves(faults) {
		each(faults)
		return
	}
	piece := slices.Clone(faults)
	var cut func(i int) bool
	cut = func(i int) bool {
		if i == len(faults) {
			return each(piece)
		}
		f := &faults[i]
		piece[i] = *f
		if !f.varies() {
			return cut(i + 1)
		}
		for k, from := range pieceEnds {
			lo, hi := f.ohms.Lo*from, f.ohms.Hi
			if k > 0 && lo >= hi {
				break
			}
			if k+1 < len(pieceEnds) {
				hi = math.Min(f.ohms.Lo*pieceEnds[k+1], hi)
			}
			if piece[i].ohms = (Span{lo, hi}); !cut(i + 1) {
				return false
			}
		}
		return true
	}
	cut(0)
}

// fits reports whether what was shown can be with loads as they may be whatever feeds
// them; false where that takes longer to find out. What can be with less than all that
// can be, can be.
func (o *Observation) fits(faults []done) bool {
	m := o.model
	if o.idle != nil || len(m.gated) > 0 || o.Quantity == Ohms || o.Quantity == Shine || len(o.Red) != 1 || len(o.Black) != 1 {
		return false
	}
	x := assumed{posed: posed{faults: faults}, before: true, bounds: true, loads: m.fullyFed()}
	red, black := m.node[o.Red[0]], m.node[o.Black[0]]
	want := &wanted{o.Shown, farOut * o.Sigma}
	if o.Quantity == Volts {
		x.lead = Bridge{A: red, B: black, Ohms: o.Lead}
		if o.Through.Hi > 0 || o.Unsigned {
			want = nil
		}
	} else {
		s := m.of[o.Along]
		if s < 0 {
			return false
		}
		x.sensed, want = s+1, nil
		red = m.stretches[s].a
	}
	y := x
	m.settle(&y)
	l := m.lay(&y)
	if x.sensed > 0 {
		black = l.sense
	}
	v, ok := m.corners(&y, l, red, black, o.setup.Posts, want)
	switch {
	case !ok:
		return false
	case x.sensed > 0:
		v = magnitude(v).Times(1 / senseOhms)
	case o.Through.Hi > 0:
		if ohms, ok := m.between(x, red, black, o.Through, o.least()); ok {
			v = o.both(v, o.carried(v, ohms, true))
		}
	}
	return o.off(v) == 0
}

// reachAt is reach in one piece. With wanted it holds what was shown if that can be,
// and is else far from it.
func (o *Observation) reachAt(faults []done, wanted bool) Span {
	return o.reachWith(faults, o.model.loadsUnder(faults), wanted)
}

// reachWith is reachAt with the resistances of the loads; nil: all that they may be.
func (o *Observation) reachWith(faults []done, loads []Span, wanted bool) Span {
	x := assumed{wanted: wanted, posed: posed{faults: faults}, before: true, bounds: true, loads: loads}
	out := o.span(x)
	if unordered(faults) {
		x.before = false
		out = out.with(o.span(x))
	}
	return out
}

// unordered reports whether of two faults in one stretch nobody knows which comes first.
func unordered(faults []done) bool {
	for i := range faults {
		for j := range i {
			if f, g := &faults[i], &faults[j]; f.place > 0 && g.place > 0 {
				continue
			} else if f.at(g.stretch) || g.does == toOther && f.at(g.touches) {
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
	if o.idle != nil && x.bounds {
		x.loads = nil // fed for a part of the time, a filament stays colder and a motor slower
	}
	out := o.spansOf(o.model, x)
	if o.idle == nil {
		return out
	}
	x.loads = nil
	for k, off := range o.spansOf(o.idle, x) {
		on, duty := out[k], o.Duty
		if o.Quantity == Swing {
			out[k] = o.swing(on, off, x.bounds && !o.model.diodes)
			continue
		}
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
	posts := x.some(o.setup.Posts)
	x.lead = Bridge{A: red, B: black, Ohms: o.Lead}
	if !x.bounds && o.Quantity != Ohms {
		if o.Through.Hi > 0 && o.Quantity == Volts {
			if ohms, ok := m.between(x, red, black, o.Through, o.least()); ok && ohms.Lo < isLow {
				// The current is better known than the rest, as far as it can flow at all.
				m.stiff = ohms.Lo
				return Exactly((o.Through.Lo + o.Through.Hi) / 2 * ohms.Lo)
			}
		}
		v := m.draw(x, red, black)
		switch {
		case o.Quantity == Shine && posts.Lo < 1e-3: // no battery, no light
			return Span{}
		case o.Quantity == Shine:
			return Exactly(math.Abs(v / posts.Lo))
		}
		return Exactly(v)
	}
	y := x
	m.settle(&y)
	if o.Quantity == Ohms {
		leads := Exactly(o.Leads)
		if o.Leads == 0 {
			leads = Exactly(leadsMostly)
		}
		if x.bounds {
			leads = leadsOhms
		}
		out := m.ohms(&y, red, black).Plus(leads)
		if x.bounds && !m.setup.Off && (o.Shown.Hi > highOhms || m.feeds(x.faults)) {
			x.lead = Bridge{A: red, B: black, Ohms: Exactly(senderOhms)}
			y = x
			m.settle(&y)
			out = disturbed(out, m.bound(&y, red, black, posts, nil))
		}
		return out
	}
	shares := o.Quantity == Shine || o.Quantity == Swing
	if shares = shares && !m.diodes; shares { // what a diode has over it is no share of the supply
		posts = Exactly(1)
	}
	var want *wanted
	if x.wanted && o.Quantity == Volts && o.Through.Hi <= 0 && !m.diodes && o.idle == nil && !o.Unsigned {
		want = &wanted{o.Shown, farOut * o.Sigma}
	}
	v := m.bound(&y, red, black, posts, want)
	if o.Quantity == Shine && !shares {
		v = magnitude(v)
		return Span{v.Lo / math.Max(posts.Hi, 1e-3), v.Hi / math.Max(posts.Lo, 1e-3)}
	} else if o.Quantity == Shine {
		return magnitude(v)
	}
	for n, s := range m.gated {
		if m.stretches[s].follows < 0 {
			v = o.clamp(m, v, s, y.gates[n].conducts, red, black, x)
		}
	}
	if o.Through.Hi > 0 {
		if ohms, ok := m.between(x, red, black, o.Through, o.least()); ok {
			v = o.both(v, o.carried(v, ohms, x.wanted))
		}
	}
	return v
}

// farOut is by how many standard deviations bounds that are quick to work out must
// be missed for narrower ones not to matter: beyond it a reading counts as one that says
// nothing.
const farOut = 3

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
	v.Hi = math.Min(v.Hi, burning)
	if sure { // while next to nothing flows it has less than its knee
		v.Lo = math.Max(v.Lo, knee.Lo/2)
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
