package cases

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// plug is what comes off in one go: a connector with all its pins, or a load that is
// plugged in by itself.
type plug struct {
	name     string
	elements []int
}

// pinOf is a name that ends in a pin: 'fan.C1-2', 'bcm C3-14'.
var pinOf = regexp.MustCompile(`^(.+)-\pL?\pN+\pL?$`)

// plugs of a circuit: its contacts that are neither bolted nor spliced, and the loads
// that none of those is at.
func (j *Judged) plugs(d *Drawn) []plug {
	var out []plug
	taken := map[int]bool{}
	add := func(i int, name string) {
		p := plug{name: name}
		for k := range d.Elements {
			if j.opened(d, k, name) {
				p.elements = append(p.elements, k)
			}
		}
		if !slices.Contains(p.elements, i) {
			return
		}
		for _, k := range p.elements {
			taken[k] = true
		}
		out = append(out, p)
	}
	contact := func(i int) bool {
		return d.Circuit.Elements[i].Kind == circuit.Contact && joinOf(d.Elements[i].Component.Name) == plugged
	}
	for i, e := range d.Elements {
		if !contact(i) || taken[i] {
			continue
		}
		name := e.Component.Name
		if m := pinOf.FindStringSubmatch(name); m != nil {
			name = m[1]
		}
		add(i, name)
		if !taken[i] {
			add(i, e.Component.Name)
		}
	}
	for i, e := range d.Circuit.Elements {
		if e.Kind != circuit.Load && e.Kind != circuit.Lamp && e.Kind != circuit.Motor {
			continue
		}
		pinned := slices.ContainsFunc(d.Circuit.Elements, func(o circuit.Element) bool {
			at := o.From == e.From || o.To == e.From || o.From == e.To || o.To == e.To
			return at && o.Kind == circuit.Contact
		})
		if !pinned && !taken[i] {
			add(i, d.Elements[i].Component.Name)
		}
	}
	return out
}

// lampless reports whether no test lamp may be clipped to a point, and with it no
// ohmmeter: on signals, 5 V, buses and airbags, on module pins, and where fuel is near.
func (j *Judged) lampless(d *Drawn, n int) bool {
	if j.delicate(d) || d.Outputs(n) {
		return true
	}
	joined := d.Joined([]int{n})
	for i, e := range d.Circuit.Elements {
		if c := d.Elements[i].Component; slices.Contains(joined, e.From) || slices.Contains(joined, e.To) {
			if isModule(c.Name) || !j.hazard(c).allows(suspect.TestLamp) {
				return true
			}
		}
	}
	return false
}

// isModule goes by the words of a name.
func isModule(name string) bool {
	return anyWord(wordsOf(name), "module", "computer", "controller", "ecu", "ecm", "bcm", "cluster")
}

// unplugged are the readings with a plug off, near what is likeliest. Each is worked out
// from the entry that records it, so that what it promises is what recording it gives.
func (j *Judged) unplugged(a *asker, d *Drawn, con *eventv1.Conditions, taken map[read]bool, add func(*foretold)) {
	plugs := j.plugs(d)
	var elements [][]int
	for _, p := range plugs {
		elements = append(elements, p.elements)
	}
	likely := func(k int) float64 { return j.judgement.Probability(j.meantNow(d.Elements[k].Component)) }
	for _, n := range d.Near(elements, likely) {
		p := plugs[n]
		if slices.ContainsFunc(p.elements, func(k int) bool {
			h := j.hazard(d.Elements[k].Component)
			return h.unsafe(j.Case) != "" || !h.allows(suspect.Unplugged)
		}) {
			continue
		}
		setup, _ := j.asRecorded(a, d, j.reading(d, con, p, circuit.Apart{}))
		for _, apart := range d.PlugOff(&setup, p.elements, func(n int) bool { return !j.lampless(d, n) }) {
			r := j.reading(d, con, p, apart)
			setup, parts := j.asRecorded(a, d, r)
			if taken[read{quantityOf(apart.Manner), apart.Red, apart.Black, d.changed(setup)}] || (apart.Manner == suspect.TestLamp) != (len(setup.Bridges) > 0) {
				continue
			}
			f := &foretold{comp: d.Elements[p.elements[0]].Component, drawn: d, red: r.GetRed(), black: r.GetBlack(), manner: apart.Manner, plug: p.name, dead: apart.Dead, says: r}
			if apart.Manner == suspect.TestLamp {
				f.lamp = d.Points[apart.Lamp]
			}
			f.Candidate = d.Candidate(setup, apart.Red, apart.Black, p.elements[0], apart.Manner, j.Table.Costs[apart.Manner], parts)
			add(f)
		}
	}
}

// reading is the entry that a reading with the plug off makes, but for what it shows.
func (j *Judged) reading(d *Drawn, con *eventv1.Conditions, p plug, a circuit.Apart) *eventv1.Reading {
	r := &eventv1.Reading{Red: d.Points[a.Red], Black: d.Points[a.Black], Conditions: proto.CloneOf(con)}
	r.Conditions.Unplugged = []string{p.name}
	if a.Dead {
		r.Conditions.Unplugged = append(r.Conditions.Unplugged, j.fuses(d)...)
	}
	if a.Manner == suspect.TestLamp {
		r.Conditions.Loaded = []string{lampOn(d.Points[a.Lamp], r.Red)}
	}
	return r
}

// lampOn is how a test lamp from one point to another is written down.
func lampOn(from, to string) string { return "test lamp from " + from + " to " + to }

// asRecorded is the state of the circuit that the entry, made now, would tell of, with what
// is in the place of each element.
func (j *Judged) asRecorded(a *asker, d *Drawn, r *eventv1.Reading) (circuit.Setup, []suspect.Part) {
	step := &Step{Job: len(j.jobs) + 1, Says: &eventv1.Event{Kind: &eventv1.Event_Reading{Reading: r}}}
	setup := a.state(d, step, r, &Read{})
	return setup, a.partsAt(d, step, &setup)
}

// changed names what a state has off, fuses left out since they come out for any ohms, and
// what lies between which points for a while.
func (d *Drawn) changed(s circuit.Setup) string {
	var out []string
	for i, e := range d.Circuit.Elements {
		if s.Position[i] == circuit.Gone && e.Kind != circuit.Fuse && e.Kind != circuit.Breaker {
			out = append(out, e.Key)
		}
	}
	slices.Sort(out)
	for _, b := range s.Bridges {
		out = append(out, fmt.Sprint(d.Points[min(b.A, b.B)], " ", d.Points[max(b.A, b.B)]))
	}
	return strings.Join(out, ",")
}

// quantityOf is the manner of reading the same with everything plugged in.
func quantityOf(m suspect.Manner) suspect.Manner {
	if m == suspect.OhmsUnplugged {
		return suspect.Ohms
	}
	return suspect.Volts
}

// wordUnplugged says how a reading with a plug off is taken, in a technician's words.
func (j *Judged) wordUnplugged(a *Advice, f *foretold) (unit string) {
	const asked = "switch on again and ask the circuit to work, as when the concern is there"
	leads := fmt.Sprintf("red lead at %s on the harness side, black lead at %s", f.red, f.black)
	back := "Put the plug back afterwards and see that it locks"
	switch f.manner {
	case suspect.TestLamp:
		what := "the feed"
		if f.lamp == f.drawn.Points[1] {
			what = "the way to ground"
		}
		a.Do = fmt.Sprintf("Switch off and unplug %s; clip a filament test lamp from %s to %s, so that %s is loaded; %s, and read volts with the lamp on: %s. Take the lamp off and put the plug back afterwards, and see that it locks", f.plug, f.red, postWords(f.lamp), what, asked, leads)
		a.Tools = []string{"test lamp", "meter"}
		return "V"
	case suspect.OhmsUnplugged:
		out := "Switch off and unplug " + f.plug
		if f.dead {
			out = fmt.Sprintf("Switch off, unplug %s and take out %s", f.plug, j.fuseWords(f.drawn))
			back = "Put plug and fuses back afterwards, and see that the plug locks"
		}
		leads = fmt.Sprintf("red lead at %s, black lead at %s", f.red, f.black)
		a.Do = fmt.Sprintf("%s; make sure that nothing is live, then read ohms with the switches as when the concern is there: %s. %s", out, leads, back)
		a.Tools = []string{"meter"}
		return "Ω"
	}
	a.Do = fmt.Sprintf("Switch off and unplug %s; %s, and read volts with nothing but the meter on: %s. %s", f.plug, asked, leads, back)
	a.Tools = []string{"meter"}
	return "V"
}

// postWords says a post as one says it to somebody with a clip in his hand.
func postWords(point string) string {
	switch point {
	case "batt-":
		return "battery negative"
	case "batt+":
		return "battery positive"
	}
	return point
}

// WriteDown says what belongs to the entry besides where the leads were and what was
// shown, as one types it; empty where everything was plugged in.
func (a Advice) WriteDown() string {
	c := a.Records.GetConditions()
	var with []string
	if len(c.GetUnplugged()) > 0 {
		with = append(with, strings.Join(c.GetUnplugged(), " and ")+" unplugged")
	}
	if c.GetCommanded() == eventv1.Command_COMMAND_OFF {
		with = append(with, "switched off")
	}
	if a.Manner == suspect.Drop {
		with = append(with, "the current, such as 'at 8 A'")
	}
	if len(with) == 0 {
		return ""
	}
	out := "Write down with it: " + strings.Join(with, ", ")
	for _, l := range c.GetLoaded() {
		out += fmt.Sprintf(", loaded with %q", l)
	}
	return out + "."
}
