package cases

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// foretold is a reading that could be taken next on a circuit that is drawn.
type foretold struct {
	*circuit.Candidate
	drawn *Drawn
	// comp is what lies between the leads, of a drop; else what the red lead is at.
	comp       *Component
	red, black string
	manner     suspect.Manner
	// plug is what is unplugged for it, if anything is, lamp the post to which a test lamp
	// leads from the red lead; dead: the fuses are out. says is the entry that it makes.
	plug, lamp string
	dead       bool
	says       *eventv1.Reading
	clamped    bool // a drop over more than comp, or over a load, with what flows through comp
}

// readings are those worth taking on what is drawn: at each point that a lead can
// reach against the negative post, and across each element, with the circuit asked
// to work as it was when the concern was there.
func (j *Judged) readings() []*foretold {
	a := &asker{Case: j.Case, table: j.Table, horizon: j.everything()}
	a.howOften()
	var out []*foretold
	for _, d := range j.wired() {
		if j.forbidden(d) {
			continue
		}
		con := j.working(d)
		taken := j.taken(d)
		dead, hasFuse := d.Dead(circuit.Setup{Posts: a.posts(d, con), Position: positions(d, con)})
		setup := func() circuit.Setup {
			return circuit.Setup{Posts: a.posts(d, con), Position: positions(d, con)}
		}
		add := func(f *foretold, red, black, at int) {
			if red == black || len(out) >= maxReadings || taken[read{f.manner, red, black, ""}] || !j.mayRead(f.comp) {
				return
			}
			s := setup()
			if f.manner == suspect.Ohms {
				s = dead
			}
			parts := a.partsAt(d, &Step{Job: len(j.jobs) + 1}, &s)
			f.Candidate = d.Candidate(s, red, black, at, f.manner, j.Table.Costs[f.manner], parts)
			f.drawn = d
			out = append(out, f)
		}
		for n, name := range d.Points {
			e, ok := j.reach(d, n)
			if !ok || n == 0 {
				continue
			}
			add(&foretold{comp: d.Elements[e].Component, red: name, black: d.Points[0], manner: suspect.Volts}, n, 0, e)
		}
		for i, e := range d.Circuit.Elements {
			comp, red, black := d.Elements[i].Component, d.Points[e.From], d.Points[e.To]
			switch {
			case e.Kind == circuit.Wiring:
			case e.Kind < circuit.Load:
				add(&foretold{comp: comp, red: red, black: black, manner: suspect.Drop}, e.From, e.To, i)
			case e.Kind != circuit.Diode:
				add(&foretold{comp: comp, red: red, black: black, manner: suspect.Amps}, e.From, e.To, i)
			}
		}
		if hasFuse {
			for _, at := range d.Resistances(&dead) {
				add(&foretold{comp: d.Elements[at[2]].Component, red: d.Points[at[0]], black: d.Points[at[1]], manner: suspect.Ohms}, at[0], at[1], at[2])
			}
		}
		j.unplugged(a, d, con, taken, func(f *foretold) {
			if len(out) < maxReadings {
				out = append(out, f)
			}
		})
	}
	// Of two that tell as much, the one next to the likelier suspect.
	slices.SortStableFunc(out, func(a, b *foretold) int {
		return cmp.Compare(j.judgement.Probability(j.meantNow(b.comp)), j.judgement.Probability(j.meantNow(a.comp)))
	})
	return out
}

// maxReadings bounds how many are weighed against each other.
const maxReadings = 120

// reach finds an element at whose end the point is, one that a lead gets at.
func (j *Judged) reach(d *Drawn, n int) (int, bool) {
	best := -1
	for i, e := range d.Circuit.Elements {
		if e.From != n && e.To != n || e.Kind == circuit.Wiring {
			continue
		}
		likelier := func() bool {
			return j.judgement.Probability(j.meantNow(d.Elements[i].Component)) > j.judgement.Probability(j.meantNow(d.Elements[best].Component))
		}
		if best < 0 || d.Circuit.Elements[best].Kind == circuit.Splice || e.Kind != circuit.Splice && likelier() {
			best = i
		}
	}
	return best, best >= 0
}

// positions of the elements under the conditions.
func positions(d *Drawn, con *eventv1.Conditions) []circuit.Position {
	out := make([]circuit.Position, len(d.Elements))
	for i, e := range d.Elements {
		out[i] = position(e, con)
	}
	return out
}

// read is a reading between two nodes.
type read struct {
	manner     suspect.Manner // Volts, Drop, Amps or Ohms
	red, black int
	changed    string // what was off, and what lay between which points for a while
}

// taken are the readings since what is there is what it is, the circuit asked to work,
// by what was changed for it, but that what feeds it was out for ohms.
func (j *Judged) taken(d *Drawn) map[read]bool {
	out := map[read]bool{}
	for _, r := range j.reads {
		if j.changedSince(r.Step) {
			continue
		}
		if r.Quantity == circuit.Amps {
			for i, e := range d.Elements {
				if e.Component.Key == r.Drawn.Elements[r.Along].Component.Key {
					at := d.Circuit.Elements[i]
					out[read{suspect.Amps, at.From, at.To, ""}] = true
				}
			}
			continue
		}
		says := r.Step.Says.GetReading()
		c := says.GetConditions()
		if len(r.Red) != 1 || len(r.Black) != 1 || len(c.GetJumped()) > 0 {
			continue
		}
		changed := ""
		lamp := says.GetInstrument().GetKind() == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP
		if len(c.GetUnplugged())+len(c.GetLoaded()) > 0 || lamp {
			s := j.gathered.state(r.Drawn, r.Step, says, &Read{})
			if lamp && r.Black[0] < len(r.Drawn.Points) { // as good as a meter beside it
				s.Bridges = append(s.Bridges, circuit.Bridge{A: r.Red[0], B: r.Black[0]})
			}
			changed = r.Drawn.changed(s)
		}
		if r.Quantity != circuit.Ohms {
			changed += r.Drawn.asked(says)
		}
		red, black := r.Drawn.Points[r.Red[0]], 0
		if r.Black[0] < len(r.Drawn.Points) {
			black = r.Black[0]
		}
		n, ok := d.nodes[j.pointKey(red)]
		m, ok2 := d.nodes[j.pointKey(r.Drawn.Points[black])]
		switch {
		case !ok || !ok2:
		case r.Quantity == circuit.Ohms:
			out[read{suspect.Ohms, n, m, changed}], out[read{suspect.Ohms, m, n, changed}] = true, true
		case lamp && n <= 1: // from a post to the point
			out[read{suspect.Volts, m, 0, changed}] = true
		default:
			out[read{suspect.Volts, n, m, changed}], out[read{suspect.Drop, n, m, changed}] = true, true
		}
	}
	return out
}

// changedSince reports whether a part was fitted, mended or taken out after the step.
func (j *Judged) changedSince(s *Step) bool {
	return slices.ContainsFunc(j.jobs[s.Job:], func(later *Step) bool {
		e := later.Says
		return e.GetPartFitted() != nil || e.GetRepair() != nil || e.GetPartRemoved() != nil || e.GetPartPutBack() != nil
	})
}

// working are the conditions under which the circuit should work: those in which it
// was last read while it did not, else with the key on and everything asked for.
func (j *Judged) working(d *Drawn) *eventv1.Conditions {
	out := &eventv1.Conditions{Key: eventv1.KeyPosition_KEY_POSITION_ON, Commanded: eventv1.Command_COMMAND_ON}
	for _, r := range j.reads {
		if r.Drawn.Points[len(r.Drawn.Points)-1] != d.Points[len(d.Points)-1] {
			continue
		}
		c := r.Step.Says.GetReading().GetConditions()
		if c.GetCommanded() == eventv1.Command_COMMAND_ON && c.GetKey() != eventv1.KeyPosition_KEY_POSITION_UNSPECIFIED {
			out.Key = c.GetKey()
		}
	}
	return out
}

// forbidden reports whether a circuit carries what no lead is put to: airbags, high
// voltage.
func (j *Judged) forbidden(d *Drawn) bool {
	for _, p := range j.Points {
		if n := p.Seen.GetNet(); n == eventv1.NetKind_NET_KIND_AIRBAG || n == eventv1.NetKind_NET_KIND_HIGH_VOLTAGE {
			if len(j.Place(d, p.Name)) > 0 {
				return true
			}
		}
	}
	return false
}

// delicate reports whether something on the circuit must not be loaded by a lamp.
func (j *Judged) delicate(d *Drawn) bool {
	if d.own > 0 {
		return true
	}
	for _, p := range j.Points {
		switch p.Seen.GetNet() {
		case eventv1.NetKind_NET_KIND_SIGNAL, eventv1.NetKind_NET_KIND_REFERENCE_5V, eventv1.NetKind_NET_KIND_BUS, eventv1.NetKind_NET_KIND_AIRBAG:
			if len(j.Place(d, p.Name)) > 0 {
				return true
			}
		}
	}
	return false
}

// fewForetold is under how many explanations a reading is foretold, fewAlike how many
// that foretell the same are named.
const (
	fewForetold = 4
	fewAlike    = 3
)

// badWords is how a component is bad, behind its name.
func badWords(m suspect.Mode) string {
	switch m {
	case suspect.HighResistance:
		return "has a high resistance"
	case suspect.ShortToGround:
		return "is shorted to ground"
	case suspect.ShortToPower:
		return "is shorted to a feed"
	case suspect.DrawsTooMuch:
		return "draws too much"
	case suspect.OutputDead:
		return "has a dead output"
	case suspect.WrongPart:
		return "is the wrong part"
	}
	return "is " + m.String()
}

// asItWorks is how most readings are taken.
const asItWorks = "with everything plugged in and the circuit asked to work, as when the concern is there"

// adviseReading words a reading, with what it would show under each of the leading
// explanations.
func (j *Judged) adviseReading(f *foretold, aim Aim) Advice {
	part := j.meantNow(f.comp)
	a := Advice{Component: f.comp, Manner: f.manner, Aim: aim, Red: f.red, Black: f.black, NowBad: j.judgement.Probability(part)}
	unit := "V"
	switch f.manner {
	case suspect.Amps:
		unit = "A"
		a.Do = fmt.Sprintf("Read the current through %s with a clamp, %s", f.comp.Name, asItWorks)
		a.Red, a.Black, a.Tools = "", "", []string{"current clamp"}
	case suspect.Ohms:
		unit = "Ω"
		a.Do = fmt.Sprintf("Take out %s and make sure that nothing is live; then read ohms: red lead at %s, black lead at %s, the rest plugged in and the switches as when the concern is there", j.fuseWords(f.drawn), f.red, f.black)
		a.Tools = []string{"meter"}
	case suspect.Drop:
		if f.clamped {
			a.Do = fmt.Sprintf("Read the drop with the current: red lead at %s, black lead at %s, and with a clamp what flows through %s, %s", f.red, f.black, f.comp.Name, asItWorks)
			a.Tools, a.Records = []string{"meter", "current clamp"}, f.says
			break
		}
		a.Do = fmt.Sprintf("Read the drop over %s: red lead at %s, black lead at %s, %s", f.comp.Name, f.red, f.black, asItWorks)
		a.Tools = []string{"meter", "current clamp"}
	case suspect.Unplugged, suspect.TestLamp, suspect.OhmsUnplugged:
		unit = j.wordUnplugged(&a, f)
		a.Records = f.says
	default:
		a.Do = fmt.Sprintf("Read volts: red lead at %s, black lead at %s, %s", f.red, f.black, j.askedWords(f))
		a.Tools, a.Records = []string{"meter"}, f.says
	}
	a.Caution = caution(f.comp, f.manner, j.hazard(f.comp))
	if j.delicate(f.drawn) {
		a.Caution = "Signal, 5 V or module pins: a meter only, no test lamp and no jumper. " + cmp.Or(a.Caution, "Follow the vehicle maker's service information.")
	}
	well := f.Foretold(nil)
	a.Expect = append(a.Expect, Foretold{If: "nothing is wrong", Low: well.Lo, High: well.Hi, Unit: unit})
	said := map[string]bool{}
	for _, s := range j.judgement.Suspects() {
		c := j.Components[s.Part.Key]
		if len(a.Expect) > fewForetold || c == nil || s.Probability < 3*worthwhile || len(s.Modes) == 0 || j.meantNow(c) != s.Part {
			continue
		}
		v := f.Foretold(suspect.Hypothesis{{Part: s.Part, Mode: s.Modes[0]}})
		name := c.Name + " " + badWords(s.Modes[0])
		if _, ok := s.Modes[0].Neighbour(); ok {
			name = c.Name + " is " + j.modeWords(c, s.Modes[0])
		}
		key := fmt.Sprintf("%.1f %.1f", v.Lo, v.Hi)
		if math.Abs(v.Lo-well.Lo) < 0.1 && math.Abs(v.Hi-well.Hi) < 0.1 || v == well {
			continue // it would look like nothing wrong
		}
		if said[key] { // the same figures tell nothing new
			for k := range a.Expect {
				if x := &a.Expect[k]; k > 0 && fmt.Sprintf("%.1f %.1f", x.Low, x.High) == key {
					if x.others++; x.others < fewAlike {
						x.If += ", or " + name
					}
				}
			}
			continue
		}
		said[key] = true
		a.Expect = append(a.Expect, Foretold{If: name, Low: v.Lo, High: v.Hi, Unit: unit})
	}
	return a
}

// fuseWords are the fuses and breakers of a circuit, as one says them.
func (j *Judged) fuseWords(d *Drawn) string {
	names := j.fuses(d)
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return names[0]
}

// fuses are the names of the fuses and breakers of a circuit.
func (j *Judged) fuses(d *Drawn) (names []string) {
	for i, e := range d.Circuit.Elements {
		if name := d.Elements[i].Component.Name; (e.Kind == circuit.Fuse || e.Kind == circuit.Breaker) && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// Foretold is what a reading shows if something holds, in V, A or Ω.
type Foretold struct {
	If        string
	Low, High float64
	Unit      string
	others    int // how many explanations more would show the same
}

// String is the figures as a technician would say them.
func (f Foretold) String() string {
	lo, hi := f.Low, f.High
	if n := f.others - fewAlike + 1; n > 0 {
		f.If += fmt.Sprintf(", or %d more of the kind", n)
	}
	if f.Unit == "Ω" {
		return SpanWords(circuit.Span{Lo: lo, Hi: hi}, f.Unit) + " if " + f.If
	}
	if lo < 0 && hi > 0 && lo > -0.6 {
		lo = 0
	}
	if hi < 0.1 {
		return fmt.Sprintf("next to nothing if %s", f.If)
	}
	if hi-lo < 0.15 {
		return fmt.Sprintf("%.1f %s if %s", (lo+hi)/2, f.Unit, f.If)
	}
	return fmt.Sprintf("%.1f to %.1f %s if %s", lo, hi, f.Unit, f.If)
}

// wired are the circuits as they stand, made once.
func (j *Judged) wired() []*Drawn {
	if j.circuits == nil {
		j.circuits = j.Circuits()
		if j.circuits == nil {
			j.circuits = []*Drawn{}
		}
	}
	return j.circuits
}

// drawnManner reports whether the test is one that readings on a drawn component
// take the place of.
func drawnManner(m suspect.Manner) bool {
	return m == suspect.Function || m == suspect.Drop || m == suspect.Continuity
}

// isDrawn reports whether the component is an element of a circuit.
func isDrawn(all []*Drawn, c *Component) bool {
	return slices.ContainsFunc(all, func(d *Drawn) bool {
		return slices.ContainsFunc(d.Elements, func(e DrawnElement) bool { return e.Component == c })
	})
}
