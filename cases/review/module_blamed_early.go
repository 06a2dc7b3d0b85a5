package review

import (
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// What is a module is taken from the record's own words: codes were read from it
// or cleared in it, or its name says so. Its feeds, grounds and inputs are known
// only by name here: a test of something whose name holds the module's, or a
// reading with a lead on one of its points, or whatever the one who blames it
// names as the reason. Two such places tested under load before it was condemned
// will do.
func moduleBlamedEarly() Rule {
	return Rule{
		Slug:     "module-blamed-early",
		Doctrine: "A module is blamed last: first its feeds, grounds and inputs are loaded and tested.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			var out []Finding
			said := map[string]bool{}
			tests, asked := loadedTests(c.Case), askedForCodes(c.Case)
			for _, s := range c.Jobs() {
				name := condemned(c.Case, s)
				key := c.Key(name)
				if key == "" || said[key] || !isModule(key) && !asked[key] {
					continue
				}
				places, by := testedAround(tests, key, s)
				if len(places) >= 2 {
					continue
				}
				said[key] = true
				had := "No reading or test of its feeds, grounds or inputs under load is recorded before."
				if len(by) > 0 {
					had = fmt.Sprintf("Of its feeds, grounds and inputs only %s was tested under load before (%s).", list(places), refs(by...))
				}
				out = append(out, Finding{
					Entries: seqs(append(by, s)...), About: []string{name},
					Why:    fmt.Sprintf("%s is taken to be at fault in %s. %s", upper(the(name)), refs(s), had),
					Clears: fmt.Sprintf("Measure the feeds and grounds at the plug of %s with current drawn through them, and its inputs, before it is blamed.", the(name)),
				})
			}
			return out
		},
	}
}

// condemned is the component that the step takes to be at fault; empty when it
// blames none.
func condemned(c *cases.Case, s *cases.Step) string {
	switch k := s.Says.GetKind().(type) {
	case *eventv1.Event_PartFitted:
		f := c.FittingOf(s)
		if f == nil || reasoned(f) || f.PutBack != nil || k.PartFitted.GetState() == eventv1.PartState_PART_STATE_ORIGINAL || trialInHand(c, f) {
			return ""
		}
		return f.Component.Name
	case *eventv1.Event_Belief:
		b := c.BeliefOf(s)
		if b == nil || b.About == nil || k.Belief.GetClaim().GetOutcome() != fail || b.Holds == no {
			return ""
		}
		return b.About.Name
	case *eventv1.Event_HandedBack:
		return k.HandedBack.GetCause()
	}
	return ""
}

// isModule goes by the name.
func isModule(key string) bool {
	all := words(key)
	return !slices.ContainsFunc(all, partOfOne) && (slices.ContainsFunc(all, namesModule) || mentionsKey(key, "control unit"))
}

// askedForCodes holds the keys of what codes were read from or cleared in.
func askedForCodes(c *cases.Case) map[string]bool {
	out := map[string]bool{}
	for _, s := range c.Codes {
		out[c.Key(s.Says.GetCodesRead().GetModule())] = true
	}
	for _, s := range c.Destroyed {
		out[c.Key(destroyedModule(s))] = true
	}
	return out
}

func words(key string) []string {
	return strings.FieldsFunc(key, func(r rune) bool { return !wordRune(r) })
}

func namesModule(word string) bool {
	switch word {
	case "module", "ecu", "ecm", "pcm", "bcm", "tcm":
		return true
	}
	return false
}

// partOfOne: a name with one of these words means what belongs to a module, not
// the module.
func partOfOne(word string) bool {
	switch word {
	case "feed", "ground", "earth", "supply", "power", "wire", "wiring", "harness", "plug", "connector", "contact", "pin",
		"fuse", "relay", "input", "output", "splice", "socket", "bracket", "bolt", "seal", "terminal", "strap", "cable":
		return true
	}
	return false
}

// loadedTest is a test or judged reading that drew current, and the places it
// speaks of.
type loadedTest struct {
	step        *cases.Step
	names, keys []string
}

func loadedTests(c *cases.Case) []loadedTest {
	var out []loadedTest
	for _, s := range c.Jobs() {
		if !measured(s) || !loaded(s) {
			continue
		}
		if o := outcome(s); o != pass && o != fail {
			continue
		}
		t := loadedTest{step: s, names: coveredNames(s)}
		if r := s.Says.GetReading(); len(t.names) == 0 {
			t.names = []string{r.GetRed(), r.GetBlack(), r.GetAt()}
		}
		for _, name := range t.names {
			t.keys = append(t.keys, c.Key(name))
		}
		out = append(out, t)
	}
	return out
}

// testedAround lists the places around the module that were tested under load
// before the step, and the entries.
func testedAround(tests []loadedTest, module string, before *cases.Step) (places []string, by []*cases.Step) {
	met := map[string]bool{"": true, module: true}
	for _, t := range tests {
		if t.step.Job >= before.Job {
			break
		}
		reason := slices.Contains(before.Because, t.step)
		for i, key := range t.keys {
			if met[key] || !reason && !mentionsKey(key, module) {
				continue
			}
			met[key] = true
			places = append(places, t.names[i])
			if !slices.Contains(by, t.step) {
				by = append(by, t.step)
			}
		}
	}
	return places, by
}

// loaded reports whether current flowed while it was measured, as far as the
// record says.
func loaded(s *cases.Step) bool {
	r, t := s.Says.GetReading(), s.Says.GetTest()
	con, kind := r.GetConditions(), r.GetInstrument().GetKind()
	if t != nil {
		con, kind = t.GetConditions(), t.GetInstrument().GetKind()
	}
	switch t.GetManner() {
	case eventv1.TestManner_TEST_MANNER_FUNCTION, eventv1.TestManner_TEST_MANNER_DROP:
		return true
	}
	return r.GetValue().GetShape() == eventv1.Shape_SHAPE_DROP || len(con.GetLoaded()) > 0 || con.GetCurrent() != nil ||
		con.GetCommanded() == eventv1.Command_COMMAND_ON || kind == eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP
}
