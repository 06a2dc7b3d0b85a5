package proving

import (
	"errors"
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
	// plug is the number of the plug that is off, -1: none; apart how it is read then.
	plug  int
	apart circuit.Apart
	// turned: with the circuit asked the other way round than when the concern is there; dead:
	// with the fuses out.
	// jumper is the element that one lies over, -1: none; clamped: the current is read with it.
	turned, dead, clamped bool
	jumper                int
}

func (r *reading) name() string { return r.At }

func (r *reading) same() string {
	if r.plug >= 0 {
		return fmt.Sprint(r.Manner, " ", r.red, " ", r.black, " ", r.plug, " off")
	}
	how := ""
	if r.turned {
		how += " turned"
	}
	if r.dead {
		how += " dead"
	}
	if r.clamped {
		how += " clamped"
	}
	if r.jumper >= 0 {
		how += fmt.Sprint(" jumper ", r.jumper)
	}
	if r.Manner == suspect.Amps || r.Manner == suspect.Ohms {
		return fmt.Sprint(r.Manner, " ", r.red, " ", r.black, how)
	}
	return fmt.Sprint("read ", r.red, " ", r.black, how)
}

// readings are those that a case asks for on what is drawn: volts at each point that
// a lead can reach, to the negative post, the drop over each element that is neither a
// wire nor a load, the current through each load, and with the fuses out ohms over each
// load and from behind each fuse to the negative post; and those with a plug off.
func (p *player) readings() {
	parts := p.parts()
	add := func(red, black, at int, m suspect.Manner) {
		p.offer(&reading{red: red, black: black, over: -1, plug: -1, jumper: -1}, m, at)
	}
	p.points(func(n, at int) { add(n, minus, at, suspect.Volts) })
	p.elements(add)
	if dead, ok := p.Dead(p.setup(p.asked)); ok {
		for _, r := range p.Resistances(&dead) {
			add(r[0], r[1], r[2], suspect.Ohms)
		}
	}
	lamp := func(n int) bool { return !p.Outputs(n) }
	for n, plug := range p.plugs {
		off := p.Off(p.setup(p.asked), plug)
		for _, a := range p.PlugOff(&off, plug, lamp) {
			c := p.Candidate(p.With(p.setup(p.asked), plug, a), a.Red, a.Black, plug[0], a.Manner, p.table.Costs[a.Manner], parts)
			p.options = append(p.options, &reading{Candidate: c, at: len(p.options), red: a.Red, black: a.Black, over: -1, plug: n, apart: a, jumper: -1})
		}
	}
}

// offer makes an option of the reading.
func (p *player) offer(r *reading, m suspect.Manner, at int) {
	if r.red == r.black {
		return
	}
	if m == suspect.Drop || m == suspect.Amps {
		r.over = at
	}
	r.Candidate = &circuit.Candidate{Manner: m}
	if r.clamped {
		r.Candidate = p.CandidateClamped(r.state(p), circuit.Clamped{Red: r.red, Black: r.black, At: at}, p.table.Costs[m], p.parts())
	} else {
		r.Candidate = p.Candidate(r.state(p), r.red, r.black, at, m, p.table.Costs[m], p.parts())
	}
	if p.settings.OneCost {
		r.Minutes = p.table.Costs[m].Minutes // in the loom too
	}
	r.at = len(p.options)
	p.options = append(p.options, r)
}

// points calls f with each point that a lead can reach, and the element that it is at.
func (p *player) points(f func(n, at int)) {
	for n := 1; n < len(p.Points); n++ {
		best := -1
		for k, e := range p.Elements {
			if (e.From == n || e.To == n) && e.Kind != circuit.Wiring && (best < 0 || p.Elements[best].Kind == circuit.Splice) {
				best = k
			}
		}
		if best >= 0 {
			f(n, best)
		}
	}
}

// elements calls f with the drop over each element that is neither a wire nor a load, and
// the current through each load.
func (p *player) elements(f func(red, black, at int, m suspect.Manner)) {
	for k, e := range p.Elements {
		switch {
		case e.Kind == circuit.Wiring || e.Kind == circuit.Diode:
		case e.Kind < circuit.Load:
			f(e.From, e.To, k, suspect.Drop)
		default:
			f(e.From, e.To, k, suspect.Amps)
		}
	}
}

// clearings are the readings that are taken once something is found, to prove the rest
// good: what the feed side drops from the positive post to each point, with a jumper over
// what was found where one can be, and volts with the circuit asked the other way round.
func (p *player) clearings() {
	jumper := -1
	likeliest := p.judge.Suspects()[0].Part.Key
	for k := range p.Elements {
		e := &p.Elements[k]
		moved := e.Follows >= 0 && p.Elements[e.Follows].Key == likeliest // a relay is bridged at its contact
		if (e.Key == likeliest && e.Kind < circuit.Load || moved) && e.From != e.To {
			jumper = k
		}
	}
	add := func(red, black, at int, m suspect.Manner, turned bool, jumper int) {
		p.offer(&reading{red: red, black: black, over: -1, plug: -1, turned: turned, jumper: jumper}, m, at)
	}
	_, fused := p.Dead(p.setup(true))
	p.points(func(n, at int) {
		add(n, minus, at, suspect.Volts, true, -1)
		if fused {
			p.offer(&reading{red: n, black: minus, over: -1, plug: -1, dead: true, turned: !p.asked, jumper: -1}, suspect.Volts, at)
		}
		add(plus, n, at, suspect.Volts, !p.asked, jumper)
		if jumper >= 0 {
			add(n, minus, at, suspect.Volts, !p.asked, jumper)
		}
	})
	on := p.setup(true)
	if jumper >= 0 {
		e := &p.Elements[jumper]
		on.Bridges = append(on.Bridges, circuit.Bridge{A: e.From, B: e.To, Ohms: circuit.Span{Lo: 0, Hi: 2 * jumperMost}})
	}
	for _, r := range p.Clamps(&on) {
		p.offer(&reading{red: r.Red, black: r.Black, over: -1, plug: -1, turned: !p.asked, jumper: jumper, clamped: true}, suspect.Drop, r.At)
	}
	if jumper >= 0 || !p.asked {
		p.elements(func(red, black, at int, m suspect.Manner) { add(red, black, at, m, !p.asked, jumper) })
	}
	p.times = append(p.times, make([]int, len(p.options)-len(p.times))...)
	p.tells = append(p.tells, make([]bool, len(p.options)-len(p.tells))...)
}

// pulled are what comes off in one go: each contact, and each load that none is at.
func (w *drawing) pulled() (out [][]int) {
	at := map[int]bool{}
	for k, e := range w.Elements {
		if e.Kind == circuit.Contact {
			out = append(out, []int{k})
			at[e.From], at[e.To] = true, true
		}
	}
	for _, k := range w.loads {
		if e := w.Elements[k]; !at[e.From] && !at[e.To] {
			out = append(out, []int{k})
		}
	}
	return out
}

// near are the plugs that readings are offered at: next to what the judgement thinks
// likeliest, as a case does it. The baselines unplug nothing, and stay as they are.
func (p *player) near() []int {
	if p.strategy != Own {
		return nil
	}
	return p.Near(p.plugs, func(k int) float64 { return p.judge.Probability(suspect.Part{Key: p.Elements[k].Key}) })
}

// state is how the circuit stands as the judgement is told when the reading is taken.
func (r *reading) state(p *player) circuit.Setup {
	setup := p.setup(p.asked != r.turned)
	switch {
	case r.plug >= 0:
		return p.With(setup, p.plugs[r.plug], r.apart)
	case r.Manner == suspect.Ohms || r.dead:
		setup, _ = p.Dead(setup)
	}
	if r.jumper >= 0 {
		e := &p.Elements[r.jumper]
		setup.Bridges = append(setup.Bridges, circuit.Bridge{A: e.From, B: e.To, Ohms: circuit.Span{Lo: 0, Hi: 2 * jumperMost}})
	}
	return setup
}

// ohms reports whether it is read in ohms.
func (r *reading) ohms() bool { return r.Manner == suspect.Ohms || r.Manner == suspect.OhmsUnplugged }

// setup is the state of the circuit as the judgement is told.
func (p *player) setup(asked bool) circuit.Setup {
	s := circuit.Setup{Posts: p.posts, Position: make([]circuit.Position, len(p.Elements))}
	for k := range p.Elements {
		if (p.control[k] || p.Elements[k].Follows >= 0) && !asked {
			s.Position[k] = circuit.Open
		}
	}
	return s
}

func (r *reading) do(p *player, step, n int) ([]suspect.Evidence, error) {
	t, err := p.read(r, n)
	if err != nil && (r.ohms() || errors.Is(err, errUnsettled)) {
		// What floats at gigohms may not settle to the last digit, and a relay may chatter: no
		// figure, no evidence.
		p.tells[r.at] = false
		p.rec.Steps = append(p.rec.Steps, fmt.Sprintf("%s to %s: no figure", p.Points[r.red], p.Points[r.black]))
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
	case r.ohms(): // it was live, and stayed a reading in volts
		v.Setup = "live " + v.Setup
	}
	p.rec.Steps = append(p.rec.Steps, fmt.Sprintf("%s to %s: %.2f %s%s", p.Points[r.red], p.Points[r.black], shows, unit, remark(t)))
	var out []suspect.Evidence
	if (p.settings.Clamp || r.clamped) && r.Manner == suspect.Drop {
		amps := math.Abs(t.amps)
		v.Through = circuit.Flows(amps)
		if k, ok := p.Only(r.state(p), v.Red, v.Black); ok {
			flows := v
			flows.Quantity, flows.Along, flows.Lead, flows.Through = circuit.Amps, k, circuit.Span{}, circuit.Span{}
			flows.Shown, flows.Sigma = circuit.Exactly(amps), 0.05+0.04*amps
			o := p.Observe(r.state(p), flows, p.parts())
			p.outside(step, r, t, "A", math.Abs(t.realAmps), o)
			out = append(out, o)
		}
	}
	o := p.Observe(r.state(p), v, p.parts())
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
