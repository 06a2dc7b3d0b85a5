package circuit

import "math"

// leadsOhms are those of an ohmmeter's leads and tips, read together with what lies
// between them; nothing where somebody took them off (common practice: a tenth to three
// tenths, with dirty tips more).
var leadsOhms = Span{0, 0.5}

// batterySiemens is what joins the posts where the battery is connected, seen from what only
// leaks to them: as good as anything.
const batterySiemens = 1e5

// leadsMostly is what they have where nobody held them together to see.
const leadsMostly = 0.2

// ohms is what an ohmmeter makes of what lies between two nodes. No resistance
// anywhere can grow without it growing or staying (J. W. Strutt, Lord Rayleigh, 1871), so
// its ends are those of all the others.
func (m *model) ohms(x *assumed, a, b int) Span {
	if a == b {
		return Span{}
	}
	w := m.mesh(x, m.lay(x))
	if !x.bounds { // each has one value
		w.keep(a, b)
		return Exactly(w.ohms(a, b).Lo)
	}
	if !m.setup.Off {
		w.join(plus, minus, Span{0, batterySiemens})
	}
	end := func(value func(Span) float64) Span {
		one := m.c.scratch[1].emptied(w.n)
		m.c.scratch[1] = one
		for i := range w.n {
			for j := range i {
				one.join(i, j, Exactly(value(w.g[i*w.n+j])))
			}
		}
		one.keep(a, b)
		return one.ohms(a, b)
	}
	return Span{end(func(g Span) float64 { return g.Hi }).Lo, end(func(g Span) float64 { return g.Lo }).Hi}
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

// An ohmmeter sends by a few tenths of a volt, through so many ohms; where more than half
// of liveOhms volts are shown before it is put on, nobody reads ohms, and meter and lead are
// off by no more than the other half (assumed, common practice).
const (
	senderVolts, senderOhms = 0.2, 500
	liveOhms                = 0.1
)

// highOhms is from where on that what leaks to it counts: 12 V through 30 megohm are two
// thousandths of what an ohmmeter sends by.
const highOhms = 1e3

// disturbed is what an ohmmeter makes of ohms over which something else puts a voltage,
// given as it is with the meter's own resistance on it. Where that is sure to be found
// before, nothing is made of it.
func disturbed(ohms, volts Span) Span {
	without := func(ohms float64) float64 { return 1 + math.Min(ohms, 1e12)/senderOhms }
	open := times(volts, Span{without(ohms.Lo), without(ohms.Hi)}) // without the meter
	// Who looked before did so with a voltmeter, which shows less than there is behind megohms.
	most := func(ohms float64) float64 { return liveOhms * (1 + ohms/MeterOhms) }
	if open.Lo > most(ohms.Hi) || open.Hi < -most(ohms.Hi) {
		return ohms
	}
	at := func(ohms, v float64) float64 {
		if v = math.Max(-most(ohms), math.Min(v, most(ohms))); v >= senderVolts {
			return math.Inf(1)
		}
		return (senderOhms*v + senderVolts*ohms) / (senderVolts - v)
	}
	return Span{at(ohms.Lo, math.Min(open.Lo, 0)), at(ohms.Hi, math.Max(open.Hi, 0))}
}

// feeds reports whether a fault feeds the circuit though what should feed it is out: past
// the fuses, by a contact that should be open, or from another conductor.
func (m *model) feeds(faults []done) bool {
	for _, f := range faults {
		if (f.does == toPlus || f.does == toOther || f.does == stuck) && !m.setup.Off {
			return true
		}
	}
	return false
}
