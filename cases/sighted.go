package cases

import (
	"fmt"
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
	joined := r.Drawn.Joined(r.Red)
	out := eventv1.NetKind_NET_KIND_UNSPECIFIED
	for _, p := range j.Points {
		n := p.Seen.GetNet()
		if n > out && slices.ContainsFunc(j.Place(r.Drawn, p.Name), func(k int) bool { return slices.Contains(joined, k) }) {
			out = n
		}
	}
	return out
}

// Flows tells what current flowed where readings on drawn circuits were taken. It
// remembers what it worked out: of many readings few are in states of their own.
type Flows struct {
	j    *Judged
	amps map[flowing]float64
}

type flowing struct {
	d     *Drawn
	along int
	state string
}

// Flows of the readings of the case.
func (j *Judged) Flows() *Flows { return &Flows{j, map[flowing]float64{}} }

// At is the current in amperes through the point where a reading was taken: drew
// with the circuit as it stood then, if nothing is bad in it, or as somebody read
// it; full with everything plugged in and asked to work. told is false where the
// drawing does not say how much its loads draw.
func (f *Flows) At(r *Read) (drew, full float64, told bool) {
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
	posts := circuit.Exactly(d.System * 1.04)
	all := circuit.Setup{Posts: posts, Position: make([]circuit.Position, len(d.Elements))}
	now := all
	amps, read := si(says.GetConditions().GetCurrent())
	if !read {
		now = f.j.gathered.state(d, r.Step, says, &Read{})
		now.Posts = posts
		if lampWord(says) != "" && slices.Max(r.Black) < len(d.Points) {
			_, lit := circuit.TestLamp(d.System)
			now.Bridges = append(now.Bridges, circuit.Bridge{A: r.Red[0], B: r.Black[0], Ohms: circuit.Exactly(lit)})
		}
	}
	for i, e := range d.Circuit.Elements {
		if slices.Contains(at, e.From) || slices.Contains(at, e.To) {
			drew, full = max(drew, f.along(d, now, i)), max(full, f.along(d, all, i))
		}
	}
	if read {
		drew = amps
	}
	return drew, full, told
}

// along is the current through an element with nothing bad.
func (f *Flows) along(d *Drawn, setup circuit.Setup, along int) float64 {
	if setup.Position[along] == circuit.Gone {
		return 0
	}
	key := flowing{d, along, fmt.Sprint(setup.Position, setup.Bridges, setup.Off)}
	out, met := f.amps[key]
	if !met {
		s := d.Observe(setup, circuit.Reading{Quantity: circuit.Amps, Along: along, Sigma: 0.05}, make([]suspect.Part, len(d.Elements))).Foretold(nil)
		out = max(0, (s.Lo+s.Hi)/2)
		f.amps[key] = out
	}
	return out
}
