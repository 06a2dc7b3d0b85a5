package cases

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// maxClearing is how many readings are advised that show what else is good.
const maxClearing = 3

// toClear lists the readings that prove most of the rest good, once something is nearly
// certain: what does nothing while the fault is there is not proven by having found it.
func (j *Judged) toClear(readings []*foretold) []Advice {
	if !slices.ContainsFunc(j.byProbability(), func(c *Component) bool { return j.judgement.Probability(j.meantNow(c)) >= nearlyFound }) {
		return nil
	}
	var all []suspect.Candidate
	for _, f := range append(slices.Clip(readings), j.clearings()...) {
		all = append(all, f)
	}
	var out []Advice
	for _, r := range j.judgement.Clearing(all, j.setup(), maxClearing) {
		a := j.adviseReading(r.Candidate.(*foretold), ToClear)
		a.Minutes = r.Cost
		out = append(out, a)
	}
	return out
}

// clearings are readings that find little and prove much: what is dropped from the
// positive post to each point, volts where there should be none, with the circuit
// switched off or its fuses out, and drops with their current over feeds, returns and loads.
func (j *Judged) clearings() []*foretold {
	a := &asker{Case: j.Case, table: j.Table, horizon: j.everything()}
	a.howOften()
	var out []*foretold
	for _, d := range j.wired() {
		if j.forbidden(d) {
			continue
		}
		taken := j.taken(d)
		add := func(red, black, at int, says *eventv1.Reading, m suspect.Manner) {
			f := &foretold{comp: d.Elements[at].Component, drawn: d, red: d.Points[red], black: d.Points[black], manner: suspect.Volts, says: says}
			if red == black || len(out) >= maxReadings || taken[read{suspect.Volts, red, black, d.asked(says)}] || !j.mayRead(f.comp) {
				return
			}
			says.Red, says.Black = f.red, f.black
			setup, parts := j.asRecorded(a, d, says)
			f.Candidate = d.Candidate(setup, red, black, at, suspect.Volts, j.Table.Costs[m], parts)
			out = append(out, f)
		}
		on := j.working(d)
		setup, parts := j.asRecorded(a, d, &eventv1.Reading{Conditions: proto.CloneOf(on)})
		for _, r := range d.Clamps(&setup) {
			comp := d.Elements[r.At].Component
			if len(out) < maxReadings && !taken[read{suspect.Drop, r.Red, r.Black, ""}] && j.leadsMayBe(d, r.Red) && j.leadsMayBe(d, r.Black) && j.mayRead(comp) {
				c := d.CandidateClamped(setup, r, j.Table.Costs[suspect.Drop], parts)
				out = append(out, &foretold{Candidate: c, comp: comp, drawn: d, red: d.Points[r.Red], black: d.Points[r.Black], manner: suspect.Drop, clamped: true,
					says: &eventv1.Reading{Red: d.Points[r.Red], Black: d.Points[r.Black], Conditions: proto.CloneOf(on)}})
			}
		}
		off := proto.CloneOf(on)
		off.Commanded = eventv1.Command_COMMAND_OFF
		fuses := j.fuses(d)
		for n := range d.Points {
			at, ok := j.reach(d, n)
			if !ok || n <= 1 {
				continue
			}
			add(1, n, at, &eventv1.Reading{Conditions: proto.CloneOf(on)}, suspect.Volts)
			add(n, 0, at, &eventv1.Reading{Conditions: proto.CloneOf(off)}, suspect.Volts)
			if len(fuses) > 0 {
				dead := proto.CloneOf(on)
				dead.Unplugged = fuses
				add(n, 0, at, &eventv1.Reading{Conditions: dead}, suspect.Ohms) // it costs what ohms do
			}
		}
	}
	return out
}

// mayRead reports whether a meter may be put to the component.
func (j *Judged) mayRead(c *Component) bool {
	h := j.hazard(c)
	return h.unsafe(j.Case) == "" && h.allows(suspect.Drop)
}

// leadsMayBe reports whether a lead gets at the point, and may.
func (j *Judged) leadsMayBe(d *Drawn, n int) bool {
	if n <= 1 {
		return true // a post
	}
	at, ok := j.reach(d, n)
	return ok && j.mayRead(d.Elements[at].Component)
}

// asked says how the circuit was asked to work otherwise than it should for a reading
// in volts; empty where it was not.
func (d *Drawn) asked(r *eventv1.Reading) string {
	var out []string
	if r.GetConditions().GetCommanded() == eventv1.Command_COMMAND_OFF {
		out = append(out, "off")
	}
	for i, e := range d.Circuit.Elements {
		if (e.Kind == circuit.Fuse || e.Kind == circuit.Breaker) && slices.Contains(r.GetConditions().GetUnplugged(), d.Elements[i].Component.Name) {
			out = append(out, e.Key)
		}
	}
	return strings.Join(out, ",")
}

// how a reading in volts is taken, in a technician's words.
func (j *Judged) askedWords(f *foretold) string {
	c := f.says.GetConditions()
	switch {
	case len(c.GetUnplugged()) > 0:
		return fmt.Sprintf("with %s out, the rest plugged in and the switches as when the concern is there; put them back afterwards", j.fuseWords(f.drawn))
	case c.GetCommanded() == eventv1.Command_COMMAND_OFF:
		return "with everything plugged in and the circuit switched off"
	}
	return asItWorks
}
