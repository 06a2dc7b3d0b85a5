package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/circuit"
	"knowngood.example/cases/notation"
)

// A black lead is on a ground when its point is called one, is metal of the vehicle,
// or is drawn on the ground side. The ground is proven for a visit by a small drop
// from it to battery negative under load, or by the whole supply read to it while
// something works. A bad ground takes from a reading and adds nothing to it, so a
// whole supply is not doubted; nor is what was repeated on battery negative and came
// out the same.
func groundUnproven() Rule {
	return Rule{
		Slug:     "ground-unproven",
		Doctrine: "A reading is between two leads: if the black lead's ground was not proven, the reading is not either.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			f, rests := c.currents, c.rests
			type ground struct {
				at string
				visit
			}
			proven, again := map[ground]bool{}, map[string][]*cases.Step{}
			for _, s := range c.Readings {
				for _, at := range f.provenGround(s) {
					proven[ground{at, visitOf(c.Case, s)}] = true
				}
				if r := s.Says.GetReading(); f.point(r.GetBlack()) == "batt-" {
					again[f.spot(r.GetRed())] = append(again[f.spot(r.GetRed())], s)
				}
			}
			var order []ground
			by, on, name := map[ground][]*cases.Step{}, map[ground][]*cases.Step{}, map[ground]string{}
			for _, s := range c.Readings {
				r := s.Says.GetReading()
				g := ground{f.spot(r.GetBlack()), visitOf(c.Case, s)}
				if !f.tooLow(s) || !f.isGround(s) || proven[g] {
					continue
				}
				rest := condemning(c.Case, s, rests[s])
				if outcome(s) != fail && len(rest) == 0 {
					continue
				}
				repeated := again[f.spot(r.GetRed())]
				if len(repeated) > 0 && len(rest) == 0 || slices.ContainsFunc(repeated, f.tooLow) {
					continue
				}
				if by[g] == nil {
					order = append(order, g)
				}
				by[g], name[g] = append(by[g], s), r.GetBlack()
				for _, k := range rest {
					if !slices.Contains(on[g], k) {
						on[g] = append(on[g], k)
					}
				}
			}
			var out []Finding
			for _, g := range order {
				var what, told []string
				for _, s := range by[g] {
					if w := whereWords(f, s); !slices.Contains(told, w) {
						what, told = append(what, whereRead(f, s)...), append(told, w)
					}
				}
				out = append(out, Finding{
					Entries: seqs(slices.Concat(by[g], on[g])...), About: append(slices.Clone(what), name[g]),
					Why: fmt.Sprintf("%s %s against %s with the black lead on %s, and nobody proved that ground then.%s",
						refs(by[g]...), number(len(by[g]), "speaks", "speak"), list(told), name[g], restWords(on[g])),
					Clears: fmt.Sprintf("Repeat it with the black lead on battery negative; or read the drop from %s to battery negative with the load working.", name[g]),
				})
			}
			return out
		},
	}
}

// visit is one day's work at one shop; where the day is not known, the time between
// two hand-overs.
type visit struct {
	shop string
	day  int64
}

func visitOf(c *cases.Case, s *cases.Step) visit {
	v := visit{shop: s.Shop}
	if d, known := day(s); known {
		v.day = d
		return v
	}
	for _, h := range c.Handoffs {
		for _, end := range []*cases.Step{h.Step, h.Back} {
			if end != nil && end.Job < s.Job {
				v.day--
			}
		}
	}
	return v
}

// tooLow reports whether a reading shows less than the supply has: a voltage between
// two points, or a lamp that was not bright.
func (f *currents) tooLow(s *cases.Step) bool {
	if _, dark := lampLit(s); dark {
		return true
	}
	v, is := volts(s)
	return is && v < fullSupply*supplyOf(f.Case, s)
}

// isGround reports whether the reading's black lead was on a ground that is not the
// battery's own post.
func (f *currents) isGround(s *cases.Step) bool {
	name := s.Says.GetReading().GetBlack()
	if key := f.point(name); key == "" || key == "batt-" {
		return false
	}
	if r := f.reads[s]; r != nil {
		return slices.ContainsFunc(r.Black, func(n int) bool { return onGroundSide(r.Drawn, n) })
	}
	return slices.ContainsFunc(words(notation.Key(name)), func(w string) bool {
		switch w {
		case "gnd", "ground", "earth", "chassis", "body", "frame", "block", "engine", "metal", "bracket", "strap", "eyelet":
			return true
		}
		return false
	})
}

// onGroundSide reports whether nothing but wire, contacts and grounds lies between
// the node and battery negative.
func onGroundSide(d *cases.Drawn, node int) bool {
	if node >= len(d.Points) {
		return true // metal that nobody drew
	}
	at := []int{node}
	for i := 0; i < len(at); i++ {
		for _, e := range d.Circuit.Elements {
			if e.Kind > circuit.Ground || e.From != at[i] && e.To != at[i] {
				continue
			}
			switch far := e.From + e.To - at[i]; {
			case far == 0:
				return node != 0
			case far != 1 && !slices.Contains(at, far):
				at = append(at, far)
			}
		}
	}
	return false
}

// provenGround are the spots that the reading shows to be good grounds: a small drop
// to battery negative with something drawing, or all the supply there is between
// them and a feed.
func (f *currents) provenGround(s *cases.Step) []string {
	r := s.Says.GetReading()
	if flowed, _ := f.at(s); flowed != working || outcome(s) == fail || r.GetValue() == nil {
		return nil
	}
	red, black := f.point(r.GetRed()), f.point(r.GetBlack())
	v, dim, err := notation.Value(r.GetValue())
	const whole = 0.5 // volts that a whole ground side may lose (common practice)
	switch {
	case err != nil || dim != notation.Voltage:
	case black == "batt-" && max(v, -v) <= whole*f.System()/12:
		return []string{f.spot(r.GetRed())}
	case red == "batt-" && max(v, -v) <= whole*f.System()/12:
		return []string{f.spot(r.GetBlack())}
	case black != "batt-" && v >= 0.95*supplyOf(f.Case, s):
		return []string{f.spot(r.GetBlack())}
	}
	return nil
}

// condemning are the decisions that stand and take something to be bad, or were made
// because of a reading that did not pass.
func condemning(c *cases.Case, s *cases.Step, all []*cases.Step) []*cases.Step {
	if outcome(s) == pass {
		return nil
	}
	return slices.DeleteFunc(standing(c, all), func(k *cases.Step) bool {
		b := k
		if set := k.Says.GetBeliefSettled(); set != nil {
			b = c.ByID(set.GetBelief())
			if b == nil || (set.GetHolds() == yes) != (b.Says.GetBelief().GetClaim().GetOutcome() == fail) {
				return true
			}
			return false
		}
		return b.Says.GetBelief() != nil && b.Says.GetBelief().GetClaim().GetOutcome() != fail
	})
}
