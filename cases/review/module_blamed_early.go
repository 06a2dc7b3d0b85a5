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
				places, by := tests.around(key, s)
				if len(places) >= enoughAround {
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

// enoughAround a module are so many places tested under load.
const enoughAround = 2

// loadedPlaces are the places of which a test or judged reading that drew current
// speaks, in job order.
type loadedPlaces struct {
	steps []*cases.Step
	names []string
	keys  *glossary
	of    map[*cases.Step][]int
}

func loadedTests(c *cases.Case) *loadedPlaces {
	out := &loadedPlaces{of: map[*cases.Step][]int{}}
	var keys []string
	for _, s := range c.Jobs() {
		if !measured(s) || !loaded(s) {
			continue
		}
		if o := outcome(s); o != pass && o != fail {
			continue
		}
		names := coveredNames(s)
		if r := s.Says.GetReading(); len(names) == 0 {
			names = []string{r.GetRed(), r.GetBlack(), r.GetAt()}
		}
		for _, name := range names {
			if key := c.Key(name); key != "" {
				out.of[s] = append(out.of[s], len(keys))
				out.steps, out.names, keys = append(out.steps, s), append(out.names, name), append(keys, key)
			}
		}
	}
	out.keys = glossaryOf(keys)
	return out
}

// around lists the places around the module that were tested under load before the
// step, up to enough of them, and the entries.
func (l *loadedPlaces) around(module string, before *cases.Step) (places []string, by []*cases.Step) {
	met := map[string]bool{module: true}
	at := l.keys.mentioning(module)
	for _, s := range before.Because {
		at = append(at, l.of[s]...)
	}
	for _, i := range inOrder(at) {
		if key := l.keys.names[i]; l.steps[i].Job < before.Job && !met[key] && len(places) < enoughAround {
			met[key] = true
			places = append(places, l.names[i])
			if !slices.Contains(by, l.steps[i]) {
				by = append(by, l.steps[i])
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
