package cases

import (
	"cmp"
	"fmt"
	"math"
	"slices"

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
		setup := func() circuit.Setup {
			s := circuit.Setup{Posts: a.posts(d, con), Position: make([]circuit.Position, len(d.Elements))}
			for i, e := range d.Elements {
				s.Position[i] = position(e, con)
			}
			return s
		}
		add := func(f *foretold, red, black, at int) {
			if red == black || taken[[2]int{red, black}] || j.hazard(f.comp).unsafe(j.Case) != "" || !j.hazard(f.comp).allows(suspect.Drop) {
				return
			}
			s := setup()
			parts := a.partsAt(d, &Step{Job: len(j.jobs) + 1}, &s)
			f.Candidate = d.Candidate(s, red, black, at, f.manner, j.Table.Costs[f.manner], parts)
			f.drawn = d
			out = append(out, f)
		}
		for n, name := range d.Points {
			e, ok := j.reach(d, n)
			if !ok || n == 0 || len(out) >= maxReadings {
				continue
			}
			add(&foretold{comp: d.Elements[e].Component, red: name, black: d.Points[0], manner: suspect.Volts}, n, 0, e)
		}
		for i, e := range d.Circuit.Elements {
			if e.Kind == circuit.Wiring || e.Kind >= circuit.Load || len(out) >= maxReadings {
				continue
			}
			add(&foretold{comp: d.Elements[i].Component, red: d.Points[e.From], black: d.Points[e.To], manner: suspect.Drop}, e.From, e.To, i)
		}
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

// taken are the pairs of nodes that were read since what is there is what it is, the
// circuit asked to work and nothing changed for it.
func (j *Judged) taken(d *Drawn) map[[2]int]bool {
	out := map[[2]int]bool{}
	for _, r := range j.reads {
		c := r.Step.Says.GetReading().GetConditions()
		if len(r.Red) != 1 || len(r.Black) != 1 || len(c.GetUnplugged())+len(c.GetJumped())+len(c.GetLoaded()) > 0 ||
			r.Step.Says.GetReading().GetInstrument().GetKind() == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP {
			continue
		}
		red, black := r.Drawn.Points[r.Red[0]], 0
		if r.Black[0] < len(r.Drawn.Points) {
			black = r.Black[0]
		}
		n, ok := d.nodes[j.pointKey(red)]
		m, ok2 := d.nodes[j.pointKey(r.Drawn.Points[black])]
		if ok && ok2 && !j.changedSince(r.Step) {
			out[[2]int{n, m}] = true
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
			if len(j.place(d, p.Name)) > 0 {
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
			if len(j.place(d, p.Name)) > 0 {
				return true
			}
		}
	}
	return false
}

// fewForetold is under how many explanations a reading is foretold.
const fewForetold = 4

// adviseReading words a reading, with what it would show under each of the leading
// explanations.
func (j *Judged) adviseReading(f *foretold, aim Aim) Advice {
	part := j.meantNow(f.comp)
	a := Advice{Component: f.comp, Manner: f.manner, Aim: aim, Red: f.red, Black: f.black, NowBad: j.judgement.Probability(part)}
	how := "with everything plugged in and the circuit asked to work, as when the concern is there"
	if f.manner == suspect.Drop {
		a.Do = fmt.Sprintf("Read the drop over %s: red lead at %s, black lead at %s, %s; write the current down", f.comp.Name, f.red, f.black, how)
		a.Tools = []string{"meter", "current clamp"}
	} else {
		a.Do = fmt.Sprintf("Read volts: red lead at %s, black lead at %s, %s", f.red, f.black, how)
		a.Tools = []string{"meter"}
	}
	a.Caution = caution(f.comp, f.manner, j.hazard(f.comp))
	if j.delicate(f.drawn) {
		a.Caution = "Signal, 5 V or module pins: a meter only, no test lamp and no jumper. " + cmp.Or(a.Caution, "Follow the vehicle maker's service information.")
	}
	well := f.Foretold(nil)
	a.Expect = append(a.Expect, Foretold{If: "nothing is wrong", Low: well.Lo, High: well.Hi})
	said := map[string]bool{}
	for _, s := range j.judgement.Suspects() {
		c := j.Components[s.Part.Key]
		if len(a.Expect) > fewForetold || c == nil || s.Probability < 3*worthwhile || len(s.Modes) == 0 || j.meantNow(c) != s.Part {
			continue
		}
		v := f.Foretold(suspect.Hypothesis{{Part: s.Part, Mode: s.Modes[0]}})
		name := c.Name + " is " + s.Modes[0].String()
		key := fmt.Sprintf("%.1f %.1f", v.Lo, v.Hi)
		if math.Abs(v.Lo-well.Lo) < 0.1 && math.Abs(v.Hi-well.Hi) < 0.1 {
			continue // it would look like nothing wrong
		}
		if said[key] { // the same figures tell nothing new
			for k := range a.Expect {
				if fmt.Sprintf("%.1f %.1f", a.Expect[k].Low, a.Expect[k].High) == key && k > 0 {
					a.Expect[k].If += ", or " + name
				}
			}
			continue
		}
		said[key] = true
		a.Expect = append(a.Expect, Foretold{If: name, Low: v.Lo, High: v.Hi})
	}
	return a
}

// Foretold is what a reading shows if something holds, in volts.
type Foretold struct {
	If        string
	Low, High float64
}

// String is the figures as a technician would say them.
func (f Foretold) String() string {
	lo, hi := f.Low, f.High
	if lo < 0 && hi > 0 && lo > -0.6 {
		lo = 0
	}
	if hi < 0.1 {
		return fmt.Sprintf("next to nothing if %s", f.If)
	}
	if hi-lo < 0.15 {
		return fmt.Sprintf("%.1f V if %s", (lo+hi)/2, f.If)
	}
	return fmt.Sprintf("%.1f to %.1f V if %s", lo, hi, f.If)
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
