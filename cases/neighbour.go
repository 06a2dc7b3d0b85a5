package cases

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// pinOfPlug is the key of a pin that names its connector: 'fan.c1-2', 'socket.7', 'bcm
// c3-14'. 'inline 7' is a connector by itself.
var pinOfPlug = regexp.MustCompile(`^(.+)(?:\.([0-9]{1,3})|-([0-9]{1,3}[a-z]?|[a-z]))$`)

// plugOf splits the key of a pin into its connector and its pin there.
func plugOf(key string) (plug, pin string, ok bool) {
	m := pinOfPlug.FindStringSubmatch(key)
	if m == nil {
		return "", "", false
	}
	return loose(m[1]), m[2] + m[3], true
}

// pinNumber orders the pins of a connector: by number, letters behind them.
func pinNumber(pin string) int {
	digits := len(pin)
	for digits > 0 && (pin[digits-1] < '0' || pin[digits-1] > '9') {
		digits--
	}
	n, _ := strconv.Atoi(pin[:digits])
	for _, letter := range pin[digits:] {
		n += int(letter-'a') + 1
	}
	return n
}

// mostNeighbours is with how many others a pin, or a wire, may be shorted: those whose pins
// have the nearest numbers. Assumed: what lies side by side is mostly numbered so, and each
// is one thing more to judge.
const mostNeighbours = 3

// lieTogether finds what may touch what: the contacts of one connector, and the wires that
// end at them.
func (d *Drawn) lieTogether() {
	plugs := map[string][]int{} // the pins of each connector
	number := make([]int, len(d.Elements))
	for i, e := range d.Elements {
		if plug, pin, ok := plugOf(e.Component.Key); ok && (e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_CONTACT || e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_OUTPUT) {
			plugs[plug], number[i] = append(plugs[plug], i), pinNumber(pin)
		}
	}
	at := map[int][]int{} // the wires at each node
	for i, e := range d.Circuit.Elements {
		if e.Kind == circuit.Wiring {
			at[e.From], at[e.To] = append(at[e.From], i), append(at[e.To], i)
		}
	}
	for _, plug := range plugsOf(d, plugs) {
		for _, i := range plug {
			e := &d.Circuit.Elements[i]
			others := slices.DeleteFunc(slices.Clone(plug), func(k int) bool { return k == i })
			slices.SortStableFunc(others, func(a, b int) int {
				return cmp.Compare(max(number[a]-number[i], number[i]-number[a]), max(number[b]-number[i], number[i]-number[b]))
			})
			for _, k := range others {
				o := &d.Circuit.Elements[k]
				d.mayTouch(i, k)
				for _, wire := range append(slices.Clone(at[e.From]), at[e.To]...) {
					for _, other := range append(slices.Clone(at[o.From]), at[o.To]...) {
						d.mayTouch(wire, other)
					}
				}
			}
		}
	}
}

// mostJoined is how many elements two circuits may have together to be judged as one for
// sharing a connector. Assumed: a large one takes long.
const mostJoined = 40

// joinPlugs puts circuits into one group that have pins in one connector, so that a short
// between them can be judged. Both hang on the battery, and neither carries a signal or
// what no lead may be put to, so that what holds of such wires does not spread to others.
func (c *Case) joinPlugs(all []DrawnElement, find func(int) int, group []int) {
	size, fed, apart := map[int]int{}, map[int]bool{}, map[int]bool{}
	nets := map[string]bool{}
	for _, p := range c.Points {
		switch p.Seen.GetNet() {
		case eventv1.NetKind_NET_KIND_UNSPECIFIED, eventv1.NetKind_NET_KIND_POWER, eventv1.NetKind_NET_KIND_GROUND:
		default:
			nets[loose(c.pointKey(p.Name))] = true
		}
	}
	for i, e := range all {
		r := find(i)
		size[r]++
		from, to := c.pointKey(e.GetFrom()), c.pointKey(e.GetTo())
		fed[r] = fed[r] || from == keyPlus || to == keyPlus
		apart[r] = apart[r] || nets[loose(from)] || nets[loose(to)] || nets[loose(e.Component.Key)]
	}
	first := map[string]int{}
	for i, e := range all {
		plug, _, ok := plugOf(e.Component.Key)
		if !ok {
			continue
		}
		k, met := first[plug]
		if !met {
			first[plug] = i
			continue
		}
		a, b := find(i), find(k)
		if a != b && size[a]+size[b] <= mostJoined && fed[a] && fed[b] && !apart[a] && !apart[b] {
			group[a] = b
			size[b] += size[a]
		}
	}
}

// plugsOf are the connectors in the order drawn.
func plugsOf(d *Drawn, plugs map[string][]int) [][]int {
	var out [][]int
	for i := range d.Elements {
		for _, pins := range plugs {
			if pins[0] == i {
				out = append(out, pins)
			}
		}
	}
	return out
}

// mayTouch lets an element touch another of its kind that it is not joined with at an end.
func (d *Drawn) mayTouch(i, k int) {
	e, o := &d.Circuit.Elements[i], &d.Circuit.Elements[k]
	joined := e.From == o.From || e.From == o.To || e.To == o.From || e.To == o.To
	if e.Kind != o.Kind || e.Kind != circuit.Contact && e.Kind != circuit.Wiring || joined || slices.Contains(e.Neighbours, k) || len(e.Neighbours) == mostNeighbours {
		return
	}
	e.Neighbours = append(e.Neighbours, k)
}

// modeWords is a way in which a component is bad, with the neighbour of a short to one:
// 'shorted to fan.C1-1 (brown)'.
func (j *Judged) modeWords(c *Component, m suspect.Mode) string {
	n, ok := m.Neighbour()
	if !ok {
		return m.String()
	}
	for _, d := range j.wired() {
		if n < len(d.Elements) && slices.ContainsFunc(d.Elements, func(e DrawnElement) bool { return e.Component == c }) {
			return "shorted to " + j.withColour(d, n)
		}
	}
	return m.String()
}

// withColour names an element with the colour of its wire, where somebody drew that.
func (j *Judged) withColour(d *Drawn, n int) string {
	e := d.Elements[n]
	colour := e.GetColour()
	if e.GetKind() == eventv1.ElementKind_ELEMENT_KIND_CONTACT {
		if p := j.Point(e.Component.Name); p != nil {
			colour = or(colour, p.Seen.GetColour())
		}
		for i, w := range d.Elements {
			x, y := d.Circuit.Elements[i], d.Circuit.Elements[n]
			if x.Kind == circuit.Wiring && (x.From == y.From || x.From == y.To || x.To == y.From || x.To == y.To) {
				colour = or(colour, w.GetColour())
			}
		}
	}
	if colour == "" {
		return e.Component.Name
	}
	return e.Component.Name + " (" + colour + ")"
}

// Touching is the mode in which a component is shorted to another, if the drawing gives
// reason for it.
func (d *Drawn) Touching(c, other *Component) (suspect.Mode, bool) {
	for i, e := range d.Elements {
		for _, n := range d.Circuit.Elements[i].Neighbours {
			if e.Component == c && d.Elements[n].Component == other {
				return suspect.ShortTo(n), true
			}
		}
	}
	return 0, false
}
