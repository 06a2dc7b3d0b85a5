package proving

import (
	"fmt"
	"math"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
)

// meter is the instrument that all readings of a case are taken with, and the hand
// that holds it.
type meter struct {
	seed  uint64
	gain  float64 // what it shows too much, as a share
	clamp float64 // the same of the clamp
	lamp  float64 // ohms of the test lamp, fully lit
	gross float64 // the share of readings that are grossly wrong
}

// What a meter of the trade is off by: common practice.
const (
	gainMost    = 0.005 // of what is read
	noise       = 0.005 // volts, one standard deviation
	noiseMost   = 0.015
	blackOff    = 0.015 // volts, of the black lead's contact
	blackMost   = 0.035
	digit       = 0.01 // volts, amperes
	clampMost   = 0.02 // of the current
	clampOff    = 0.02 // amperes
	postsWander = 0.02 // volts, from reading to reading
	// What a jumper has with its clips.
	jumperLeast, jumperMost = 0.01, 0.05 // ohms
	// What a filament test lamp has, fully lit, by 12 V.
	lampLeast, lampMost = 20, 65 // ohms
)

// equip draws the meter, and what the judgement is told of the supply.
func (c *scenario) equip(s *Settings, d dice) {
	c.meter = meter{seed: s.Seed, gain: d.in(-gainMost, gainMost), clamp: d.in(-clampMost, clampMost), gross: s.Gross}
	k := c.System / 12
	c.meter.lamp = throw(s.Seed, c.number, "lamp").in(lampLeast, lampMost) * k * k
	c.posts = circuit.Span{Lo: 11.8 * k, Hi: 12.9 * k}
	if d.yes(0.5) { // somebody wrote down what it was
		v := math.Round(c.truth.posts*(1+c.meter.gain)/digit) * digit
		c.posts = circuit.Span{Lo: v - 0.1*k, Hi: v + 0.1*k}
	}
}

// taken is a reading as it was taken.
type taken struct {
	shown    float64
	real     float64 // what was truly there, with the instrument on
	amps     float64 // that a clamp showed, of a drop
	realAmps float64
	dead     bool   // ohms were read, infinite where the meter shows no figure
	present  bool   // the concern, at the time
	gross    string // what went wrong; empty: nothing did
}

const (
	// liveFrom is the voltage from which ohms are not read. Common practice.
	liveFrom = 0.05
	// What an ohmmeter sends, in volts and through how many ohms (assumed), what its leads
	// have, and what it shows at most.
	ohmVolts, ohmOhms = 0.2, 500
	leadsLeast        = 0.1
	leadsMost         = 0.3
	ohmsMost          = 2e7
)

// probed takes a reading in ohms.
func (c *scenario) probed(s *state, red, black int, d dice, out taken) (taken, error) {
	s.probe = &probe{red, black}
	e, err := c.rest(s, red, black, 0)
	if err != nil {
		return out, err
	}
	v := e.volts[red] - e.volts[black]
	out.dead, out.real = true, math.Inf(1)
	if amps := (ohmVolts - v) / ohmOhms; amps > ohmVolts/ohmsMost/10 {
		out.real = v / amps
	}
	out.shown = math.Inf(1)
	if shown := out.real*(1+c.meter.gain) + d.in(leadsLeast, leadsMost); shown < ohmsMost {
		out.shown = math.Round(shown*10) / 10
	}
	return out, nil
}

// read takes a reading for the n-th time, over an element where it is a drop or a
// current; ohms with the fuses out, and volts where it turns out that it is live. What is
// unplugged leaves a fuse blown that blew with everything plugged in.
func (c *scenario) read(r *reading, n int) (taken, error) {
	red, black, over := r.red, r.black, r.over
	purpose := fmt.Sprint("reading ", red, " ", black, " ", n)
	if r.Manner == suspect.Ohms {
		purpose = "ohms " + purpose
	}
	if r.plug >= 0 {
		purpose = fmt.Sprint(r.Manner, " ", purpose, " ", r.plug, " off")
	}
	if r.turned || r.dead || r.jumper >= 0 {
		purpose = fmt.Sprint(purpose, " turned ", r.turned, " dead ", r.dead, " jumper ", r.jumper)
	}
	d := throw(c.meter.seed, c.number, purpose)
	out := taken{present: d.yes(c.present)}
	s := &state{asked: c.asked != r.turned, out: r.Manner == suspect.Ohms || r.apart.Dead || r.dead, posts: c.truth.posts + d.within(postsWander/2, postsWander)*c.System/12}
	if out.present {
		s.damages = c.damages
	}
	if r.plug >= 0 {
		s.off = c.plugs[r.plug]
	}
	if (r.plug >= 0 || r.turned) && out.present {
		s.blown = c.blown
	}
	if r.jumper >= 0 {
		e := &c.Elements[r.jumper]
		s.jumper = &lamp{e.From, e.To, throw(c.meter.seed, c.number, "jumper").decades(jumperLeast, jumperMost)}
	}
	if r.Manner == suspect.TestLamp {
		s.lamp = &lamp{red, r.apart.Lamp, c.meter.lamp}
	}
	slip, which, where, wrong := d.yes(c.meter.gross), d.IntN(6), d.IntN(len(c.Points)), 1+d.IntN(9)
	if slip && which < 3 && where != red && where != black {
		out.gross, red = "wrong point", where
		slip = false
	}
	e, err := c.rest(s, red, black, circuit.MeterOhms)
	if err != nil {
		return out, err
	}
	out.real = e.volts[red] - e.volts[black]
	if r.ohms() && math.Abs(out.real) < liveFrom {
		return c.probed(s, red, black, d, out)
	}
	v := out.real*(1+c.meter.gain) + d.within(noise, noiseMost)
	v += throw(c.meter.seed, c.number, fmt.Sprint("black ", black)).within(blackOff, blackMost)
	out.shown = math.Round(v/digit) * digit
	if over >= 0 {
		out.realAmps = e.amps[over]
		out.amps = math.Round((out.realAmps*(1+c.meter.clamp)+d.in(-clampOff, clampOff))/digit) * digit
	}
	if !slip {
		return out, nil
	}
	switch which {
	case 3:
		out.gross, out.shown = "sign", -out.shown
	case 4:
		out.gross, out.shown = "factor", out.shown*10
		if wrong > 4 {
			out.shown = math.Round(out.shown/100/digit) * digit
		}
	default: // one digit of those that are shown
		place := math.Pow(10, float64(wrong%3)-1)
		out.gross, out.shown = "digit", out.shown+math.Copysign(place*float64(wrong), out.shown)
	}
	return out, nil
}
