package suspect

import "slices"

// narrowedTo is the probability from which a part counts as found, given a test on
// it alone that failed.
const narrowedTo = 0.95

// direct is evidence on one part alone.
type direct interface {
	Direct(Part) (fails, shows bool)
}

// across is a reading with a lead at either end of one part.
type across interface {
	Drawn
	Across() (Part, bool)
}

// Direct reports whether a test on the part alone failed, and whether one that
// shows by itself that the part is bad did. A reading across it does both when no
// other single fault, and no fault at all, could have led to it; so do several together,
// such as volts over a load that takes no current.
func (j *Judgement) Direct(p Part) (failed, shown []string) {
	var together []int
	var names []string
	for _, e := range j.problem.Evidence {
		id, _ := e.Source()
		switch d := e.(type) {
		case direct:
			fails, shows := d.Direct(p)
			if fails {
				failed = append(failed, id)
			}
			if shows {
				shown = append(shown, id)
			}
		case across:
			if q, ok := d.Across(); !ok || q != p || slices.Contains(names, id) {
				continue
			}
			entry := j.entry(id)
			together, names = append(together, entry...), append(names, id)
			if j.onlyThat(entry, p) {
				failed, shown = append(failed, id), append(shown, id)
			}
		}
	}
	if len(failed) == 0 && len(names) > 1 && j.onlyThat(together, p) {
		return names, names
	}
	return failed, shown
}

// entry is what was read in one entry: it may be two quantities.
func (j *Judgement) entry(id string) (all []int) {
	for n, e := range j.problem.Evidence {
		if other, _ := e.Source(); other == id {
			all = append(all, n)
		}
	}
	return all
}

// onlyThat reports whether what was shown contradicts every single fault but those of
// the part.
func (j *Judgement) onlyThat(entry []int, p Part) bool {
	contradicted := func(h Hypothesis) bool {
		return slices.ContainsFunc(entry, func(n int) bool { return j.problem.Evidence[n].Beyond(h) >= beyondDoubt })
	}
	if !contradicted(nil) {
		return false
	}
	asked := map[string]bool{} // by class: most faults are alike
	possible := false
	for i, f := range j.faults {
		if j.outside(i) {
			continue
		}
		var key []byte
		for _, n := range entry {
			c := j.classes[n].fault(i)
			key = append(key, byte(c), byte(c>>8))
		}
		if f.Part == p {
			possible = possible || !contradicted(Hypothesis{f})
			continue
		}
		if asked[string(key)] {
			continue
		}
		asked[string(key)] = true
		if !contradicted(Hypothesis{f}) {
			return false
		}
	}
	return possible
}

// NarrowedTo reports whether the case is narrowed to the part: probable to 0.95
// or more, and a test on it alone failed. Probability by itself condemns nothing.
func (j *Judgement) NarrowedTo(p Part) bool {
	failed, _ := j.Direct(p)
	return len(failed) > 0 && p != NotNamed && j.Probability(p) >= narrowedTo
}
