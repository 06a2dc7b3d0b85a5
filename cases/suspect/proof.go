package suspect

import (
	"slices"
)

// enough independent pieces of evidence must contradict a fault before it is
// proven not to be there. Two: common practice, and what keeps one slip of the
// hand from calling a faulty thing good.
const enough = 2

// Proof says that one part is not bad in one way, as far as the evidence named
// reaches: under its conditions, since the part is what it is, and as long as the
// vehicle is as everybody takes it to be.
type Proof struct {
	Part Part
	Mode Mode
	// Entries are the ids of the evidence, of at least two set-ups.
	Entries []string
}

// Again is a piece of evidence that cannot be true with what else is there.
type Again struct {
	// Entry is its id.
	Entry string
	// Parts it speaks of.
	Parts []Part
}

// Proofs lists what is proven good, mode by mode, and what must be read again
// first. A fault is proven not to be there when every hypothesis that holds it,
// in a pair or a triple too, is contradicted by evidence of two set-ups or more
// that would not contradict no fault at all. Where even the best hypothesis is
// contradicted, somebody read or wrote something wrong: the evidence is named, and
// until it is settled nothing counts as proven.
func (j *Judgement) Proofs() ([]Proof, []Again) {
	var proofs []Proof
	proven := make([]bool, len(j.faults))
	for i, f := range j.faults {
		if f.Part == NotNamed {
			continue
		}
		if entries := j.proof(i); entries != nil {
			proven[i] = true
			proofs = append(proofs, Proof{Part: f.Part, Mode: f.Mode, Entries: entries})
		}
	}
	if again := j.readAgain(proven); again != nil {
		return nil, again
	}
	return proofs, nil
}

// proof returns the evidence that rules the fault out, nil when it is not.
func (j *Judgement) proof(i int) []string {
	f := j.faults[i]
	var against []Evidence
	for _, e := range j.problem.Evidence {
		if beyond(e, f) && e.Beyond(nil) < beyondDoubt {
			against = append(against, e)
		}
	}
	if setups(against, func(Evidence) bool { return true }) < enough {
		return nil
	}
	for k, g := range j.faults {
		if k == i || g.Part == f.Part || !j.bearsOn(against, g) {
			continue
		}
		h := Hypothesis{f, g}
		if setups(against, func(e Evidence) bool { return e.Beyond(h) >= beyondDoubt }) < enough {
			return nil
		}
	}
	for _, t := range j.triples {
		if !slices.Contains(t[:], i) {
			continue
		}
		h := Hypothesis{j.faults[t[0]], j.faults[t[1]], j.faults[t[2]]}
		if setups(against, func(e Evidence) bool { return e.Beyond(h) >= beyondDoubt }) < enough {
			return nil
		}
	}
	var entries []string
	for _, e := range against {
		id, _ := e.Source()
		entries = append(entries, id)
	}
	return entries
}

func beyond(e Evidence, f Fault) bool {
	if c, ok := e.(Classed); ok && c.Class(f) == 0 {
		return e.Beyond(nil) >= beyondDoubt
	}
	return e.Beyond(Hypothesis{f}) >= beyondDoubt
}

// bearsOn reports whether the fault can change what the evidence says.
func (j *Judgement) bearsOn(all []Evidence, f Fault) bool {
	return slices.ContainsFunc(all, func(e Evidence) bool {
		c, ok := e.(Classed)
		return !ok || c.Class(f) != 0
	})
}

// setups counts the different set-ups of the evidence that is meant.
func setups(all []Evidence, meant func(Evidence) bool) int {
	var seen []string
	for _, e := range all {
		if _, setup := e.Source(); !slices.Contains(seen, setup) && meant(e) {
			seen = append(seen, setup)
		}
	}
	return len(seen)
}

// readAgain finds the evidence that the best hypothesis cannot lead to, and
// failures of which everything they could come from is proven good.
func (j *Judgement) readAgain(proven []bool) []Again {
	best := j.best()
	var odd []int
	for n, e := range j.problem.Evidence {
		if e.Beyond(best) >= beyondDoubt || j.unexplained(n, proven) {
			odd = append(odd, n)
		}
	}
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

func (j *Judgement) best() Hypothesis {
	var h Hypothesis
	for _, i := range j.masses().best {
		h = append(h, j.faults[i])
	}
	return h
}

// unexplained reports whether the evidence asks for named faults, and all of them
// are proven not to be there.
func (j *Judgement) unexplained(n int, proven []bool) bool {
	return j.asks[n].named && !slices.ContainsFunc(j.asks[n].faults, func(i int) bool {
		return j.faults[i].Part != NotNamed && !proven[i]
	})
}

// narrowedTo is the probability from which a part counts as found, given a test on
// it alone that failed.
const narrowedTo = 0.95

// direct is evidence on one part alone.
type direct interface {
	Direct(Part) (fails, shows bool)
}

// Direct reports whether a test on the part alone failed, and whether one that
// shows by itself that the part is bad did.
func (j *Judgement) Direct(p Part) (failed, shown []string) {
	for _, e := range j.problem.Evidence {
		d, ok := e.(direct)
		if !ok {
			continue
		}
		id, _ := e.Source()
		fails, shows := d.Direct(p)
		if fails {
			failed = append(failed, id)
		}
		if shows {
			shown = append(shown, id)
		}
	}
	return failed, shown
}

// NarrowedTo reports whether the case is narrowed to the part: probable to 0.95
// or more, and a test on it alone failed. Probability by itself condemns nothing.
func (j *Judgement) NarrowedTo(p Part) bool {
	failed, _ := j.Direct(p)
	return len(failed) > 0 && p != NotNamed && j.Probability(p) >= narrowedTo
}
