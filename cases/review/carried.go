package review

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// readsOf maps each reading to what it is on a circuit that is drawn; nil where
// none is.
func readsOf(c *cases.Judged) map[*cases.Step]*cases.Read {
	if len(c.Drawings) == 0 {
		return nil
	}
	out := map[*cases.Step]*cases.Read{}
	for _, r := range c.Reads() {
		if out[r.Step] == nil {
			out[r.Step] = r
		}
	}
	return out
}

// carried says how much current flowed where something was measured, as far as the
// record tells.
type carried int

const (
	unsaid  carried = iota
	undrawn         // nothing but what the instrument draws
	little          // far less than the load draws
	working
)

// farLess than the load's: a share of its current from which on a reading says
// something of it. Assumed; what is lost goes with the current.
const farLess = 0.25

// currents looks up what flowed.
type currents struct {
	*cases.Judged
	reads map[*cases.Step]*cases.Read
	flows *cases.Flows
	// parted are the plugs that were left apart, by place.
	parted map[string][]*cases.Temporary
	// points by name, and what flowed by step, as far as somebody asked: few names are
	// written thousands of times, and each reading is asked about by several rules.
	points map[string]point
	flowed map[*cases.Step]flow
}

type point struct{ key, spot string }

type flow struct {
	carried
	how string
}

func currentsOf(c *cases.Judged) *currents {
	out := &currents{Judged: c, reads: readsOf(c), flows: c.Flows(), parted: map[string][]*cases.Temporary{}, points: map[string]point{}, flowed: map[*cases.Step]flow{}}
	for _, t := range c.Temporaries {
		if t.Kind == eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED {
			for _, name := range t.Where {
				at := out.spot(name)
				out.parted[at] = append(out.parted[at], t)
			}
		}
	}
	return out
}

// point is the key of the point.
func (f *currents) point(name string) string { return f.lookUp(name).key }

// spot is a point's key without what people write now one way, now another.
func (f *currents) spot(name string) string { return f.lookUp(name).spot }

func (f *currents) lookUp(name string) point {
	p, met := f.points[name]
	if !met {
		p.key = f.PointKey(name)
		p.spot = strings.Map(func(r rune) rune {
			switch r {
			case '.', '-', '_', '/':
				return ' '
			}
			return r
		}, p.key)
		f.points[name] = p
	}
	return p
}

func conditionsOf(s *cases.Step) *eventv1.Conditions {
	if t := s.Says.GetTest(); t != nil {
		return t.GetConditions()
	}
	return s.Says.GetReading().GetConditions()
}

// siOf is a quantity in volts, amperes or ohms.
func siOf(q *eventv1.Quantity) (float64, bool) {
	if q == nil {
		return 0, false
	}
	v, _, err := notation.Value(q)
	return v, err == nil
}

// none is a current that is read as none, in amperes.
const none = 0.005

// at says what flowed where the step was measured, and how that is known.
func (f *currents) at(s *cases.Step) (carried, string) {
	out, met := f.flowed[s]
	if !met {
		out.carried, out.how = f.flowing(s)
		f.flowed[s] = out
	}
	return out.carried, out.how
}

func (f *currents) flowing(s *cases.Step) (carried, string) {
	con := conditionsOf(s)
	amps, read := siOf(con.GetCurrent())
	if read && max(amps, -amps) < none {
		return undrawn, "no current flowed"
	}
	if !read && len(con.GetLoaded()) == 0 && saysUnloaded(s) {
		return undrawn, "nothing was on it"
	}
	if r := f.reads[s]; r != nil && !r.Told {
		drew, full, told := f.flows.At(r)
		switch {
		case full < none || con.GetKey() == eventv1.KeyPosition_KEY_POSITION_CRANKING:
		case drew < full/100:
			return undrawn, f.apart(s)
		case told && drew < farLess*full:
			return little, fmt.Sprintf("%s flowed where the load draws about %s", ampWords(drew), ampWords(full))
		default:
			return working, ""
		}
	}
	switch {
	case read, len(con.GetLoaded()) > 0, con.GetKey() == eventv1.KeyPosition_KEY_POSITION_CRANKING:
		return working, ""
	case f.unplugged(s):
		return undrawn, f.apart(s)
	case con.GetCommanded() == eventv1.Command_COMMAND_ON && len(con.GetUnplugged()) == 0:
		return working, ""
	}
	return unsaid, ""
}

func ampWords(a float64) string {
	if a < 1 {
		return fmt.Sprintf("%.2g A", a)
	}
	return fmt.Sprintf("%.0f A", a)
}

// apart says why nothing flowed.
func (f *currents) apart(s *cases.Step) string {
	con := conditionsOf(s)
	switch {
	case len(con.GetUnplugged()) > 0:
		return unpluggedWords(con)
	case con.GetCommanded() == eventv1.Command_COMMAND_OFF:
		return "it was not asked to work"
	}
	if t := f.left(s); t != nil {
		return fmt.Sprintf("%s had been unplugged (%s)", t.Where[0], refs(t.On))
	}
	return "the load was not on it"
}

func unpluggedWords(con *eventv1.Conditions) string {
	return fmt.Sprintf("%s %s unplugged", list(con.GetUnplugged()), number(len(con.GetUnplugged()), "was", "were"))
}

// parting is the earlier entry by which nothing was on it, nil when the step says so
// itself.
func (f *currents) parting(s *cases.Step) *cases.Step {
	if t := f.left(s); t != nil && len(conditionsOf(s).GetUnplugged()) == 0 {
		return t.On
	}
	return nil
}

// saysUnloaded reports whether the record says in words that nothing was on it.
func saysUnloaded(s *cases.Step) bool {
	r := s.Says.GetReading()
	text := notation.Key(conditionsOf(s).GetSaid() + " " + r.GetSaid() + " " + s.Says.GetTest().GetSaid())
	return slices.ContainsFunc([]string{"unloaded", "no load", "nothing on it", "nothing loaded", "nothing plugged in", "without load"},
		func(w string) bool { return mentionsKey(text, w) })
}

// unplugged reports whether what was unplugged is the plug that a lead was on:
// 'fan C1' of 'fan C1-2'.
func (f *currents) unplugged(s *cases.Step) bool {
	for _, p := range pointsOf(s) {
		for _, name := range conditionsOf(s).GetUnplugged() {
			if u := f.spot(name); u != "" && (f.spot(p) == u || strings.HasPrefix(f.spot(p), u+" ")) {
				return true
			}
		}
	}
	return f.left(s) != nil
}

// left is a plug that an earlier entry left apart, with a lead of the step on it.
func (f *currents) left(s *cases.Step) *cases.Temporary {
	for _, p := range pointsOf(s) {
		spot := f.spot(p)
		for _, at := range []string{spot, spot[:max(strings.LastIndex(spot, " "), 0)]} {
			for _, t := range f.parted[at] {
				if at != "" && t.On.Job < s.Job && (t.Off == nil || t.Off.Job > s.Job) {
					return t
				}
			}
		}
	}
	return nil
}

func pointsOf(s *cases.Step) []string {
	r := s.Says.GetReading()
	return []string{r.GetRed(), r.GetBlack(), r.GetAt()}
}

// volts of a reading between two points of which neither is a drop; false for
// anything else, and for what no leads were there for.
func volts(s *cases.Step) (float64, bool) {
	r := s.Says.GetReading()
	if r.GetValue() == nil {
		return 0, false
	}
	switch r.GetValue().GetShape() {
	case eventv1.Shape_SHAPE_AC, eventv1.Shape_SHAPE_PEAK, eventv1.Shape_SHAPE_DROP:
		return 0, false
	}
	switch r.GetInstrument().GetKind() {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_SCAN_TOOL, eventv1.InstrumentKind_INSTRUMENT_KIND_GAUGE, eventv1.InstrumentKind_INSTRUMENT_KIND_EYES_AND_HANDS:
		return 0, false
	}
	_, dim, err := notation.Value(r.GetValue())
	if err != nil || dim != notation.Voltage {
		return 0, false
	}
	return siOf(r.GetValue())
}

// supplyOf is the supply of that moment: as read, or the nominal one.
func supplyOf(c *cases.Case, s *cases.Step) float64 {
	if v, ok := siOf(conditionsOf(s).GetSupply()); ok && v > 0 {
		return v
	}
	return c.System()
}

// fullSupply is the share of the supply from which a voltage is the feed's.
const fullSupply = 0.85

// lampLit says of a test lamp whether it was bright, or dark or dim.
func lampLit(s *cases.Step) (lit, dark bool) {
	r := s.Says.GetReading()
	switch r.GetInstrument().GetKind() {
	case eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP, eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER:
	default:
		return false, false
	}
	said := words(notation.Key(r.GetShown()))
	dark = slices.ContainsFunc(said, func(w string) bool {
		return slices.Contains([]string{"dark", "off", "out", "unlit", "nothing", "dim", "weak", "not"}, w)
	})
	lit = !dark && slices.ContainsFunc(said, func(w string) bool { return slices.Contains([]string{"bright", "lit", "lights", "on", "full"}, w) })
	return lit, dark
}

// whereRead names what a reading is about: what it covers, or where its lead was.
func whereRead(f *currents, s *cases.Step) []string {
	if names := coveredNames(s); len(names) > 0 {
		return names
	}
	r := s.Says.GetReading()
	for _, p := range []string{r.GetRed(), r.GetBlack(), r.GetAt()} {
		if key := f.point(p); key != "" && key != "batt+" && key != "batt-" {
			return []string{p}
		}
	}
	return nil
}

// whereWords is whereRead in a sentence.
func whereWords(f *currents, s *cases.Step) string {
	names := slices.Clone(whereRead(f, s))
	if len(coveredNames(s)) > 0 {
		for i := range names {
			names[i] = the(names[i])
		}
	}
	return list(names)
}

// standing are the decisions among those that still stand.
func standing(c *cases.Case, all []*cases.Step) []*cases.Step {
	var out []*cases.Step
	for _, k := range all {
		if !undone(c, k) && !slices.Contains(out, k) {
			out = append(out, k)
		}
	}
	return out
}

// clearing are the decisions that stand and take what a good reading speaks of to
// be good: another part was exchanged, a belief in it is held, the case was handed
// back or closed on it.
func clearing(c *cases.Case, all []*cases.Step) []*cases.Step {
	return slices.DeleteFunc(standing(c, all), func(k *cases.Step) bool {
		b := k
		if set := k.Says.GetBeliefSettled(); set != nil {
			if set.GetHolds() != yes {
				return true
			}
			b = c.ByID(set.GetBelief())
		}
		if b != nil && b.Says.GetBelief() != nil {
			return b.Says.GetBelief().GetClaim().GetOutcome() == fail
		}
		return false
	})
}

// restWords says what rests on something, as a sentence of its own; empty when
// nothing does.
func restWords(on []*cases.Step) string {
	if len(on) == 0 {
		return ""
	}
	return fmt.Sprintf(" %s %s on it.", refs(on...), number(len(on), "rests", "rest"))
}
