package cases

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Read is a reading on a drawn circuit.
type Read struct {
	*circuit.Observation
	Step  *Step
	Drawn *Drawn
	// Doubt says why it proves nothing, or less than it seems; empty when there is
	// nothing to say.
	Doubt string
}

// reads are the readings as evidence on what is drawn, in job order.
func (a *asker) reads() []*Read {
	if len(a.wired) == 0 {
		return nil
	}
	var out []*Read
	for _, s := range a.Readings {
		if a.horizon.sees(s) {
			out = append(out, a.observe(s)...)
		}
	}
	return out
}

// observe is the reading as evidence; none where no drawing has its points.
func (a *asker) observe(s *Step) []*Read {
	for _, d := range a.wired {
		if out := a.observeOn(d, s); out != nil {
			return out
		}
	}
	return nil
}

func (a *asker) observeOn(d *Drawn, s *Step) []*Read {
	r := s.Says.GetReading()
	red, black := a.Place(d, r.GetRed()), a.Place(d, r.GetBlack())
	at := a.Place(d, r.GetAt())
	if len(red)+len(at) == 0 {
		return nil
	}
	v := circuit.Reading{ID: s.ID, Setup: setupOf(r), Red: red, Black: black}
	out := &Read{Step: s, Drawn: d}
	if !a.shown(d, r, &v, out) {
		return nil
	}
	setup := a.state(d, s, r, out)
	circ := d.Circuit
	parts := a.partsAt(d, s, &setup)
	if v.Quantity != circuit.Amps {
		if e := a.across(d, r); e != nil {
			v.Red, v.Black, v.Unsigned = []int{e.From}, []int{e.To}, v.Quantity == circuit.Volts
			if v.Unsigned {
				v.Shown = circuit.Span{Lo: math.Max(v.Shown.Lo, -v.Shown.Hi), Hi: math.Max(-v.Shown.Lo, v.Shown.Hi)}
				v.Shown.Lo = math.Max(v.Shown.Lo, 0)
			}
		}
		if len(v.Red) == 0 {
			v.Red = at
		}
		if len(v.Black) == 0 {
			switch {
			case slices.Contains(bodies, notation.Key(r.GetBlack())):
				circ, parts, v.Black = grounded(d, parts, notation.Key(r.GetBlack()), &setup)
			case r.GetBlack() == "":
				v.Black, v.Told, out.Doubt = []int{0}, true, "nobody said where the black lead was"
			default:
				return nil
			}
		}
	}
	if v.Quantity == circuit.Ohms {
		v.Leads = a.leads(s)
	}
	if v.Quantity == circuit.Ohms && !setup.Off && d.Live(&setup, append(slices.Clone(v.Red), v.Black...)...) {
		out.Doubt = "ohms on a circuit that was fed say nothing"
		return nil
	}
	switch {
	case r.GetConcern() == eventv1.Presence_PRESENCE_ABSENT && !a.steady:
		v.Absent = a.table.WeakPass
	case a.comes && r.GetConcern() != eventv1.Presence_PRESENCE_PRESENT:
		v.Absent = a.table.MaybeWeakPass
	}
	all := []*Read{out}
	if amps, ok := si(r.GetConditions().GetCurrent()); ok && v.Quantity == circuit.Volts {
		v.Through = circuit.Flows(amps)
		if k, ok := circ.Only(setup, v.Red, v.Black); ok {
			flows := v
			flows.Quantity, flows.Along, flows.Lead, flows.Through = circuit.Amps, k, circuit.Span{}, circuit.Span{}
			flows.Shown, flows.Sigma = circuit.Exactly(math.Abs(amps)), 0.05+0.04*math.Abs(amps)
			all = append(all, &Read{Step: s, Drawn: d, Observation: circ.Observe(setup, flows, parts)})
		}
	}
	out.Observation = circ.Observe(setup, v, parts)
	if v.Quantity == circuit.Swing && out.Foretold(nil).Hi < circuit.Counts.Lo {
		return nil // nothing that is drawn drives this point in pulses
	}
	return all
}

// leads are the ohms that the instrument of a reading showed with its leads held together,
// the last time before it; 0 where nobody did so.
func (a *asker) leads(s *Step) float64 {
	used, out := notation.Key(s.Says.GetReading().GetInstrument().GetName()), 0.0
	for _, m := range a.MeterChecks {
		check := m.Says.GetMeterChecked()
		v, ok := si(check.GetShown())
		words := wordsOf(check.GetSource())
		if m.Job >= s.Job || !ok || check.GetShown().GetUnit() != "Ohm" || !anyWord(words, "leads", "lead", "probes") || v < 0 || v > leadsMost {
			continue
		}
		if name := notation.Key(check.GetInstrument().GetName()); name == used {
			out = max(v, 1e-3)
		}
	}
	return out
}

// across is the element over which volts, ohms or a lamp were read where one component was
// named and no lead: 'across ground G7', '0.1 V drop at ground G7'; nil where none was, or the
// component is drawn as more than one.
func (a *asker) across(d *Drawn, r *eventv1.Reading) *circuit.Element {
	name := r.GetAt()
	if name == "" && r.GetValue().GetShape() == eventv1.Shape_SHAPE_DROP {
		name = r.GetRed()
	}
	if name == "" || r.GetBlack() != "" || r.GetAt() != "" && r.GetRed() != "" {
		return nil
	}
	if _, point := d.nodes[a.pointKey(name)]; point {
		return nil
	}
	i := a.elementOf(d, name)
	if i < 0 {
		return nil
	}
	for k := range d.Elements {
		if k != i && d.Elements[k].Component == d.Elements[i].Component {
			return nil
		}
	}
	if e := &d.Circuit.Elements[i]; e.From != e.To {
		return e
	}
	return nil
}

// leadsMost is the most that leads have which are no fault of the meter's, in ohms.
const leadsMost = 0.5

// setupOf names what a reading has in common with another of the same set-up.
func setupOf(r *eventv1.Reading) string {
	c := r.GetConditions()
	return strings.Join([]string{
		"read", r.GetValue().GetUnit(), notation.Key(r.GetRed()), notation.Key(r.GetBlack()), notation.Key(r.GetAt()), c.GetKey().String(), c.GetCommanded().String(),
		strings.Join(c.GetUnplugged(), ","), strings.Join(c.GetJumped(), ","), strings.Join(c.GetLoaded(), ","), lampWord(r),
	}, "|")
}

func lampWord(r *eventv1.Reading) string {
	if k := r.GetInstrument().GetKind(); k == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP || k == eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER {
		return k.String()
	}
	return ""
}

// shown fills in what was read. False: it is nothing that a circuit foretells.
func (a *asker) shown(d *Drawn, r *eventv1.Reading, v *circuit.Reading, out *Read) bool {
	q := r.GetValue()
	kind := r.GetInstrument().GetKind()
	if q == nil {
		return a.shone(d, r, v, kind)
	}
	x, dim, err := notation.Value(q)
	if err != nil && q.GetSense() != eventv1.Sense_SENSE_OVER_RANGE {
		return false
	}
	switch q.GetShape() {
	case eventv1.Shape_SHAPE_AC, eventv1.Shape_SHAPE_PEAK:
		return false
	}
	v.Shown = circuit.Exactly(x)
	switch q.GetSense() {
	case eventv1.Sense_SENSE_UNDER:
		v.Shown.Lo = math.Min(0, x)
	case eventv1.Sense_SENSE_OVER:
		v.Shown.Hi = x + 1000*math.Abs(x)
	}
	switch dim.SI() {
	case "V":
		v.Quantity, v.Lead = circuit.Volts, circuit.Exactly(circuit.MeterOhms)
		v.Sigma = 0.03 + 0.005*math.Abs(x)
		if kind == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP {
			v.Lead, _ = circuit.TestLamp(d.System)
		}
		v.Duty = a.duty(d, r)
		if kind == eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL {
			v.Told, out.Doubt, v.Sigma = true, "a module's word, nobody's leads", v.Sigma+0.2
		}
	case "A":
		at := r.GetAt()
		if at == "" {
			at = r.GetRed()
		}
		k, ok := a.along(d, at)
		if !ok {
			return false
		}
		v.Quantity, v.Along = circuit.Amps, k
		v.Shown, v.Sigma = circuit.Exactly(math.Abs(x)), 0.05+0.03*math.Abs(x)
	case "Ω":
		v.Quantity, v.Sigma = circuit.Ohms, 0.05
		if q.GetSense() == eventv1.Sense_SENSE_OVER_RANGE {
			v.Shown = circuit.Span{Lo: 1e6, Hi: 1e12}
		}
	case "Hz", "1":
		return a.swings(d, r, x, v, out)
	default:
		return false
	}
	return true
}

// shone is how bright a lamp was, in words.
func (a *asker) shone(d *Drawn, r *eventv1.Reading, v *circuit.Reading, kind eventv1.InstrumentKind) bool {
	if kind == eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER {
		v.Lead = circuit.Span{Lo: 1000, Hi: 10000}
	} else {
		v.Lead, _ = circuit.TestLamp(d.System)
	}
	v.Quantity, v.Sigma = circuit.Shine, 0.03
	switch {
	case hasWord(r.GetShown(), "dim", "dull", "glows", "weak"):
		v.Shown = circuit.Span{Lo: 0.08, Hi: 0.9}
	case hasWord(r.GetShown(), "dark", "off", "out", "nothing", "unlit"):
		v.Shown = circuit.Span{Lo: 0, Hi: 0.25}
	case hasWord(r.GetShown(), "bright", "lit", "lights", "on", "full"):
		v.Shown = circuit.Span{Lo: 0.6, Hi: 1.2}
	default:
		return false
	}
	return true
}

// along is the element whose current a clamp at the place shows.
func (a *asker) along(d *Drawn, name string) (int, bool) {
	if i := slices.IndexFunc(d.Elements, func(e DrawnElement) bool { return e.Component.Key == a.Key(name) }); i >= 0 {
		return i, true
	}
	for _, n := range a.Place(d, name) {
		found := -1
		for i, e := range d.Circuit.Elements {
			if e.From == n || e.To == n {
				if found >= 0 && e.Kind != circuit.Contact {
					continue
				}
				found = i
			}
		}
		if found >= 0 {
			return found, true
		}
	}
	return 0, false
}

// state is how the circuit stood when the step was read.
func (a *asker) state(d *Drawn, s *Step, r *eventv1.Reading, out *Read) circuit.Setup {
	con := r.GetConditions()
	setup := circuit.Setup{Posts: a.posts(d, con), Position: make([]circuit.Position, len(d.Elements))}
	var off, jumped []string
	off = append(off, con.GetUnplugged()...)
	jumped = append(jumped, con.GetJumped()...)
	for _, t := range a.Temporaries {
		if t.On.Job > s.Job || t.Off != nil && t.Off.Job < s.Job || !a.horizon.sees(t.On) {
			continue
		}
		switch t.Kind {
		case eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, eventv1.TemporaryKind_TEMPORARY_KIND_FUSE_OUT, eventv1.TemporaryKind_TEMPORARY_KIND_WIRE_CUT:
			off = append(off, t.Where...)
		case eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER:
			jumped = append(jumped, t.What)
		}
	}
	for i, e := range d.Elements {
		setup.Position[i] = position(e, con)
	}
	for _, name := range off {
		if key := a.Key(name); hasWord(key, "battery", "batt", "batt-", "batt+") {
			setup.Off = true
		}
		for i := range d.Elements {
			if a.opened(d, i, name) {
				setup.Position[i] = circuit.Gone
			}
		}
	}
	for _, text := range jumped {
		if x, y, ok := a.between(d, text); ok {
			setup.Bridges = append(setup.Bridges, circuit.Bridge{A: x, B: y, Ohms: circuit.Span{Lo: 0.001, Hi: 0.05}})
		} else if mentionsAny(a, d, text) {
			// Something was jumped here, and nobody can tell what to what.
			out.Doubt = fmt.Sprintf("%q was jumped, and from where to where is not said", text)
		}
	}
	for _, text := range con.GetLoaded() {
		x, y, ok := a.between(d, text)
		if !ok {
			red, black := a.Place(d, r.GetRed()), a.Place(d, r.GetBlack())
			if len(red) == 0 || len(black) == 0 {
				continue
			}
			x, y = red[0], black[0] // a load on the two points that were read
		}
		span, usual := bulb(text, d.System)
		setup.Bridges = append(setup.Bridges, circuit.Bridge{A: x, B: y, Ohms: span, Usual: usual})
	}
	return setup
}

// mentionsAny reports whether the text names a component or point of the circuit.
func mentionsAny(a *asker, d *Drawn, text string) bool {
	key := notation.Key(text)
	return slices.ContainsFunc(d.Elements, func(e DrawnElement) bool { return strings.Contains(key, e.Component.Key) })
}

// bulb is the resistance of a load that somebody put on, by its power; without one,
// of any bulb; and what it mostly has while it is lit.
func bulb(text string, system float64) (span circuit.Span, usual float64) {
	if hasWord(text, "test") && hasWord(text, "lamp", "light") {
		return circuit.TestLamp(system)
	}
	words := strings.Fields(text)
	for i, w := range words {
		n, has := strings.CutSuffix(strings.ToUpper(w), "W")
		if !has && i+1 < len(words) && strings.EqualFold(words[i+1], "W") {
			n, has = w, true
		}
		if watts, err := strconv.ParseFloat(n, 64); has && err == nil && watts > 0 {
			v := system * circuit.LampVolts
			return circuit.Span{Lo: v * v / watts / 12, Hi: 1.2 * v * v / watts}, v * v / watts
		}
	}
	return circuit.Span{Lo: 0.3, Hi: 70}, 70 / 1.2
}

// posts is the voltage over the battery's posts: as read at that moment, or what
// the state of the engine makes of it (common practice, by 12 V systems: rested to
// surface charge 11.8 to 12.9, charging 13.2 to 15.2, cranking 9 to 12.3).
func (a *asker) posts(d *Drawn, con *eventv1.Conditions) circuit.Span {
	if d.own > 0 {
		return circuit.About(d.own, 0.03)
	}
	k := d.System / 12
	if v, ok := si(con.GetSupply()); ok && v > 0 {
		return circuit.Span{Lo: v - 0.1*k, Hi: v + 0.1*k}
	}
	switch con.GetKey() {
	case eventv1.KeyPosition_KEY_POSITION_CRANKING:
		return circuit.Span{Lo: 9 * k, Hi: 12.3 * k}
	case eventv1.KeyPosition_KEY_POSITION_RUNNING, eventv1.KeyPosition_KEY_POSITION_DRIVING:
		return circuit.Span{Lo: 12.3 * k, Hi: 15.2 * k}
	case eventv1.KeyPosition_KEY_POSITION_READY:
		return circuit.Span{Lo: 12.3 * k, Hi: 15.2 * k}
	case eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED:
		return circuit.Span{Lo: 11.8 * k, Hi: 15.2 * k}
	}
	return circuit.Span{Lo: 11.8 * k, Hi: 12.9 * k}
}

// position of an element under the conditions: what closes it is what the drawing
// says, or else that it is asked to work.
func position(e DrawnElement, now *eventv1.Conditions) circuit.Position {
	switch e.GetKind() {
	case eventv1.ElementKind_ELEMENT_KIND_SWITCH, eventv1.ElementKind_ELEMENT_KIND_RELAY_CONTACT, eventv1.ElementKind_ELEMENT_KIND_OUTPUT:
	default:
		return circuit.Closed
	}
	if p, said := saidOf(e.Component, now); said {
		return p
	}
	when := e.GetClosedWhen()
	if len(when) == 0 {
		when = []*eventv1.Conditions{{Commanded: eventv1.Command_COMMAND_ON}}
	}
	best := circuit.Open
	for _, w := range when {
		switch p := holds(w, now); p {
		case circuit.Closed:
			return p
		case circuit.Either:
			best = p
		}
	}
	return best
}

// saidOf is how a switch, relay or output stood where the conditions say so by its name:
// 'switch S1 on', 'S1 off'.
func saidOf(c *Component, now *eventv1.Conditions) (circuit.Position, bool) {
	for part := range strings.SplitSeq(notation.Key(now.GetSaid()), ",") {
		for word, p := range map[string]circuit.Position{" on": circuit.Closed, " closed": circuit.Closed, " off": circuit.Open, " open": circuit.Open} {
			name, is := strings.CutSuffix(strings.TrimSpace(part), word)
			if is && (name == c.Key || bare(name) == bare(c.Key)) {
				return p, true
			}
		}
	}
	return circuit.Either, false
}

// holds reports whether the conditions that close a contact were met.
func holds(w, now *eventv1.Conditions) circuit.Position {
	out := circuit.Closed
	unsure := func() { out = circuit.Either }
	if c := w.GetCommanded(); c != eventv1.Command_COMMAND_UNSPECIFIED {
		switch now.GetCommanded() {
		case c:
		case eventv1.Command_COMMAND_UNSPECIFIED:
			unsure()
		default:
			return circuit.Open
		}
	}
	if k := w.GetKey(); k != eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED {
		switch is := now.GetKey(); {
		case is == eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED:
			unsure()
		case !keyIncludes(k, is):
			return circuit.Open
		}
	}
	if said := notation.Key(w.GetSaid()); said != "" && !strings.Contains(notation.Key(now.GetSaid()), said) {
		unsure()
	}
	return out
}

// keyIncludes: what is live with the key on is live while the engine runs.
func keyIncludes(want, is eventv1.KeyPosition) bool {
	const (
		off, acc, on, ready    = eventv1.KeyPosition_KEY_POSITION_OFF, eventv1.KeyPosition_KEY_POSITION_ACCESSORY, eventv1.KeyPosition_KEY_POSITION_ON, eventv1.KeyPosition_KEY_POSITION_READY
		crank, running, driven = eventv1.KeyPosition_KEY_POSITION_CRANKING, eventv1.KeyPosition_KEY_POSITION_RUNNING, eventv1.KeyPosition_KEY_POSITION_DRIVING
	)
	switch want {
	case acc:
		return is != off && is != crank
	case on:
		return is == on || is == ready || is == running || is == driven || is == crank
	case running:
		return is == running || is == driven
	}
	return is == want
}

// partsAt are what was in the place of each element; where nothing was, it is
// open.
func (a *asker) partsAt(d *Drawn, s *Step, setup *circuit.Setup) []suspect.Part {
	out := make([]suspect.Part, len(d.Elements))
	for i, e := range d.Elements {
		p, there := a.partAt(e.Component, s.Job)
		out[i] = p
		if !there {
			setup.Position[i] = circuit.Gone
			out[i] = suspect.Part{Key: "\x00none"}
		}
	}
	return out
}

// grounded is the circuit with a ground that nobody drew under the black lead.
func grounded(d *Drawn, parts []suspect.Part, name string, setup *circuit.Setup) (*circuit.Circuit, []suspect.Part, []int) {
	c := *d.Circuit
	c.Points = append(slices.Clone(c.Points), name)
	n := len(c.Points) - 1
	c.Elements = append(slices.Clone(c.Elements), circuit.Element{
		Key: name, Kind: circuit.Ground, From: n, To: 0, Ohms: circuit.Usual(circuit.Ground, 0), Follows: -1,
	})
	c.Compile()
	setup.Position = append(slices.Clone(setup.Position), circuit.Closed)
	return &c, append(slices.Clone(parts), suspect.Part{Key: name}), []int{n}
}
