package cases

import (
	"slices"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// PointKey is the key by which points are told apart: the posts of the battery are
// "batt+" and "batt-" by whatever usual name.
func (s *State) PointKey(name string) string { return s.pointKey(name) }

// System is the vehicle's nominal voltage; 12 where nobody said.
func (c *Case) System() float64 { return c.system() }

// Net is the kind of net, as far as anybody drew or noted it, of the point or, for
// a reading on a drawn circuit, of what its red lead was joined to by wire.
func (j *Judged) Net(name string, r *Read) eventv1.NetKind {
	if p := j.Point(name); p != nil && p.Seen.GetNet() != eventv1.NetKind_NET_KIND_UNSPECIFIED {
		return p.Seen.GetNet()
	}
	if r == nil {
		return eventv1.NetKind_NET_KIND_UNSPECIFIED
	}
	joined := r.Drawn.joined(r.Red)
	out := eventv1.NetKind_NET_KIND_UNSPECIFIED
	for _, p := range j.Points {
		n := p.Seen.GetNet()
		if n > out && slices.ContainsFunc(j.place(r.Drawn, p.Name), func(k int) bool { return slices.Contains(joined, k) }) {
			out = n
		}
	}
	return out
}

// joined are the nodes that wire, contacts and splices join to some, without the
// posts.
func (d *Drawn) joined(nodes []int) []int {
	out := slices.Clone(nodes)
	for i := 0; i < len(out); i++ {
		for _, e := range d.Circuit.Elements {
			if e.Kind > circuit.Splice || e.From != out[i] && e.To != out[i] {
				continue
			}
			if far := e.From + e.To - out[i]; far > 1 && !slices.Contains(out, far) {
				out = append(out, far)
			}
		}
	}
	return out
}

// Flow is the current in amperes through the point where a reading on a drawn
// circuit was taken: drew with the circuit as it stood then, if nothing is bad in
// it, or as somebody read it; full with everything plugged in and asked to work.
// told is false where the drawing does not say how much its loads draw.
func (j *Judged) Flow(r *Read) (drew, full float64, told bool) {
	d, at := r.Drawn, r.Red
	if len(at) == 0 || len(r.Black) == 0 {
		return 0, 0, false
	}
	if slices.Max(at) <= 1 {
		at = r.Black // from a post to the point
	}
	told = true
	for i, e := range d.Circuit.Elements {
		if k := e.Kind; k >= circuit.Load && k != circuit.Diode {
			el := d.Elements[i]
			told = told && (el.GetPower() != nil || el.GetCurrent() != nil || el.GetResistance() != nil)
		}
	}
	says := r.Step.Says.GetReading()
	now := j.gathered.state(d, r.Step, says, &Read{})
	if lampWord(says) != "" && slices.Max(r.Black) < len(d.Points) {
		now.Bridges = append(now.Bridges, circuit.Bridge{A: r.Red[0], B: r.Black[0], Ohms: circuit.Exactly(lampOhms)})
	}
	all := circuit.Setup{Posts: circuit.Exactly(d.System * 1.04), Position: make([]circuit.Position, len(d.Elements))}
	for i, e := range d.Circuit.Elements {
		if slices.Contains(at, e.From) || slices.Contains(at, e.To) {
			drew, full = max(drew, d.amps(now, i)), max(full, d.amps(all, i))
		}
	}
	if a, ok := si(says.GetConditions().GetCurrent()); ok {
		drew = a
	}
	return drew, full, told
}

// lampOhms is what a filament test lamp mostly has while it is lit: it draws a
// quarter of an ampere (common practice).
const lampOhms = 50

// amps through an element with nothing bad.
func (d *Drawn) amps(setup circuit.Setup, along int) float64 {
	if setup.Position[along] == circuit.Gone {
		return 0
	}
	s := d.Observe(setup, circuit.Reading{Quantity: circuit.Amps, Along: along, Sigma: 0.05}, make([]suspect.Part, len(d.Elements))).Foretold(nil)
	return max(0, (s.Lo+s.Hi)/2)
}
