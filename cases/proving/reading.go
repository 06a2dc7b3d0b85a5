package proving

import (
	"fmt"
	"math"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// reading is a reading that the player can take.
type reading struct {
	*circuit.Candidate
	at         int // its place among the options
	red, black int
	over       int // the element that lies between, of a drop, or that is in the clamp; else -1
}

func (r *reading) name() string { return r.At }

func (r *reading) same() string {
	if r.Manner == suspect.Amps || r.Manner == suspect.Ohms {
		return fmt.Sprint(r.Manner, " ", r.red, " ", r.black)
	}
	return fmt.Sprint("read ", r.red, " ", r.black)
}

// readings are those that a case asks for on what is drawn: volts at each point that
// a lead can reach, to the negative post, the drop over each element that is neither a
// wire nor a load, the current through each load, and with the fuses out ohms over each
// load and from behind each fuse to the negative post.
func (p *player) readings() {
	parts := p.parts()
	add := func(red, black, at int, m suspect.Manner) {
		if red == black {
			return
		}
		setup := p.setup()
		if m == suspect.Ohms {
			setup, _ = p.Dead(setup)
		}
		c := p.Candidate(setup, red, black, at, m, p.table.Costs[m], parts)
		over := -1
		if m == suspect.Drop || m == suspect.Amps {
			over = at
		}
		p.options = append(p.options, &reading{c, len(p.options), red, black, over})
	}
	for n := 1; n < len(p.Points); n++ {
		best := -1
		for k, e := range p.Elements {
			if (e.From == n || e.To == n) && e.Kind != circuit.Wiring && (best < 0 || p.Elements[best].Kind == circuit.Splice) {
				best = k
			}
		}
		if best >= 0 {
			add(n, minus, best, suspect.Volts)
		}
	}
	for k, e := range p.Elements {
		switch {
		case e.Kind == circuit.Wiring || e.Kind == circuit.Diode:
		case e.Kind < circuit.Load:
			add(e.From, e.To, k, suspect.Drop)
		default:
			add(e.From, e.To, k, suspect.Amps)
		}
	}
	if dead, ok := p.Dead(p.setup()); ok {
		for _, r := range p.Resistances(&dead) {
			add(r[0], r[1], r[2], suspect.Ohms)
		}
	}
}

// setup is the state of the circuit as the judgement is told.
func (p *player) setup() circuit.Setup {
	s := circuit.Setup{Posts: p.posts, Position: make([]circuit.Position, len(p.Elements))}
	for k := range p.Elements {
		if (p.control[k] || p.Elements[k].Follows >= 0) && !p.asked {
			s.Position[k] = circuit.Open
		}
	}
	return s
}

func (r *reading) do(p *player, step, n int) ([]suspect.Evidence, error) {
	t, err := p.read(r.red, r.black, r.over, r.Manner == suspect.Ohms, n)
	if err != nil && r.Manner == suspect.Ohms {
		// What floats at gigohms may not settle to the last digit: no figure, no evidence.
		p.tells[r.at] = false
		p.rec.Steps = append(p.rec.Steps, fmt.Sprintf("%s to %s: no figure in ohm", p.Points[r.red], p.Points[r.black]))
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading from %s to %s: %w", p.Points[r.red], p.Points[r.black], err)
	}
	v := circuit.Reading{
		ID: fmt.Sprint("step ", step), Setup: r.same(),
		Red: []int{r.red}, Black: []int{r.black}, Shown: circuit.Exactly(t.shown), Sigma: 0.03 + 0.005*math.Abs(t.shown),
		Lead: circuit.Exactly(circuit.MeterOhms), Duty: circuit.Exactly(1),
	}
	p.tells[r.at] = false
	p.rec.Readings++
	if !t.present {
		v.Absent = p.table.WeakPass
		p.rec.Absent++
		p.tells[r.at] = n < 3
	}
	if t.gross != "" {
		p.rec.Gross++
	}
	unit, shows, is := "V", t.shown, t.real
	switch {
	case r.Manner == suspect.Amps:
		unit, shows, is = "A", math.Abs(t.amps), math.Abs(t.realAmps)
		v.Quantity, v.Along, v.Lead = circuit.Amps, r.over, circuit.Span{}
		v.Shown, v.Sigma = circuit.Exactly(shows), 0.05+0.03*shows
	case t.dead:
		unit = "ohm"
		v.Quantity, v.Sigma, v.Lead = circuit.Ohms, 0.05, circuit.Span{}
		if math.IsInf(t.shown, 1) {
			v.Shown = circuit.Span{Lo: 1e6, Hi: 1e12}
		}
	case r.Manner == suspect.Ohms: // it was live, and stayed a reading in volts
		v.Setup = "live " + v.Setup
	}
	p.rec.Steps = append(p.rec.Steps, fmt.Sprintf("%s to %s: %.2f %s%s", p.Points[r.red], p.Points[r.black], shows, unit, remark(t)))
	var out []suspect.Evidence
	if p.settings.Clamp && r.Manner == suspect.Drop {
		amps := math.Abs(t.amps)
		off := 0.03 + 0.04*amps
		v.Through = circuit.Span{Lo: max(amps-off, 0), Hi: amps + off}
		if k, ok := p.Only(p.setup(), v.Red, v.Black); ok {
			flows := v
			flows.Quantity, flows.Along, flows.Lead, flows.Through = circuit.Amps, k, circuit.Span{}, circuit.Span{}
			flows.Shown, flows.Sigma = circuit.Exactly(amps), 0.05+0.04*amps
			o := p.Observe(p.setup(), flows, p.parts())
			p.outside(step, r, t, "A", math.Abs(t.realAmps), o)
			out = append(out, o)
		}
	}
	setup := p.setup()
	if r.Manner == suspect.Ohms {
		setup, _ = p.Dead(setup)
	}
	o := p.Observe(setup, v, p.parts())
	p.outside(step, r, t, unit, is, o)
	return append(out, o), nil
}

// outside writes down what was truly there where it lies outside what the judgement
// says can be under what is truly wrong.
func (p *player) outside(step int, r *reading, t taken, unit string, is float64, o *circuit.Observation) {
	if p.stray != nil || p.settings.Wider != 1 || t.gross == "wrong point" {
		return
	}
	var h suspect.Hypothesis
	if t.present {
		for _, d := range p.damages {
			h = append(h, suspect.Fault{Part: suspect.Part{Key: p.Elements[d.element].Key}, Mode: d.mode})
		}
	}
	// A clamp tells how much flowed and not which way, and the way that goes with what was
	// shown counts: asked for is what may be where the truth was shown.
	shown := o.Shown
	if o.Quantity != circuit.Ohms {
		o.Shown = circuit.Exactly(is)
	}
	s := o.Expect(h)
	o.Shown = shown
	if is < s.Lo-slack-1e-6*math.Abs(is) || is > s.Hi+slack+1e-6*math.Abs(is) {
		p.rec.Outside = append(p.rec.Outside, fmt.Sprintf("step %d: %s to %s: %.5g %s, %.5g to %.5g", step, p.Points[r.red], p.Points[r.black], is, unit, s.Lo, s.Hi))
	}
}

// slack is what solvers may differ by, in volts.
const slack = 1e-5

func remark(t taken) string {
	out := ""
	if t.gross != "" {
		out = ", gross: " + t.gross
	}
	if !t.present {
		out += ", absent"
	}
	return out
}
