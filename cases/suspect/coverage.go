package suspect

import (
	"math"
	"slices"
)

// Cover is a part that a test would find bad.
type Cover struct {
	Part Part
	// Modes it would show; none: every one.
	Modes []Mode
	// Mostly: not always. Such a test never proves the part good.
	Mostly bool
}

func (c Cover) shows(f Fault) bool {
	return c.Part == f.Part && (len(c.Modes) == 0 || slices.Contains(c.Modes, f.Mode.Kind()))
}

// Coverage is a test, or a reading somebody judged, as evidence: what it covers
// and what came of it.
type Coverage struct {
	ID, Setup string
	Covers    []Cover
	// Fails: it was not as it should be; else it passed.
	Fails bool
	// Weak: it was made while the concern was absent, or may have been, so that a
	// pass tells little and proves nothing.
	Weak bool
	// Shows: failing, it shows by itself that the one part it covers is bad: a drop
	// across it, a bypass of it, a bench test, or an exchange that was undone.
	Shows bool
	// Twice: what it found was undone and found again, as when the concern goes and
	// comes back.
	Twice bool
	// Shares is how often such a test tells the untruth.
	Shares Shares
}

// outlier is the share of observations that say nothing at all: a slip, a wrong
// terminal, another vehicle. Assumed.
const outlier = 0.01

func robust(p float64) float64 { return math.Log((1-outlier)*p + outlier/2) }

// Source implements Evidence.
func (c *Coverage) Source() (id, setup string) { return c.ID, c.Setup }

const (
	classWhole = iota + 1
	classMostly
	classNotNamed
)

// Class implements Classed.
func (c *Coverage) Class(f Fault) int {
	if f.Part == NotNamed {
		return classNotNamed
	}
	class := 0
	for _, cover := range c.Covers {
		if cover.shows(f) {
			if !cover.Mostly {
				return classWhole
			}
			class = classMostly
		}
	}
	return class
}

// Touches are the parts that it covers.
func (c *Coverage) Touches() (parts []Part, class int, known bool) {
	for _, cover := range c.Covers {
		parts = append(parts, cover.Part)
	}
	return parts, 0, true
}

// LogLik implements Plain.
func (c *Coverage) LogLik(h Hypothesis) float64 {
	pass := 1 - c.Shares.FalseFail
	for _, f := range h {
		switch c.Class(f) {
		case classWhole:
			pass *= c.Shares.FalsePass
		case classMostly:
			pass *= c.Shares.FalsePassMostly
		case classNotNamed:
			pass *= 1 - c.Shares.NotNamed
		}
	}
	if c.Fails {
		pass = 1 - pass
	}
	if c.Twice {
		return 2 * robust(pass)
	}
	return robust(pass)
}

// alone returns the one part that it covers wholly and exactly.
func (c *Coverage) alone() (Part, bool) {
	if len(c.Covers) == 0 {
		return Part{}, false
	}
	for _, cover := range c.Covers {
		if cover.Mostly || cover.Part != c.Covers[0].Part {
			return Part{}, false
		}
	}
	return c.Covers[0].Part, true
}

// certain is what Beyond returns for what cannot be, as far as a test goes.
const certain = 9

// Beyond implements Evidence: a test contradicts a hypothesis only when it covers
// exactly one part. A pass says that the part has none of the faults it would
// show; a failure says that it has one.
func (c *Coverage) Beyond(h Hypothesis) float64 {
	p, ok := c.alone()
	if !ok || p == NotNamed || !c.Fails && c.Weak {
		return 0
	}
	shown := slices.ContainsFunc(h, func(f Fault) bool { return c.Class(f) == classWhole })
	if shown != c.Fails {
		return certain
	}
	return 0
}

// Direct implements what Judgement asks of evidence on one part alone.
func (c *Coverage) Direct(p Part) (fails, shows bool) {
	q, ok := c.alone()
	return ok && q == p && c.Fails, ok && q == p && c.Fails && c.Shows
}

// Sighting is the concern seen, or seen to be gone, at one time: evidence on all
// that was in the vehicle then.
type Sighting struct {
	ID, Setup string
	// Gone: what was tried brought the concern no more.
	Gone bool
	// There says whether a part, in its life, was in the vehicle at that time.
	There func(Part) bool
	// Parts lists those of which There says yes. Nil: There has to be asked.
	Parts func() []Part
	// Shares is how often the concern is seen without a fault, or gone with one.
	Shares SightingShares
}

// Source implements Evidence.
func (s *Sighting) Source() (id, setup string) { return s.ID, s.Setup }

// Class implements Classed.
func (s *Sighting) Class(f Fault) int {
	if f.Part == NotAsDrawn {
		return 0 // a wrong drawing breaks nothing
	}
	if f.Part == NotNamed || s.There(f.Part) {
		return 1
	}
	return 0
}

// Touches are the parts that were there.
func (s *Sighting) Touches() (parts []Part, class int, known bool) {
	if s.Parts == nil {
		return nil, 0, false
	}
	return s.Parts(), 1, true
}

// LogLik implements Plain.
func (s *Sighting) LogLik(h Hypothesis) float64 {
	seen := s.Shares.WithoutFault
	if slices.ContainsFunc(h, func(f Fault) bool { return s.Class(f) == 1 }) {
		seen = 1 - s.Shares.GoneWithFault
	}
	if s.Gone {
		return math.Log(1 - seen)
	}
	return math.Log(seen)
}

// Beyond implements Evidence: a concern proves nothing of any one part.
func (s *Sighting) Beyond(Hypothesis) float64 { return 0 }
