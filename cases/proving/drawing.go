package proving

import (
	"fmt"

	"knowngood.example/cases/circuit"
)

const (
	minus = 0
	plus  = 1
)

// drawing is a circuit as a shop drew it, and beside it what was built.
type drawing struct {
	*circuit.Circuit
	shape string
	built []built // of each element
	// control marks what is asked to close or to open: a switch, an output, a relay's
	// contact that no drawn coil moves.
	control []bool
	loads   []int // lamps, motors and other loads
	d       dice
	left    int // elements still to be drawn
	counts  map[string]int
}

// built is what an element really is, as its maker meant it.
type built struct {
	ohms         float64 // of a wire as laid, of a load at its rating
	rating       float64
	area, length float64
}

// amperes that the loads of vehicles of 12 V take (common practice).
var takes = map[circuit.Kind][]float64{
	circuit.Lamp:  {0.4, 0.8, 1.7, 1.7, 4.5, 4.5},
	circuit.Motor: {2, 4, 7, 11, 18},
	circuit.Load:  {0.3, 1, 3, 8, 14},
}

func (w *drawing) point() int {
	w.Points = append(w.Points, fmt.Sprint("p", len(w.Points)))
	return len(w.Points) - 1
}

// name counts the components of a kind: 'wire 3'.
func (w *drawing) name(what, more string) string {
	w.counts[what]++
	return fmt.Sprint(what, " ", w.counts[what], more)
}

func (w *drawing) add(e circuit.Element, b built) int {
	w.Elements, w.built, w.control = append(w.Elements, e), append(w.built, b), append(w.control, false)
	w.left--
	return len(w.Elements) - 1
}

// low draws an element that conducts, for so many amperes.
func (w *drawing) low(k circuit.Kind, from, to int, amps float64) int {
	e := circuit.Element{Kind: k, From: from, To: to, Follows: -1}
	var b built
	switch k {
	case circuit.Wiring:
		e.Key = w.name("wire", "")
		b.area, b.length = gauge(amps), w.d.in(0.2, 4)
		drawnLength, drawnArea := b.length*w.d.in(0.85, 1.15), b.area
		if w.d.yes(0.3) { // nobody measured it
			drawnLength = 0
		}
		if w.d.yes(0.2) {
			drawnArea = 0
		}
		e.Ohms = circuit.Wire(drawnLength, drawnArea)
	case circuit.Contact:
		e.Key = w.name("contact", "")
	case circuit.Splice:
		e.Key = w.name("splice", "")
	case circuit.Ground:
		e.Key = w.name("ground", "")
	case circuit.Switch:
		e.Key = w.name("switch", "")
	case circuit.Output:
		e.Key = w.name("module", " output")
		b.ohms = w.d.in(0.03, 0.12) / amps
	case circuit.Fuse, circuit.Breaker:
		e.Key = w.name(map[circuit.Kind]string{circuit.Fuse: "fuse", circuit.Breaker: "breaker"}[k], "")
		b.rating = rated(amps)
		if w.d.yes(0.85) { // else nobody looked
			e.Rating = b.rating
		}
	}
	if k != circuit.Wiring {
		e.Ohms = circuit.Usual(k, e.Rating)
	}
	return w.add(e, b)
}

// gauge is the cross-section that carries so many amperes, in square millimetres
// (common practice: about 8 to 10 A a square millimetre, half a millimetre at
// least).
func gauge(amps float64) float64 {
	for _, area := range []float64{0.5, 0.75, 1, 1.5, 2.5, 4, 6, 10, 16} {
		if amps <= 8*area {
			return area
		}
	}
	return 25
}

// rated is the smallest usual fuse that carries so many amperes.
func rated(amps float64) float64 {
	for _, r := range []float64{3, 5, 7.5, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100} {
		if amps <= r {
			return r
		}
	}
	return 150
}

// load draws a lamp, a motor or another load of the amperes between two points.
func (w *drawing) load(k circuit.Kind, amps float64, from, to int) int {
	word := map[circuit.Kind]string{circuit.Lamp: "lamp", circuit.Motor: "motor", circuit.Load: "heater"}[k]
	volts := w.System * 1.04
	if k == circuit.Lamp {
		volts = w.System * circuit.LampVolts
	}
	b := built{ohms: volts / amps}
	e := circuit.Element{Key: w.name(word, ""), Kind: k, From: from, To: to, Follows: -1, Ohms: circuit.About(b.ohms, 0.15)}
	if w.d.yes(0.2) { // nobody knows how much it takes
		e.Ohms = circuit.Usual(k, 0)
	}
	at := w.add(e, b)
	w.loads = append(w.loads, at)
	return at
}

// run draws so many wires and contacts in a row from a point on, and returns where
// it ends. Back: it is drawn from its end, towards the negative post.
func (w *drawing) run(from, n int, amps float64, back bool) int {
	kind := one(w.d, circuit.Wiring, circuit.Contact)
	for range n {
		to := w.point()
		a, b := from, to
		if back {
			a, b = to, from
		}
		w.low(kind, a, b, amps)
		from = to
		switch {
		case kind == circuit.Wiring && w.d.yes(0.12):
			kind = circuit.Splice
		case kind == circuit.Wiring:
			kind = circuit.Contact
		default:
			kind = circuit.Wiring
		}
	}
	return from
}

// steer draws what the loads are switched by.
func (w *drawing) steer(from int, amps float64) int {
	to := w.point()
	at := w.low(one(w.d, circuit.Switch, circuit.Switch, circuit.Output), from, to, amps)
	if w.Elements[at].Kind == circuit.Switch && w.d.yes(0.4) {
		w.counts["switch"]--
		w.Elements[at].Key = w.name("relay", " contact")
	}
	w.control[at] = true
	return to
}

// guard draws a fuse or, seldom, a breaker.
func (w *drawing) guard(from int, amps float64) int {
	to := w.point()
	k := circuit.Fuse
	if w.d.yes(0.08) {
		k = circuit.Breaker
	}
	w.low(k, from, to, amps)
	return to
}

// parts spreads n over so many places at random.
func (w *drawing) parts(n, places int) []int {
	out := make([]int, places)
	for range max(n, 0) {
		out[w.d.IntN(places)]++
	}
	return out
}

// draw invents a circuit of about so many elements.
func draw(d dice, shape string, size int) *drawing {
	w := &drawing{
		Circuit: &circuit.Circuit{System: one(d, 12., 12, 12, 12, 24), Points: []string{"batt-", "batt+"}},
		shape:   shape, d: d, left: size, counts: map[string]int{},
	}
	if shape == "chain" {
		w.chain()
	} else {
		w.tree(shape)
	}
	w.lieTogether()
	w.Compile()
	return w
}

// need is a load that is to be drawn: its kind, its current at work, and what its
// fuse must carry. A motor takes more while it starts.
type need struct {
	kind      circuit.Kind
	amps, far float64
}

func (w *drawing) need() need {
	k := one(w.d, circuit.Lamp, circuit.Lamp, circuit.Motor, circuit.Load)
	amps := one(w.d, takes[k]...) * 12 / w.System
	if k == circuit.Motor {
		return need{k, amps, 2.3 * amps}
	}
	return need{k, amps, 1.35 * amps}
}

// chain is feed, fuse, what switches it, load and ground, one behind the other.
func (w *drawing) chain() {
	n := w.need()
	r := w.parts(w.left-4, 4)
	resistor := r[2] > 1 && n.kind == circuit.Motor && w.d.yes(0.3)
	low := w.d.yes(0.25) // switched on its ground side
	at := w.run(plus, min(r[0], 2), n.amps, false)
	at = w.guard(at, n.far)
	at = w.run(at, r[1]+r[0]-min(r[0], 2), n.amps, false)
	if !low {
		at = w.steer(at, n.amps)
	}
	if resistor {
		r[2]--
		to := w.point()
		ohms := w.d.in(0.1, 0.3) * w.System / n.amps
		w.add(circuit.Element{Key: w.name("resistor", ""), Kind: circuit.Resistor, From: at, To: to, Ohms: circuit.About(ohms, 0.15), Follows: -1}, built{ohms: ohms})
		at = to
	}
	at = w.run(at, r[2], n.amps, false)
	end := w.point()
	w.load(n.kind, n.amps, at, end)
	at = w.run(end, r[3], n.amps, false)
	if low {
		at = w.steer(at, n.amps)
	}
	w.low(circuit.Ground, at, minus, n.amps)
}

// branch is what one load of a tree has of its own.
type branch struct {
	need
	guard, steer bool
}

// tree is a feed that branches: to grounds of their own, to one that they share, or
// with a second way for the current as well.
func (w *drawing) tree(shape string) {
	size := w.left
	relay := size >= 10 && w.d.yes(0.35)
	loop := shape == "loops"
	shared := shape == "shared" || loop && w.d.yes(0.6)
	many := min(2+w.d.IntN(1+max((size-7)/4, 0)), 6)
	if size < 7 {
		shared, many = shared && size > 5, 2
	}
	var all []branch
	amps, far := 0.0, 0.0
	left := size - 1 // the fuse
	for range many {
		b := branch{need: w.need()}
		amps, far = amps+b.amps, far+b.far
		all = append(all, b)
		left-- // the load
		if !shared {
			left--
		}
	}
	if shared {
		left--
	}
	if relay {
		left -= 3 // switch, coil, contact
	}
	if loop {
		left--
	}
	for k := range all {
		if left > 2 && w.d.yes(0.35) {
			all[k].guard = true
			left--
		}
		if left > 2 && !relay && w.d.yes(0.3) {
			all[k].steer = true
			left--
		}
	}
	trunk := !relay && left > 1 && w.d.yes(0.5)
	if trunk {
		left--
	}
	r := w.parts(left, 3+3*many)
	at := w.run(plus, min(r[0], 2), amps, false)
	at = w.guard(at, far+0.3)
	at = w.run(at, r[1]+r[0]-min(r[0], 2), amps, false)
	if trunk {
		at = w.steer(at, amps)
	}
	if relay {
		at = w.relay(at, amps)
	}
	base := minus
	if shared {
		base = w.point()
		w.low(circuit.Ground, base, minus, amps)
		base = w.run(base, r[2], amps, true)
	} else {
		at = w.run(at, r[2], amps, false)
	}
	var fed, returned []int
	for k, b := range all {
		own := at
		if b.guard {
			own = w.guard(own, b.far)
		}
		own = w.run(own, r[3+3*k], b.amps, false)
		if b.steer {
			own = w.steer(own, b.amps)
		}
		own = w.run(own, r[4+3*k], b.amps, false)
		// The way back, from its end.
		end := base
		if !shared {
			end = w.point()
			w.low(circuit.Ground, end, minus, b.amps)
		}
		end = w.run(end, r[5+3*k], b.amps, true)
		w.load(b.kind, b.amps, own, end)
		fed, returned = append(fed, own), append(returned, end)
	}
	if loop {
		w.close(at, fed, returned, amps)
	}
}

// relay draws a relay: a coil that a switch feeds, and the contact it moves.
func (w *drawing) relay(at int, amps float64) int {
	mid, to := w.point(), w.point()
	k := w.low(circuit.Switch, at, mid, 0.2)
	w.control[k] = true
	ohms := w.d.in(65, 110)
	name := w.name("relay", "")
	coil := w.add(circuit.Element{Key: name + " coil", Kind: circuit.Coil, From: mid, To: minus, Ohms: circuit.Usual(circuit.Coil, 0), Follows: -1}, built{ohms: ohms})
	contact := w.low(circuit.Switch, at, to, amps)
	w.counts["switch"]--
	w.Elements[contact].Key, w.Elements[contact].Follows = name+" contact", coil
	if w.left > 0 && w.d.yes(0.2) { // across the coil, against its kick
		w.add(circuit.Element{Key: w.name("diode", ""), Kind: circuit.Diode, From: minus, To: mid, Ohms: circuit.Usual(circuit.Diode, 0), Follows: -1}, built{})
	}
	return to
}

// close draws the second way that makes a loop: a second ground, a second feed, or
// a wire from one branch to another.
func (w *drawing) close(at int, fed, returned []int, amps float64) {
	switch w.d.IntN(3) {
	case 0:
		w.low(circuit.Ground, one(w.d, returned...), minus, amps)
		return
	case 1:
		if end := one(w.d, fed...); end != at {
			w.low(circuit.Wiring, at, end, amps)
			return
		}
	}
	a, b := w.d.IntN(len(fed)), w.d.IntN(len(fed))
	if fed[a] != fed[b] {
		w.low(circuit.Wiring, fed[a], fed[b], amps)
		return
	}
	if returned[a] != returned[b] {
		w.low(circuit.Wiring, returned[a], returned[b], amps)
		return
	}
	w.low(circuit.Ground, returned[0], minus, amps)
}
