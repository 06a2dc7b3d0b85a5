package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/circuit"
	"knowngood.example/cases/suspect"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// witnesses are the readings on circuits that are drawn, as they bear on what
// somebody holds of one part.
type witnesses struct {
	*cases.Judged
	reads []*cases.Read
	// faults of each circuit that a reading can tell apart: one for each element and
	// mode.
	faults map[*cases.Drawn][]drawnFault
	asked  map[suspect.Part]map[suspect.Mode][]*cases.Step
}

type drawnFault struct {
	suspect.Fault
	element int
}

// witnessesOf is nil where nothing is drawn.
func witnessesOf(c *cases.Judged) *witnesses {
	if len(c.Drawings) == 0 || len(c.Reads()) == 0 {
		return nil
	}
	w := &witnesses{Judged: c, reads: c.Reads(), faults: map[*cases.Drawn][]drawnFault{}, asked: map[suspect.Part]map[suspect.Mode][]*cases.Step{}}
	for _, r := range w.reads {
		if w.faults[r.Drawn] != nil {
			continue
		}
		all := []drawnFault{}
		for k, e := range r.Drawn.Elements {
			for _, m := range r.Drawn.Modes(k) {
				all = append(all, drawnFault{suspect.Fault{Part: c.Part(e.Component), Mode: m.Mode}, k})
			}
		}
		w.faults[r.Drawn] = all
	}
	return w
}

// against are the readings that disagree with a claim about the part.
func (w *witnesses) against(part suspect.Part, claim *eventv1.Claim) (by []*cases.Step, how func(int) string) {
	mode := suspect.Mode(claim.GetMode())
	switch claim.GetOutcome() {
	case pass:
		return w.bad(part, mode), func(n int) string {
			return "as it is drawn, nothing but its being bad accounts for " + number(n, "it", "them")
		}
	case fail:
		return w.good(part, mode), func(n int) string {
			return "as it is drawn, " + number(n, "that", "those") + " would have read otherwise if it were so"
		}
	}
	return nil, nil
}

// bad are the readings that speak of the part alone: neither a sound circuit nor
// any single fault of another part gives them, and the part being bad does.
func (w *witnesses) bad(part suspect.Part, mode suspect.Mode) []*cases.Step {
	if w.Judgement().Probability(part) < 0.5 {
		return nil
	}
	var out []*cases.Step
	for _, r := range w.reads {
		if len(out) >= enough || r.Beyond(nil) < sure || slices.Contains(out, r.Step) {
			continue
		}
		own, others := false, false
		for _, f := range w.faults[r.Drawn] {
			if f.Part != part {
				others = others || r.Beyond(suspect.Hypothesis{f.Fault}) < sure
			} else if mode == suspect.AnyWay || f.Mode.Kind() == mode {
				own = own || r.Beyond(suspect.Hypothesis{f.Fault}) < sure
			}
			if others {
				break
			}
		}
		if own && !others {
			out = append(out, r.Step)
		}
	}
	return out
}

// good are the readings that the part being bad in the mode cannot have given, not
// beside any other fault either, but for one that cuts it off from where they were
// taken, and for a short elsewhere, which would not keep quiet itself. That is less
// than a proof, and enough to ask. Unspecified: in no mode at all that current through it shows.
func (w *witnesses) good(part suspect.Part, mode suspect.Mode) []*cases.Step {
	if out, met := w.asked[part][mode]; met {
		return out
	}
	var out []*cases.Step
	for _, r := range w.reads {
		if len(out) < enough && !slices.Contains(out, r.Step) && w.clearsBad(r, part, mode) {
			out = append(out, r.Step)
		}
	}
	if w.asked[part] == nil {
		w.asked[part] = map[suspect.Mode][]*cases.Step{}
	}
	w.asked[part][mode] = out
	return out
}

func (w *witnesses) clearsBad(r *cases.Read, part suspect.Part, mode suspect.Mode) bool {
	met := false
	for _, f := range w.faults[r.Drawn] {
		if f.Part != part || mode != suspect.AnyWay && f.Mode.Kind() != mode {
			continue
		}
		met = true
		if r.Class(f.Fault) == r.Class(suspect.Fault{}) || r.Beyond(suspect.Hypothesis{f.Fault}) < sure {
			return false // not of this one, or it may be
		}
		near := inRun(r.Drawn, f.element)
		for _, g := range w.faults[r.Drawn] {
			if g.Part != part && !isShort(g.Mode) && !slices.Contains(near, g.element) && r.Beyond(suspect.Hypothesis{f.Fault, g.Fault}) < sure {
				return false
			}
		}
	}
	return met
}

func isShort(m suspect.Mode) bool {
	switch m.Kind() {
	case suspect.ShortToGround, suspect.ShortToPower, suspect.ShortToNeighbour, suspect.Shorted:
		return true
	}
	return false
}

// inRun are the elements one behind the other with the element, with nothing else
// joined between, a load or fuse at either end of the run not among them.
func inRun(d *cases.Drawn, element int) []int {
	touching := map[int][]int{}
	for k, e := range d.Circuit.Elements {
		touching[e.From] = append(touching[e.From], k)
		touching[e.To] = append(touching[e.To], k)
	}
	out := []int{element}
	for i := 0; i < len(out); i++ {
		e := d.Circuit.Elements[out[i]]
		for _, n := range []int{e.From, e.To} {
			if n <= 1 || len(touching[n]) != 2 {
				continue
			}
			for _, k := range touching[n] {
				if d.Circuit.Elements[k].Kind <= circuit.Switch && !slices.Contains(out, k) {
					out = append(out, k)
				}
			}
		}
	}
	return out
}

// readAcross makes evidence of readings over the two ends of a component, as it is
// drawn, whose writer does not say what they cover: adds them to what each step is
// evidence of, and returns them by component, in job order.
func readAcross(c *cases.Judged, by map[*cases.Step][]*cases.Evidence) map[*cases.Component][]*cases.Evidence {
	out := map[*cases.Component][]*cases.Evidence{}
	if len(c.Drawings) == 0 {
		return out
	}
	for _, r := range c.Reads() {
		part, is := r.Across()
		comp := c.Components[part.Key]
		if !is || comp == nil || slices.ContainsFunc(by[r.Step], func(e *cases.Evidence) bool { return e.Component == comp }) {
			continue
		}
		e := &cases.Evidence{
			Step: r.Step, Component: comp, Life: lifeAt(comp, r.Step), Outcome: outcome(r.Step), Alone: true,
			Covered: &eventv1.Covered{Component: comp.Name, Extent: eventv1.Extent_EXTENT_WHOLE},
		}
		switch {
		case e.Outcome != eventv1.Outcome_OUTCOME_UNSPECIFIED:
		case r.Beyond(nil) >= sure:
			e.Outcome = fail
		case r.Beyond(suspect.Hypothesis{{Part: part, Mode: suspect.HighResistance}}) >= sure:
			e.Outcome = pass
		default:
			continue // it does not tell
		}
		by[r.Step] = append(by[r.Step], e)
		out[comp] = append(out[comp], e)
	}
	return out
}

// contradictedDrawings are the drawings that are likelier to be wrong than not, with
// the readings that do not go with them.
func contradictedDrawings(w *witnesses) []Finding {
	if w == nil || w.Judgement().Probability(suspect.NotAsDrawn) < 0.5 {
		return nil
	}
	var circuits []*cases.Drawn
	odd, fit := map[*cases.Drawn][]*cases.Step{}, map[*cases.Drawn][]*cases.Step{}
	for _, r := range w.reads {
		if !slices.Contains(circuits, r.Drawn) && !w.hasCulprit(r.Drawn) {
			circuits = append(circuits, r.Drawn)
		}
		if to := fit; len(odd[r.Drawn])+len(fit[r.Drawn]) < 2*enough && !slices.Contains(odd[r.Drawn], r.Step) {
			if r.Beyond(nil) >= sure {
				to = odd
			}
			if !slices.Contains(to[r.Drawn], r.Step) {
				to[r.Drawn] = append(to[r.Drawn], r.Step)
			}
		}
	}
	var out []Finding
	for _, d := range circuits {
		if len(odd[d]) == 0 {
			continue
		}
		var by []*cases.Step
		for _, e := range d.Elements {
			if !slices.Contains(by, e.By) {
				by = append(by, e.By)
			}
		}
		f := Finding{
			Entries: seqs(slices.Concat(by, odd[d])...), About: pointsRead(odd[d]),
			Why: fmt.Sprintf("%s %s with the circuit as %s %s it. That the drawing is wrong accounts for it better than any fault of what is drawn.",
				refs(odd[d]...), number(len(odd[d]), "disagrees", "disagree"), refs(by...), number(len(by), "draws", "draw")),
			Clears: "Trace the wire from end to end, or try the neighbouring pins, and draw it as it is; or read those points again, if a lead was on the wrong one.",
		}
		if len(fit[d]) > 0 {
			f.Entries = append(f.Entries, seqs(fit[d]...)...)
			f.Why = fmt.Sprintf("%s %s with the circuit as %s %s it, beside %s. That the drawing is wrong accounts for them all better than any fault of what is drawn.",
				refs(odd[d]...), number(len(odd[d]), "disagrees", "disagree"), refs(by...), number(len(by), "draws", "draw"), refs(fit[d]...))
		}
		out = append(out, f)
	}
	return out
}

// hasCulprit reports whether one part of the circuit is likelier than not to be bad.
func (w *witnesses) hasCulprit(d *cases.Drawn) bool {
	return slices.ContainsFunc(d.Elements, func(e cases.DrawnElement) bool {
		return w.Judgement().Probability(w.Part(e.Component)) >= 0.5
	})
}

// pointsRead are the points of the red leads.
func pointsRead(readings []*cases.Step) []string {
	var out []string
	for _, s := range readings {
		for _, p := range []string{s.Says.GetReading().GetRed(), s.Says.GetReading().GetAt()} {
			if p != "" && !slices.Contains(out, p) {
				out = append(out, p)
			}
		}
	}
	return out
}

// boughtOn maps each reading or test to the parts that were fitted because of it and
// are still in.
func boughtOn(c *cases.Case) map[*cases.Step][]*cases.Fitting {
	out := map[*cases.Step][]*cases.Fitting{}
	for _, f := range c.Fittings {
		if f.PutBack == nil {
			for _, s := range f.Step.Because {
				out[s] = append(out[s], f)
			}
		}
	}
	return out
}

// sameGround are the parts that were fitted, after somebody held something else to
// be good, because of the very readings that the belief rests on.
func sameGround(b *cases.Belief, comp *cases.Component, bought map[*cases.Step][]*cases.Fitting) []*cases.Step {
	var out []*cases.Step
	if b.Says.GetClaim().GetOutcome() != pass {
		return nil
	}
	for _, s := range b.Step.Because {
		for _, f := range bought[s] {
			if f.Step.Job > b.Step.Job && f.Component != comp && !reasoned(f) && !slices.Contains(out, f.Step) {
				out = append(out, f.Step)
			}
		}
	}
	return out
}

// stretch is where the trouble is by what is drawn and read.
type stretch struct {
	// parts are those of one circuit that hold most of the probability, the likeliest
	// first; joined are what is joined to one of them.
	parts, joined []*cases.Component
	// by are the readings that a sound circuit cannot have given.
	by []*cases.Step
}

// stretchOf is the stretch that the readings have narrowed the trouble to; nil where
// they have not.
func stretchOf(w *witnesses) *stretch {
	const (
		most = 0.8 // of the probability
		few  = 6   // parts; of more nobody would say that it is narrowed
	)
	if w == nil {
		return nil
	}
	var out stretch
	var d *cases.Drawn
	sum := 0.0
	for _, s := range w.Judgement().Suspects() {
		comp := w.Components[s.Part.Key]
		if s.Part == suspect.NotNamed || s.Part == suspect.NotAsDrawn || comp == nil {
			if d == nil {
				return nil // that it is none of these is likelier
			}
			continue
		}
		if d == nil {
			if d = w.circuitOf(comp); d == nil {
				return nil
			}
		}
		if w.Part(comp) != s.Part || !isIn(d, comp) {
			return nil
		}
		out.parts = append(out.parts, comp)
		if sum += s.Probability; sum >= most || len(out.parts) > few {
			break
		}
	}
	if sum < most || len(out.parts) > few {
		return nil
	}
	for _, r := range w.reads {
		if r.Drawn == d && len(out.by) < enough && r.Beyond(nil) >= sure && !slices.Contains(out.by, r.Step) {
			out.by = append(out.by, r.Step)
		}
	}
	if len(out.by) == 0 {
		return nil
	}
	ends := map[int]bool{}
	for k, e := range d.Elements {
		if slices.Contains(out.parts, e.Component) {
			ends[d.Circuit.Elements[k].From], ends[d.Circuit.Elements[k].To] = true, true
		}
	}
	for k, e := range d.Elements {
		from, to := d.Circuit.Elements[k].From, d.Circuit.Elements[k].To
		if (ends[from] && from > 1 || ends[to] && to > 1) && !slices.Contains(out.parts, e.Component) {
			out.joined = append(out.joined, e.Component)
		}
	}
	return &out
}

func (w *witnesses) circuitOf(comp *cases.Component) *cases.Drawn {
	for _, r := range w.reads {
		if isIn(r.Drawn, comp) {
			return r.Drawn
		}
	}
	return nil
}

func isIn(d *cases.Drawn, comp *cases.Component) bool {
	return slices.ContainsFunc(d.Elements, func(e cases.DrawnElement) bool { return e.Component == comp })
}
