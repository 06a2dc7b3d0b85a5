package suspect

import "slices"

// Again is a piece of evidence that cannot be true with what else is there.
type Again struct {
	// Entry is its id.
	Entry string
	// Parts it speaks of.
	Parts []Part
}

// readAgain finds the evidence that the best hypothesis cannot lead to, with
// whatever else it may take that nothing speaks against; and failures of which
// everything they could come from is proven good. What is not named can lead to any reading,
// so that a reading is held against the best that blames components, unless the drawing is
// doubted, which accounts for it.
func (j *Judgement) readAgain(proven []bool) []Again {
	best := j.best()
	var odd []int
	named, doubted := j.needed(j.hypothesis(j.masses().named)), j.Doubted()
	for n, e := range j.problem.Evidence {
		h := best
		if _, drawn := e.(Drawn); drawn && !doubted {
			h = named
		}
		if e.Beyond(h) >= beyondDoubt {
			odd = append(odd, n)
		}
	}
	odd = j.explainMore(best, odd)
	for n := range j.problem.Evidence {
		if !slices.Contains(odd, n) && j.unexplained(n, proven) {
			odd = append(odd, n)
		}
	}
	slices.Sort(odd)
	if len(odd) == 0 {
		return nil
	}
	var out []Again
	for _, n := range odd {
		e := j.problem.Evidence[n]
		a := Again{}
		a.Entry, _ = e.Source()
		for _, f := range j.faults {
			c, ok := e.(Classed)
			if f.Part != NotNamed && (!ok || c.Class(f) != 0) && !slices.Contains(a.Parts, f.Part) {
				a.Parts = append(a.Parts, f.Part)
			}
		}
		out = append(out, a)
	}
	return out
}

// needed is a hypothesis without what it only makes likelier: of two faults the one that all
// readings on what is drawn can come from by itself, where they cannot come from both. A small
// second fault may well come nearer to a reading than none, and be too large for another.
func (j *Judgement) needed(h Hypothesis) Hypothesis {
	contradicted := func(h Hypothesis) bool {
		return slices.ContainsFunc(j.drawn.evidence, func(n int) bool { return j.problem.Evidence[n].Beyond(h) >= beyondDoubt })
	}
	if len(h) == 2 && contradicted(h) {
		for k := range h {
			if !contradicted(h[k : k+1]) {
				return h[k : k+1]
			}
		}
	}
	return h
}

// explainMore returns those of the contradicted that stay so when every fault that
// one of them asks for, and that contradicts nothing more, is there beside the
// best: there may be more faults than are weighed together, each found by a test of
// its own. Readings on what is drawn speak of too much at once for that.
func (j *Judgement) explainMore(best Hypothesis, odd []int) []int {
	h := slices.Clone(best)
	for k := 0; k < len(odd); k++ {
		n := odd[k]
		if _, drawn := j.problem.Evidence[n].(Drawn); drawn {
			continue
		}
		for _, i := range j.asks[n].faults {
			if j.outside(i) || slices.ContainsFunc(h, func(f Fault) bool { return f.Part == j.faults[i].Part }) {
				continue
			}
			if more := append(slices.Clip(h), j.faults[i]); j.problem.Evidence[n].Beyond(more) < beyondDoubt && j.bears(i, h, more) {
				h = more
				break
			}
		}
	}
	return slices.DeleteFunc(odd, func(n int) bool {
		_, drawn := j.problem.Evidence[n].(Drawn)
		return !drawn && j.problem.Evidence[n].Beyond(h) < beyondDoubt
	})
}

// bears reports whether no evidence that the fault touches is contradicted by h
// with it and was not before.
func (j *Judgement) bears(i int, h, with Hypothesis) bool {
	for e, evidence := range j.problem.Evidence {
		if class := &j.classes[e]; class.n > 0 && class.fault(i) == 0 {
			continue
		}
		if _, drawn := evidence.(Drawn); drawn || evidence.Beyond(with) >= beyondDoubt && evidence.Beyond(h) < beyondDoubt {
			return false
		}
	}
	return true
}

func (j *Judgement) best() Hypothesis {
	var h Hypothesis
	for _, i := range j.masses().best {
		h = append(h, j.faults[i])
	}
	return h
}

// unexplained reports whether the evidence asks for named faults, and all of them
// are proven not to be there. A reading that is as it should be asks for none: of fifty a few
// are three times likelier under one fault or another.
func (j *Judgement) unexplained(n int, proven []bool) bool {
	if e, drawn := j.problem.Evidence[n].(Drawn); drawn && e.Beyond(nil) < beyondDoubt {
		return false
	}
	return j.asks[n].named && !slices.ContainsFunc(j.asks[n].faults, func(i int) bool {
		return j.faults[i].Part != NotNamed && !proven[i]
	})
}
