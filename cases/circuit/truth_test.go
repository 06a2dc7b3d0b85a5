package circuit

import (
	"math"
	"slices"
	"sort"

	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

// A truth is one way in which a circuit may be within what is said of it. It is
// worked out with the second solver alone, element by element, and knows nothing of
// stretches, gates or bounds. It assumes:
//
//   - A part that is well has a resistance within Ohms; a coil or a resistor within
//     what its own law allows; a load any resistance that its law (within) allows at
//     the voltage that it then has, so that a filament fed little may be cold and a
//     motor starved may stand still.
//   - Nothing is nearer to anything than a hundredth of a milliohm.
//   - A fault does what effect says, within the ohms that it says. A short to ground
//     or to the supply is anywhere along the part, one to another part anywhere along
//     either; what is wrong with a part that another touches comes in any order. An open has 100 megohm or more.
//   - Whatever is joined by less than 10 megohm is one piece, and each piece that
//     floats leaks to the supply and to ground within Leak in all, from anywhere.
//   - A fuse through which more than blows times its rating would flow is blown. One through which
//     more than its rating would flow is blown or not: what overloads it may come
//     and go. No other is; and none would carry more than nine tenths of its
//     rating without what draws too much, as it is then and with every contact closed.
//   - A contact whose conditions nobody knows is open or closed. One that a coil
//     moves is closed from 0.7 of the nominal voltage over the coil, open under 0.1, and
//     between them either.
//   - A diode conducts from 0.45 to 0.9 V on, and blocks the other way round; across the
//     supply it is gone (burning).
//   - Where an averaging meter saw pulses it shows the mean of what it would show
//     with the outputs driven and with them not; what it counts of them is by how much
//     the two differ.
//   - An ohmmeter sends senderVolts through senderOhms, with the battery disconnected next to
//     nothing; what shows more than half of liveOhms before is not read in ohms.
//   - A clamp adds nothing, and may be round either end of a part.
type truth struct {
	c      *Circuit
	setup  *Setup
	r      *Reading
	does   []does // of each element
	ohms   []Span
	also   []bool // of each element, whether one that touches it is bad
	faults []broken
	pulls  bool // a fault may overload a fuse

	knobs  []float64 // where in its span each unknown lies; from 0 to 1
	next   int
	clamp  int     // the element that a clamp is round while volts are read; -1: there is none
	flow   float64 // what it shows, in amperes
	probed bool    // the ohmmeter is on; before, there is a voltmeter
	sender int     // what the ohmmeter sends through, of the elements that are solved
	blown  []bool  // of each element, whether it is a fuse that has blown
	draws  []int   // the elements by which faults draw current, in the other solver's count
	supply float64 // what the supply gives, in amperes
}

// broken is a fault of an element.
type broken struct {
	element int
	mode    suspect.Mode
}

func newTruth(c *Circuit, setup *Setup, r *Reading, faults []broken) *truth {
	t := &truth{c: c, setup: setup, r: r, clamp: -1, does: make([]does, len(c.Elements)), ohms: make([]Span, len(c.Elements)), also: make([]bool, len(c.Elements)), faults: faults}
	for _, f := range faults {
		k := f.element
		t.does[k], t.ohms[k] = c.Elements[k].effect(f.mode, c.high[k])
		if n, ok := f.mode.Neighbour(); ok {
			t.also[k], t.also[n] = true, true
		}
		t.pulls = t.pulls || t.does[k] == toMinus || t.does[k] == toPlus || t.does[k] == instead || t.does[k] == toOther
	}
	return t
}

func (t *truth) knob() float64 {
	if t.next == len(t.knobs) {
		t.knobs = append(t.knobs, 0.5)
	}
	t.next++
	return t.knobs[t.next-1]
}

// in is a value within the span.
func (t *truth) in(s Span) float64 {
	k := t.knob()
	switch {
	case math.IsInf(s.Hi, 1):
		if k > 0.9 {
			return math.Inf(1)
		}
		return s.Lo * math.Pow(1e7, k/0.9)
	case k <= 0:
		return s.Lo
	case k >= 1:
		return s.Hi
	case s.Lo > 0:
		return s.Lo * math.Pow(s.Hi/s.Lo, k)
	}
	return s.Lo + k*(s.Hi-s.Lo)
}

func (t *truth) yes() bool { return t.knob() >= 0.5 }

// touching is what nothing is nearer than: a hundredth of a milliohm.
const touching = 1e-5

// apart is the resistance from which two pieces of wiring are two.
const apart = 1e7

// shown is what the instrument shows; ok is false where the truth contradicts
// itself.
func (t *truth) shown() (value float64, ok bool) {
	t.draws = nil
	t.blown = make([]bool, len(t.c.Elements))
	t.probed = false
	value, ok = t.moment(false)
	if t.live() && ok {
		if math.Abs(value) > liveOhms/2 {
			return 0, false // nobody reads ohms there
		}
		t.probed = true
		value, ok = t.moment(false)
	}
	if t.r.Duty.Hi > 0 && ok {
		idle, also := t.moment(true)
		if t.r.Quantity == Swing {
			return math.Abs(value - idle), also
		}
		duty := t.in(t.r.Duty)
		return duty*value + (1-duty)*idle, also
	}
	return value, ok
}

// live reports whether it is an ohmmeter's with the battery connected.
func (t *truth) live() bool { return t.r.Quantity == Ohms && !t.setup.Off }

// moment is what would be shown while outputs drive, or while they idle.
func (t *truth) moment(idle bool) (value float64, ok bool) {
	t.next = 0
	c := &plain.Circuit{Nodes: len(t.c.Points)}
	resistor := func(a, b int, ohms float64) int {
		if a == b || math.IsInf(ohms, 1) {
			return -1
		}
		c.Elements = append(c.Elements, plain.Element{A: a, B: b, Value: math.Max(ohms, touching)})
		return len(c.Elements) - 1
	}
	node := func() int {
		c.Nodes++
		return c.Nodes - 1
	}
	draw := func(x int) {
		if x >= 0 {
			t.draws = append(t.draws, x)
		}
	}
	posts := t.in(t.setup.Posts)
	source := -1
	if !t.setup.Off {
		source = len(c.Elements)
		c.Elements = append(c.Elements, plain.Element{Kind: plain.Voltage, A: plus, B: minus, Value: posts})
	}

	// at is, of each element, the resistance of its own, and ends what lies at either
	// end of it.
	n := len(t.c.Elements)
	at, ends, state, blow := make([]int, n), make([][2]int, n), make([]bool, n), make([]bool, n)
	joins := make([][]int, len(t.faults)) // where each short to another part joins the two
	for k := range t.c.Elements {
		e := &t.c.Elements[k]
		at[k], ends[k] = -1, [2]int{-1, -1}
		state[k] = true
		p := Closed
		if k < len(t.setup.Position) {
			p = t.setup.Position[k]
		}
		if e.From == e.To || p == Gone || p == Open && e.Kind != Switch && e.Kind != Output {
			continue
		}
		switch {
		case e.Follows >= 0:
			state[k] = t.yes()
		case p == Open:
			state[k] = false
		case p == Either:
			state[k] = t.yes()
		}
		d := t.does[k]
		if d == stuck {
			state[k] = true
		}
		if idle && e.Kind == Output && d != stuck {
			state[k] = false
		}
		if e.Kind == Fuse || e.Kind == Breaker {
			blow[k] = t.yes()
		}
		a, b := e.From, e.To
		if e.Kind == Diode && d != instead {
			knee := t.in(Span{0.45, 0.9})
			if d == series {
				mid := node()
				ends[k][1] = resistor(mid, b, t.in(t.ohms[k]))
				b = mid
			}
			if d == other {
				a, b = b, a
			}
			at[k] = len(c.Elements)
			c.Elements = append(c.Elements, plain.Element{Kind: plain.Diode, A: a, B: b, Value: knee, Slope: 0.004})
			continue
		}
		own := e.Ohms
		switch e.Kind {
		case Load, Lamp, Motor, Coil, Resistor:
			own = e.within(0)
		}
		if d == instead {
			own = t.ohms[k]
		}
		ohms := t.in(own)
		if t.also[k] {
			ends[k] = t.run(k, a, b, ohms, node, resistor, draw, joins)
			at[k] = ends[k][0]
			continue
		}
		switch d {
		case series:
			mid := node()
			more := t.in(t.ohms[k])
			at[k] = resistor(a, mid, ohms)
			ends[k][0] = at[k]
			if ends[k][1] = resistor(mid, b, more); ends[k][1] < 0 {
				ends[k][0] = -1
			}
		case toMinus, toPlus:
			mid, share := node(), t.knob()
			to := minus
			if d == toPlus {
				to = plus
			}
			at[k] = resistor(a, mid, ohms*share)
			ends[k] = [2]int{at[k], resistor(mid, b, ohms*(1-share))}
			t.draws = append(t.draws, resistor(mid, to, t.in(t.ohms[k])))
		default:
			at[k] = resistor(a, b, ohms)
			ends[k] = [2]int{at[k], at[k]}
			if d == instead {
				t.draws = append(t.draws, at[k])
			}
		}
	}
	for i, j := range joins {
		if len(j) == 2 { // a plug that is off holds its pins apart
			draw(resistor(j[0], j[1], t.in(t.ohms[t.faults[i].element])))
		}
	}
	for _, b := range t.setup.Bridges {
		resistor(b.A, b.B, t.in(b.Ohms))
	}
	red, black := t.one(t.r.Red), t.one(t.r.Black)
	far := t.yes()
	switch {
	case t.probed:
		tip := node()
		c.Elements = append(c.Elements, plain.Element{Kind: plain.Voltage, A: tip, B: black, Value: senderVolts})
		t.sender = resistor(tip, red, senderOhms)
	case t.live():
		resistor(red, black, MeterOhms)
	case t.r.Quantity == Ohms:
		const tiny = 1e-6 // amperes
		c.Elements = append(c.Elements, plain.Element{Kind: plain.Current, A: black, B: red, Value: tiny})
		if red == black {
			return 0, true
		}
	}
	if t.r.Lead.Hi > 0 && t.r.Quantity != Amps {
		resistor(red, black, t.in(t.r.Lead))
	}
	places := t.knob()
	toSupply, toGround := t.in(Leak), t.in(Leak)

	joined := len(c.Elements)
	s, ok := t.settle(c, joined, at, state, blow, places, toSupply, toGround)
	if !ok {
		return 0, false
	}
	for x, a := range s.Amps {
		if c.Elements[x].Kind == plain.Diode && math.Abs(a) > 400 {
			return 0, false
		}
	}
	if t.supply = 0; source >= 0 {
		t.supply = math.Abs(s.Amps[source])
	}
	switch t.r.Quantity {
	case Amps:
		end := ends[t.r.Along][0]
		if far {
			end = ends[t.r.Along][1]
		}
		if t.c.Elements[t.r.Along].Kind == Diode {
			end = at[t.r.Along]
		}
		if end < 0 || !state[t.r.Along] {
			return 0, true
		}
		return math.Abs(s.Amps[end]), true
	case Ohms:
		v := s.Volts[red] - s.Volts[black]
		switch amps := (senderVolts - v) / senderOhms; {
		case t.probed:
			return v / amps, amps > senderVolts/1e9
		case t.live():
			return v, true
		}
		return (s.Volts[red] - s.Volts[black]) / 1e-6, true
	case Volts:
		if t.clamp >= 0 {
			t.flow = 0
			if x := ends[t.clamp][0]; x >= 0 && state[t.clamp] {
				t.flow = math.Abs(s.Amps[x])
			}
		}
	case Shine:
		return math.Abs(s.Volts[red]-s.Volts[black]) / posts, source >= 0
	}
	return s.Volts[red] - s.Volts[black], true
}

// run puts in an element that another touches, with all that is wrong with it in whatever
// order it comes, and returns what lies at either end.
func (t *truth) run(k, a, b int, ohms float64, node func() int, resistor func(a, b int, ohms float64) int, draw func(int), joins [][]int) (ends [2]int) {
	type spot struct {
		share float64
		fault int
	}
	var spots []spot
	for i, f := range t.faults {
		if n, ok := f.mode.Neighbour(); f.element == k || ok && n == k {
			spots = append(spots, spot{t.knob(), i})
		}
	}
	sort.Slice(spots, func(i, j int) bool { return spots[i].share < spots[j].share })
	ends = [2]int{-1, -1}
	from, at, last := 0.0, a, -1
	first := true
	put := func(to int, ohms float64) {
		last = resistor(at, to, ohms)
		if first {
			ends[0], first = last, false
		}
		at = to
	}
	for _, s := range spots {
		// What is nearer than anything is to anything is one place.
		if share := math.Min(s.share, 1-touching/ohms); ohms*(share-from) >= touching {
			put(node(), ohms*(share-from))
			from = share
		}
		switch d := t.does[t.faults[s.fault].element]; d {
		case series:
			put(node(), t.in(t.ohms[k]))
		case toMinus, toPlus:
			draw(resistor(at, int(d-toMinus), t.in(t.ohms[k])))
		case toOther:
			joins[s.fault] = append(joins[s.fault], at)
		}
	}
	put(b, ohms*(1-from))
	ends[1] = last
	return ends
}

func (t *truth) one(nodes []int) int {
	if len(nodes) == 0 {
		return 0
	}
	k := 0
	if len(nodes) > 1 {
		k = min(int(t.knob()*float64(len(nodes))), len(nodes)-1)
	}
	return nodes[k]
}

// meant is the circuit with every contact closed and all that is off put back, and without
// what draws too much.
func (t *truth) meant(drawn []plain.Element, at []int) *plain.Circuit {
	c := &plain.Circuit{Elements: slices.Clone(drawn)}
	for _, x := range t.draws {
		c.Elements[x].Kind, c.Elements[x].Value = plain.Resistor, math.Inf(1)
	}
	for k, x := range at {
		if e := &t.c.Elements[k]; x < 0 && e.From != e.To {
			c.Elements = append(c.Elements, plain.Element{A: e.From, B: e.To, Value: math.Max(e.Ohms.Lo, 1e-3)})
		}
	}
	for _, e := range c.Elements {
		c.Nodes = max(c.Nodes, e.A+1, e.B+1)
	}
	return c
}

// settle solves the circuit again and again until its loads, fuses and relays go
// with what flows.
func (t *truth) settle(c *plain.Circuit, joined int, at []int, state, blow []bool, places, toSupply, toGround float64) (*plain.Solution, bool) {
	drawn := append([]plain.Element{}, c.Elements...)
	mayBlow := make([]bool, len(at))
	blown := t.blown
	solve := func(without []int) (*plain.Solution, bool) {
		c.Elements = append(c.Elements[:0], drawn[:joined]...)
		for k, x := range at {
			if x >= 0 && (!state[k] || blown[k]) {
				c.Elements[x].Kind, c.Elements[x].Value = plain.Resistor, math.Inf(1)
			}
		}
		for _, x := range without {
			c.Elements[x].Kind, c.Elements[x].Value = plain.Resistor, math.Inf(1)
		}
		t.leak(c, places, toSupply, toGround)
		s, err := c.Solve()
		return s, err == nil
	}
	for round := range 60 {
		s, ok := solve(nil)
		if !ok {
			return nil, false
		}
		again := false
		for k, x := range at {
			e := &t.c.Elements[k]
			if x < 0 {
				continue
			}
			v := math.Abs(s.Volts[drawn[x].A] - s.Volts[drawn[x].B])
			if t.setup.Off {
				v = 0
			}
			switch {
			case (e.Kind == Load || e.Kind == Lamp || e.Kind == Motor) && t.does[k] != instead:
				may := e.within(math.Min(v/t.c.System, 1))
				if x := &drawn[x]; x.Value < may.Lo {
					again = again || x.Value < may.Lo*(1-1e-12)
					x.Value = may.Lo
				}
			case e.Kind == Coil:
				for o := range t.c.Elements {
					if t.c.Elements[o].Follows != k || t.does[o] == stuck || t.setup.Off {
						continue
					}
					if v >= pullIn*t.c.System && !state[o] || v < dropOut*t.c.System && state[o] {
						state[o], again = !state[o], true
					}
				}
			}
		}
		if again {
			continue
		}
		for k, x := range at {
			e := &t.c.Elements[k]
			if x < 0 || e.Kind != Fuse && e.Kind != Breaker || blown[k] || !t.pulls || t.r.Quantity == Ohms {
				continue
			}
			rating := e.Rating
			if rating <= 0 {
				rating = 15
			}
			amps := math.Abs(s.Amps[x])
			if amps > rating && !mayBlow[k] {
				well, ok := solve(t.draws)
				if !ok || math.Abs(well.Amps[x]) > 0.9*rating {
					return nil, false
				}
				meant, err := t.meant(drawn, at).Solve()
				if err != nil || math.Abs(meant.Amps[x]) > 0.9*rating {
					return nil, false
				}
				mayBlow[k] = true
			}
			if amps > blows*rating && e.Rating > 0 || mayBlow[k] && blow[k] {
				blown[k], again = true, true
			}
		}
		if !again {
			for k := range at { // a coil that is not there moves nothing
				if f := t.c.Elements[k].Follows; f >= 0 && at[f] < 0 && state[k] && t.does[k] != stuck {
					state[k], again = false, true
				}
			}
		}
		if !again {
			return s, true
		}
		if round > 50 {
			break
		}
	}
	return nil, false
}

// leak lets each piece of the wiring leak to the supply and to ground from one place
// of it.
func (t *truth) leak(c *plain.Circuit, place, toSupply, toGround float64) {
	root := make([]int, c.Nodes)
	for k := range root {
		root[k] = k
	}
	find := func(k int) int {
		for root[k] != k {
			k = root[k]
		}
		return k
	}
	for k, e := range c.Elements {
		if t.probed && k == t.sender {
			continue // what it joins leaks as it did when somebody looked before
		}
		if e.Kind != plain.Current && e.Kind != plain.Diode && !(e.Value >= apart) {
			root[find(e.A)] = find(e.B)
		}
	}
	pieces := map[int][]int{}
	for k := range c.Nodes {
		pieces[find(k)] = append(pieces[find(k)], k)
	}
	for k := range c.Nodes {
		p := pieces[k]
		if len(p) == 0 || p[0] >= len(t.c.Points) || find(minus) == k || find(plus) == k {
			continue
		}
		at := p[min(int(place*float64(len(p))), len(p)-1)]
		c.Elements = append(c.Elements,
			plain.Element{A: at, B: plus, Value: toSupply},
			plain.Element{A: at, B: minus, Value: toGround})
	}
	if find(minus) != find(plus) || find(plus) != find(minus) {
		c.Elements = append(c.Elements, plain.Element{A: plus, B: minus, Value: toGround})
	}
}
