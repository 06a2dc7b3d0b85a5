package cases

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Telling is what one reading on a drawn circuit tells.
type Telling struct {
	Step  *Step
	Drawn *Drawn
	// Well is what it would show with nothing wrong, Best what it would under the
	// likeliest explanation; in the unit of the reading.
	Well, Best circuit.Span
	// Fits: it is as it should be.
	Fits bool
	// RulesOut names, for each way of being bad, the components that it shows not to be
	// bad so, were it and the drawing true and nothing else wrong; Leaves those that it
	// leaves in doubt.
	RulesOut, Leaves []Ruled
	// Doubt says why it proves less than it seems.
	Doubt string
}

// Ruled is a way of being bad, and components.
type Ruled struct {
	Mode       suspect.Mode
	Components []*Component
}

// Tellings of all readings on what is drawn, in job order.
func (j *Judged) Tellings() []Telling {
	j.Judgement()
	if j.tellings != nil {
		return j.tellings
	}
	best := j.best()
	var out []Telling
	for i := 0; i < len(j.reads); {
		n := i + 1
		for n < len(j.reads) && j.reads[n].Step == j.reads[i].Step {
			n++
		}
		out = append(out, j.telling(j.reads[i:n], best))
		i = n
	}
	j.tellings = out
	return out
}

// best is the likeliest explanation.
func (j *Judged) best() suspect.Hypothesis {
	all := j.judgement.Explanations()
	if len(all) == 0 {
		return nil
	}
	var h suspect.Hypothesis
	for _, p := range all[0].Parts {
		m := j.likeliestMode(p)
		for _, s := range j.judgement.Suspects() {
			if s.Part == p && m == suspect.AnyWay {
				m = s.Modes[0]
			}
		}
		h = append(h, suspect.Fault{Part: p, Mode: m})
	}
	return h
}

func (j *Judged) telling(reads []*Read, best suspect.Hypothesis) Telling {
	r := reads[0]
	t := Telling{Step: r.Step, Drawn: r.Drawn, Well: r.Foretold(nil), Best: r.Foretold(best), Fits: true, Doubt: r.Doubt}
	contradicts := func(h suspect.Hypothesis) bool {
		return slices.ContainsFunc(reads, func(r *Read) bool { return r.Beyond(h) >= beyondDoubt })
	}
	t.Fits = !contradicts(nil)
	if t.Fits && r.Misses(t.Well) { // what it may be is more than what it mostly is
		t.Well = circuit.Span{Lo: min(t.Well.Lo, r.Shown.Lo), Hi: max(t.Well.Hi, r.Shown.Hi)}
		if names := r.unsaid(); t.Doubt == "" && len(names) > 0 {
			t.Doubt = "nobody said whether " + strings.Join(names, " and ") + " was closed"
		}
	}
	for _, e := range r.Drawn.Elements {
		part := j.Part(e.Component)
		if !r.Had(part) {
			continue // it speaks of what was there before
		}
		for _, m := range telling {
			if !has(e, r.Drawn, m) {
				continue
			}
			to := &t.Leaves
			if contradicts(suspect.Hypothesis{{Part: part, Mode: m}}) {
				to = &t.RulesOut
			}
			i := slices.IndexFunc(*to, func(x Ruled) bool { return x.Mode == m })
			if i < 0 {
				i = len(*to)
				*to = append(*to, Ruled{Mode: m})
			}
			if !slices.Contains((*to)[i].Components, e.Component) {
				(*to)[i].Components = append((*to)[i].Components, e.Component)
			}
		}
	}
	return t
}

// unsaid are the switches, relays and outputs of which nobody said how they stood.
func (r *Read) unsaid() (out []string) {
	for _, k := range r.Unsaid() {
		if k < len(r.Drawn.Elements) {
			out = append(out, r.Drawn.Elements[k].Component.Name)
		}
	}
	return out
}

// beyondDoubt is the number of standard deviations from which a reading counts as
// contradicting something; as in the judgement.
const beyondDoubt = 3

// telling are the ways of being bad that a technician asks a reading about.
var telling = []suspect.Mode{suspect.Open, suspect.HighResistance, suspect.ShortToGround, suspect.Shorted}

func has(e DrawnElement, d *Drawn, m suspect.Mode) bool {
	for i := range d.Elements {
		if d.Elements[i].Component == e.Component {
			return slices.ContainsFunc(d.Modes(i), func(s circuit.Share) bool { return s.Mode == m })
		}
	}
	return false
}

// words names components of a circuit: those that follow one another as what lies
// between two points.
func (d *Drawn) words(all []*Component, mode suspect.Mode) string {
	in := func(i int) bool { return slices.Contains(all, d.Elements[i].Component) }
	can := func(i int) bool {
		return slices.ContainsFunc(d.Modes(i), func(s circuit.Share) bool { return s.Mode == mode })
	}
	var out []string
	said := map[*Component]bool{}
	for i := 0; i < len(d.Elements); i++ {
		if !in(i) || said[d.Elements[i].Component] {
			continue
		}
		last, count := i, 1
		for k := i + 1; k < len(d.Elements) && d.Circuit.Elements[k].From == d.Circuit.Elements[k-1].To && (in(k) || !can(k)); k++ {
			if in(k) {
				last = k
				count++
			}
		}
		if count < 3 {
			out = append(out, d.Elements[i].Component.Name)
			said[d.Elements[i].Component] = true
			continue
		}
		for k := i; k <= last; k++ {
			said[d.Elements[k].Component] = true
		}
		out = append(out, fmt.Sprintf("everything from %s to %s", d.Points[d.Circuit.Elements[i].From], d.Points[d.Circuit.Elements[last].To]))
		i = last
	}
	return strings.Join(out, ", ")
}

// Words is a way of being bad and the components, on the circuit: 'open: fuse F7,
// relay K2'.
func (t Telling) Words(r Ruled) string {
	return r.Mode.String() + ": " + t.Drawn.words(r.Components, r.Mode)
}

// Stretch is the run of drawn components that the trouble is in: the likeliest
// ones that together hold nine tenths of the probability; none when it takes more
// than a third of all that are drawn.
func (j *Judged) Stretch() (stretch []*Component, together float64) {
	drawn := 0
	for _, c := range j.Components {
		if isDrawn(j.wired(), c) {
			drawn++
		}
	}
	for _, c := range j.byProbability() {
		if !isDrawn(j.wired(), c) {
			continue
		}
		if together >= 0.9 || len(stretch) > max(drawn/3, 1) {
			break
		}
		stretch = append(stretch, c)
		together += j.judgement.Probability(j.Part(c))
	}
	if together < 0.9 {
		return nil, 0
	}
	return stretch, min(together, 1)
}

// SpanWords says a span of what is read in the unit of the reading.
func SpanWords(s circuit.Span, unit string) string {
	lo, hi := s.Lo, s.Hi
	if lo < 0 && hi > 0 && lo > -0.6 {
		lo = 0
	}
	format := func(v float64) string {
		if v >= 1e6 {
			return "OL"
		}
		return strings.TrimSuffix(fmt.Sprintf("%.2f", v), "0")
	}
	a, b := format(lo), format(hi)
	if a == b {
		return a + " " + unit
	}
	return a + " to " + b + " " + unit
}

// ReadingUnit is the unit that a reading on a circuit is foretold in.
func ReadingUnit(r *eventv1.Reading) string {
	if r.GetValue() == nil {
		return "of the supply over the lamp"
	}
	_, dim, err := notation.Value(r.GetValue())
	if err != nil && r.GetValue().GetUnit() != "" {
		return "Ω"
	}
	return dim.SI()
}

// Tell is what the reading of the step tells of the circuits that are drawn, without
// weighing it against the rest; ok is false when it tells nothing of them.
func (c *Case) Tell(t *suspect.Table, step *Step) (out Telling, ok bool) {
	j := c.Judge(t)
	a, _, _ := c.ask(j.Table, c.everything())
	reads := a.observe(step)
	if len(reads) == 0 {
		return Telling{}, false
	}
	return j.telling(reads, nil), true
}

// Strangers are the points of a reading that no drawing has, though there are
// drawings, each with the nearest that one has; none when a drawing has them all, or
// none of them.
func (c *Case) Strangers(step *Step) map[string]string {
	r := step.Says.GetReading()
	all := c.Circuits()
	if r == nil || len(all) == 0 {
		return nil
	}
	var points []string
	for _, d := range all {
		points = append(points, d.Points...)
	}
	out := map[string]string{}
	for _, name := range []string{r.GetRed(), r.GetBlack(), r.GetAt()} {
		if name == "" || slices.Contains(bodies, notation.Key(name)) || slices.ContainsFunc(all, func(d *Drawn) bool { return len(c.Place(d, name)) > 0 }) {
			continue
		}
		key, near := c.pointKey(name), ""
		for _, p := range points {
			if c.pointKey(p) == notation.Nearest(key, c.keys(points)) {
				near = p
			}
		}
		out[name] = near
	}
	return out
}

func (c *Case) keys(points []string) []string {
	var out []string
	for _, p := range points {
		out = append(out, c.pointKey(p))
	}
	return out
}
