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
// other single fault, and no fault at all, could have led to it.
func (j *Judgement) Direct(p Part) (failed, shown []string) {
	for n, e := range j.problem.Evidence {
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
			q, ok := d.Across()
			if ok && q == p && !slices.Contains(failed, id) && j.onlyThat(n, id, p) {
				failed, shown = append(failed, id), append(shown, id)
			}
		}
	}
	return failed, shown
}

// onlyThat reports whether what one entry showed contradicts every single fault
// but those of the part.
func (j *Judgement) onlyThat(n int, id string, p Part) bool {
	entry := []int{n} // an entry may have read two quantities
	for m, e := range j.problem.Evidence {
		if other, _ := e.Source(); other == id && m != n {
			entry = append(entry, m)
		}
	}
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
			if c := j.classes[n]; c != nil {
				key = append(key, byte(c[i]), byte(c[i]>>8))
			}
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
