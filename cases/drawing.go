package cases

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Drawn is one circuit of a case: what is joined without going through a post.
type Drawn struct {
	*circuit.Circuit
	// Elements as drawn, in the order of the circuit's.
	Elements []DrawnElement
	// nodes of the circuit by the key of a point.
	nodes map[string]int
	// own: its supply is another than the battery, of so many volts.
	own float64
}

// DrawnElement is an element with where it was drawn.
type DrawnElement struct {
	*eventv1.Element
	Component *Component
	By        *Step
}

// ElementName is the name of the component that an element is; of a wire without a
// name, its points.
func ElementName(e *eventv1.Element) string {
	if e.GetComponent() != "" {
		return e.GetComponent()
	}
	if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_WIRE {
		return "wire " + e.GetFrom() + " to " + e.GetTo()
	}
	return ""
}

const (
	keyMinus = "batt-"
	keyPlus  = "batt+"
)

// pointKey is the key of a point, the posts under one name each.
func (s *State) pointKey(name string) string {
	key := strings.TrimPrefix(s.joined(s.sameKey(name, true)), "point\x00")
	switch key {
	case "batt+", "batt+ post", "battery +", "battery+", "battery positive", "battery positive post", "positive post", "b+", "+ post":
		return keyPlus
	case "batt-", "batt- post", "batt", "battery -", "battery-", "battery negative", "battery negative post", "negative post", "- post":
		return keyMinus
	}
	return key
}

// elements are those drawn last: a later drawing of the same name takes the place
// of the earlier, and a later element that of the one of its name or, a wire, of
// its points.
func (c *Case) elements(h horizon) []DrawnElement {
	var all []DrawnElement
	seen := map[string]int{}
	for _, d := range c.Drawings {
		if !h.sees(d) {
			continue
		}
		k := d.Says.GetCircuitDrawn()
		if k.GetName() != "" {
			gone := func(e DrawnElement) bool {
				return e.By != d && notation.Key(e.By.Says.GetCircuitDrawn().GetName()) == notation.Key(k.GetName()) && !nearIn(e.By, d)
			}
			for i := range all {
				if all[i].Element != nil && gone(all[i]) {
					all[i].Element = nil
				}
			}
		}
		for _, e := range k.GetElements() {
			comp := c.Component(ElementName(e))
			if comp == nil {
				continue
			}
			id := comp.Key + "\x00" + c.pointKey(e.GetFrom()) + "\x00" + c.pointKey(e.GetTo())
			if i, ok := seen[id]; ok {
				all[i] = DrawnElement{e, comp, d}
				continue
			}
			seen[id] = len(all)
			all = append(all, DrawnElement{e, comp, d})
		}
	}
	return slices.DeleteFunc(all, func(e DrawnElement) bool { return e.Element == nil })
}

// nearIn reports whether two drawings were made one behind the other by the same
// hand: the lines of one drawing.
func nearIn(a, b *Step) bool {
	return a.By == b.By && b.Seq-a.Seq < 20 && a.Says.GetCircuitDrawn().GetSource() == b.Says.GetCircuitDrawn().GetSource()
}

// Circuits of the case as it stands.
func (c *Case) Circuits() []*Drawn {
	return c.circuits(c.everything())
}

func (c *Case) circuits(h horizon) []*Drawn {
	all := c.elements(h)
	if len(all) == 0 {
		return nil
	}
	// Elements joined other than at a post belong together.
	group := make([]int, len(all))
	at := map[string]int{}
	find := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	for i, e := range all {
		group[i] = i
		for _, p := range []string{e.GetFrom(), e.GetTo()} {
			key := c.pointKey(p)
			if key == keyMinus || key == keyPlus {
				key = "" // the posts join everything
			}
			if key == "" {
				continue
			}
			if j, ok := at[key]; ok {
				group[find(i)] = find(j)
			} else {
				at[key] = i
			}
		}
	}
	// A relay's coil and its contact are one thing, whatever circuits they are in.
	for i, e := range all {
		for j, f := range all[:i] {
			if relayOf(e.Element) != "" && relayOf(e.Element) == relayOf(f.Element) && e.GetKind() != f.GetKind() {
				group[find(i)] = find(j)
			}
		}
	}
	c.joinPlugs(all, find, group)
	byRoot := map[int]*Drawn{}
	var out []*Drawn
	for i, e := range all {
		r := find(i)
		d := byRoot[r]
		if d == nil {
			d = &Drawn{Circuit: &circuit.Circuit{Points: []string{"batt-", "batt+"}, System: c.system()}, nodes: map[string]int{keyMinus: 0, keyPlus: 1}}
			byRoot[r] = d
			out = append(out, d)
		}
		d.Elements = append(d.Elements, e)
	}
	out = slices.DeleteFunc(out, func(d *Drawn) bool { c.wireUp(d); return len(d.Circuit.Elements) == 0 })
	return out
}

// system is the vehicle's nominal voltage; 12 where nobody said.
func (c *Case) system() float64 {
	if v := c.Vehicle.GetSystemVolts(); v != 0 {
		return float64(v)
	}
	return 12
}

// relayOf is the relay's name, of its coil and of its contact.
func relayOf(e *eventv1.Element) string {
	switch e.GetKind() {
	case eventv1.ElementKind_ELEMENT_KIND_RELAY_CONTACT, eventv1.ElementKind_ELEMENT_KIND_RELAY_COIL:
		var words []string
		for _, w := range strings.Fields(notation.Key(e.GetComponent())) {
			if w != "relay" && w != "coil" && w != "contact" {
				words = append(words, w)
			}
		}
		return strings.Join(words, " ")
	}
	return ""
}

// wireUp makes the circuit of the elements.
func (c *Case) wireUp(d *Drawn) {
	var kept []DrawnElement
	fed := slices.ContainsFunc(d.Elements, func(e DrawnElement) bool {
		return c.pointKey(e.GetFrom()) == keyPlus || c.pointKey(e.GetTo()) == keyPlus
	})
	for _, e := range d.Elements {
		if e.GetKind() != eventv1.ElementKind_ELEMENT_KIND_SUPPLY || fed {
			continue
		}
		if v, ok := si(e.GetEmf()); ok && c.pointKey(e.GetFrom()) == keyMinus && d.own == 0 {
			d.own = v // a module's own: its output is an element like others
			d.System = v
		}
	}
	for _, e := range d.Elements {
		if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_SUPPLY && (fed || d.own == 0) {
			continue // the posts stand for the battery
		}
		from := d.node(c.pointKey(e.GetFrom()), e.GetFrom())
		if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_SUPPLY {
			from = 1
		}
		el := circuit.Element{
			Key: e.Component.Key, Kind: circuitKind(e), From: from, To: d.node(c.pointKey(e.GetTo()), e.GetTo()), Follows: -1,
		}
		el.Ohms = d.ohms(e, el.Kind)
		if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_SUPPLY {
			el.Ohms = circuit.Span{Lo: 10, Hi: 60} // it gives a tenth of an ampere or so: assumed
		}
		el.Rating, _ = si(e.GetRating())
		d.Circuit.Elements = append(d.Circuit.Elements, el)
		kept = append(kept, e)
	}
	d.Elements = kept
	for i, e := range kept {
		for j, f := range kept {
			if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_RELAY_CONTACT && f.GetKind() == eventv1.ElementKind_ELEMENT_KIND_RELAY_COIL && relayOf(e.Element) == relayOf(f.Element) {
				d.Circuit.Elements[i].Follows = j
			}
		}
	}
	d.lieTogether()
	d.Compile()
}

func (d *Drawn) node(key, name string) int {
	n, ok := d.nodes[key]
	if !ok {
		n = len(d.Points)
		d.nodes[key] = n
		d.Points = append(d.Points, name)
	}
	return n
}

// si is a quantity in the unit of its kind without prefix: volts, amperes, ohms,
// metres, watts.
func si(q *eventv1.Quantity) (float64, bool) {
	if q == nil {
		return 0, false
	}
	v, _, err := notation.Value(q)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// has reports whether one of the words is in the name.
func hasWord(name string, all ...string) bool {
	return slices.ContainsFunc(strings.Fields(notation.Key(name)), func(w string) bool { return slices.Contains(all, w) })
}

func circuitKind(e DrawnElement) circuit.Kind {
	switch e.GetKind() {
	case eventv1.ElementKind_ELEMENT_KIND_WIRE:
		return circuit.Wiring
	case eventv1.ElementKind_ELEMENT_KIND_CONTACT:
		return circuit.Contact
	case eventv1.ElementKind_ELEMENT_KIND_SPLICE:
		return circuit.Splice
	case eventv1.ElementKind_ELEMENT_KIND_GROUND:
		return circuit.Ground
	case eventv1.ElementKind_ELEMENT_KIND_SWITCH, eventv1.ElementKind_ELEMENT_KIND_RELAY_CONTACT:
		return circuit.Switch
	case eventv1.ElementKind_ELEMENT_KIND_FUSE:
		return circuit.Fuse
	case eventv1.ElementKind_ELEMENT_KIND_BREAKER:
		return circuit.Breaker
	case eventv1.ElementKind_ELEMENT_KIND_OUTPUT, eventv1.ElementKind_ELEMENT_KIND_SUPPLY:
		return circuit.Output
	case eventv1.ElementKind_ELEMENT_KIND_RELAY_COIL:
		return circuit.Coil
	case eventv1.ElementKind_ELEMENT_KIND_RESISTOR:
		return circuit.Resistor
	case eventv1.ElementKind_ELEMENT_KIND_DIODE:
		return circuit.Diode
	}
	switch name := e.Component.Name; {
	case hasWord(name, "led", "leds"):
		return circuit.Load
	case hasWord(name, "lamp", "bulb", "headlamp", "lamps"):
		return circuit.Lamp
	case hasWord(name, "motor", "fan", "pump", "starter", "blower", "wiper"):
		return circuit.Motor
	}
	return circuit.Load
}

// ohms of an element that is well, as far as the drawing says.
func (d *Drawn) ohms(e DrawnElement, k circuit.Kind) circuit.Span {
	const slack = 0.15 // what is printed on a part is met within so much: assumed
	v := d.System * 1.04
	if k == circuit.Lamp {
		v = d.System * circuit.LampVolts
	}
	if r, ok := si(e.GetResistance()); ok && r > 0 {
		return circuit.About(r, slack)
	}
	if w, ok := si(e.GetPower()); ok && w > 0 {
		return circuit.About(v*v/w, slack)
	}
	if a, ok := si(e.GetCurrent()); ok && a > 0 {
		return circuit.About(v/a, slack)
	}
	if k == circuit.Wiring {
		length, _ := si(e.GetLength())
		return circuit.Wire(length, area(e.GetGauge()))
	}
	rating, _ := si(e.GetRating())
	return circuit.Usual(k, rating)
}

// area of a wire in square millimetres by its size as written; 0: not known.
func area(gauge string) float64 {
	number, unit, _ := strings.Cut(strings.TrimSpace(gauge), " ")
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || v <= 0 {
		return 0
	}
	switch strings.ToLower(unit) {
	case "awg":
		return circuit.GaugeArea(int(v))
	case "mm2", "mm²":
		return v
	}
	return 0
}

// drawnModes are the ways in which the component can be bad that a drawing tells
// apart, with their shares of the prior; nil when it is not drawn.
func drawnModes(all []*Drawn, comp *Component) (modes []circuit.Share, kind eventv1.ElementKind) {
	for _, d := range all {
		for i, e := range d.Elements {
			if e.Component == comp {
				return d.Modes(i), e.GetKind()
			}
		}
	}
	return nil, 0
}
