package suspect

import (
	"fmt"
	"slices"
	"strings"
)

// Shares is how often a test tells the untruth: probabilities.
type Shares struct {
	// FalsePass: it passes though it covers a part that is bad in a way it would
	// show. FalsePassMostly: the same, of a part it covers mostly.
	FalsePass       float64 `json:"false_pass"`
	FalsePassMostly float64 `json:"false_pass_mostly"`
	// FalseFail: it fails though nothing is bad.
	FalseFail float64 `json:"false_fail"`
	// NotNamed: it fails because of something bad that nobody has named.
	NotNamed float64 `json:"not_named"`
}

// SightingShares is how often the concern and the fault do not go together:
// probabilities.
type SightingShares struct {
	// WithoutFault: the concern is seen though nothing is bad: it works as designed.
	WithoutFault float64 `json:"without_fault"`
	// GoneWithFault: the concern is not seen though the fault is there.
	GoneWithFault float64 `json:"gone_with_fault"`
}

// Manner is how a test gets at the truth.
type Manner int

// The manners, all but the last numbered as in the record.
const (
	AnyManner Manner = iota
	Function
	Bypass
	Substitution
	Reseat
	Bench
	Drop
	Continuity
	// Look: no instrument.
	Look
	// Volts: a voltage between two points that are drawn.
	Volts
	// Amps: the current through something that is drawn, by a clamp.
	Amps
	// Ohms: ohms between two points that are drawn, what feeds them taken out.
	Ohms
	// Unplugged: a voltage on the harness side of something that is unplugged.
	Unplugged
	// TestLamp: the same with a filament test lamp on the wire, from there to a post.
	TestLamp
	// OhmsUnplugged: ohms with something unplugged, so that nothing lies beside.
	OhmsUnplugged
	manners
)

// PlugsOff are the manners for which something is unplugged.
var PlugsOff = []Manner{Unplugged, TestLamp, OhmsUnplugged}

// PlugOff reports whether something is unplugged for it.
func (m Manner) PlugOff() bool { return slices.Contains(PlugsOff, m) }

var mannerWords = [manners]string{"any", "function", "bypass", "substitution", "reseat", "bench", "drop", "continuity", "look", "volts", "amps", "ohms", "unplugged", "lamp", "ohms-unplugged"}

func (m Manner) String() string { return mannerWords[m] }

// MarshalText implements encoding.TextMarshaler: the word.
func (m Manner) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText implements encoding.TextUnmarshaler.
func (m *Manner) UnmarshalText(b []byte) error {
	for i, w := range mannerWords {
		if w == string(b) {
			*m = Manner(i)
			return nil
		}
	}
	return fmt.Errorf("%q is no manner of testing; there are %s", b, strings.Join(mannerWords[:], ", "))
}

// Kind is a kind of component, told by the words of its name.
type Kind struct {
	// Words of a name, any of which tells it; whole words, without a plural s.
	Words []string `json:"words"`
	// Prior odds that one of this kind is bad, before anything is known of it.
	Prior float64 `json:"prior"`
	// Tests that the trade has for it.
	Tests []Manner `json:"tests"`
}

// Cost of a test.
type Cost struct {
	// Minutes to set up and do.
	Minutes float64 `json:"minutes"`
	// Risk in minutes that one would spend to avoid it: something may be broken, or
	// a fault may go away before it is found.
	Risk float64 `json:"risk"`
}

// Table holds every number that is a judgement of the trade's and not a
// measurement. Default has its sources; a shop may put its own in.
type Table struct {
	// Kinds are asked in order; Other is of a name that none of them tells.
	Kinds []Kind `json:"kinds"`
	Other Kind   `json:"other"`
	// NotNamed is the prior of something that nobody has named.
	NotNamed float64 `json:"not_named"`
	// NotAsDrawn is the prior of a drawing that is wrong where it matters.
	NotAsDrawn float64 `json:"not_as_drawn"`
	// New, Used and Reconditioned multiply the prior of a part by what was fitted;
	// Repaired of one that was mended; WorkedOn of one in an area where somebody
	// worked before the concern began.
	New           float64 `json:"new"`
	Used          float64 `json:"used"`
	Reconditioned float64 `json:"reconditioned"`
	Repaired      float64 `json:"repaired"`
	WorkedOn      float64 `json:"worked_on"`
	// Tests tell the untruth so often, and Costs are what they cost, by manner.
	Tests map[Manner]Shares `json:"tests"`
	Costs map[Manner]Cost   `json:"costs"`
	// WeakPass replaces the share of false passes of a test made while the concern
	// was absent, MaybeWeakPass of one of which nobody says whether the concern was
	// there, where it comes and goes.
	WeakPass      float64 `json:"weak_pass"`
	MaybeWeakPass float64 `json:"maybe_weak_pass"`
	// Sightings of a steady concern, and of one that comes and goes.
	Steady       SightingShares `json:"steady"`
	Intermittent SightingShares `json:"intermittent"`
	// Exchange is the share of exchanges after which the concern went away because
	// what was unplugged on the way made contact again: common practice says to
	// unplug and replug the original first.
	Exchange float64 `json:"exchange"`
}

// Default is the table that holds where a shop gave none. Every number in it is
// assumed: no published figure was found that is of this trade, openly licensed
// and by kind of component. The order is common practice: what is plugged, bolted
// or corrodes before what is soldered, what moves before what does not, modules
// last. IfPrior says how an answer would change if one were three times larger or
// smaller.
func Default() Table {
	return Table{
		Kinds: []Kind{ // priors: assumed; tests: common practice
			{[]string{"ground", "earth", "splice", "connector", "contact", "plug", "socket", "terminal", "pin", "joint", "bolt", "stud", "clamp", "holder", "crimp"},
				0.08, []Manner{Drop, Bypass, Look, Reseat, Continuity}},
			{[]string{"fuse", "fusible", "link", "breaker"}, 0.04, []Manner{Drop, Look, Continuity, Bypass}},
			{[]string{"relay", "switch", "sender", "sensor", "potentiometer", "thermostat"}, 0.04, []Manner{Function, Bypass, Bench, Reseat, Substitution}},
			{[]string{"bulb", "lamp", "motor", "pump", "fan", "alternator", "generator", "battery", "starter", "belt"},
				0.04, []Manner{Function, Bench, Substitution, Look}},
			{[]string{"module", "computer", "controller", "ecu", "bcm", "cluster", "regulator", "gauge"}, 0.01, []Manner{Function, Reseat, Substitution}},
			{[]string{"wire", "wiring", "cable", "feed", "harness", "strap", "lead", "circuit"}, 0.02, []Manner{Drop, Bypass, Look, Continuity}},
		},
		Other:      Kind{Prior: 0.02, Tests: []Manner{Function, Drop, Bench, Bypass, Substitution, Look}}, // assumed
		NotNamed:   0.04,                                                                                  // assumed: as much as one lamp or relay
		NotAsDrawn: 0.005,                                                                                 // assumed: a diagram is of another model year, or traced wrongly
		New:        0.5, Used: 1.5, Reconditioned: 1, Repaired: 0.5,                                       // assumed
		WorkedOn: 2.5,                     // assumed; 'the last place somebody worked is the first to look' is common practice
		WeakPass: 0.7, MaybeWeakPass: 0.3, // assumed
		Steady: SightingShares{0.005, 0.03}, Intermittent: SightingShares{0.005, 0.5}, // assumed
		Exchange: 0.15, // assumed
		Tests: map[Manner]Shares{ // false pass, of what it mostly covers, false failure, something not named: assumed
			AnyManner:    {0.05, 0.25, 0.015, 0.08},
			Function:     {0.03, 0.25, 0.003, 0.1}, // much that is not named takes part
			Bench:        {0.03, 0.25, 0.01, 0.01}, // off the vehicle, little else takes part
			Drop:         {0.03, 0.25, 0.01, 0.01}, // both leads are on the part
			Continuity:   {0.03, 0.25, 0.02, 0.05},
			Bypass:       {0.03, 0.25, 0.01, 0.01}, // only what is bypassed changed
			Substitution: {0.03, 0.25, 0.01, 0.01},
			Reseat:       {0.1, 0.5, 0.05, 0.1}, // a bad contact need not mend by being unplugged
			Look:         {0.6, 0.6, 0.1, 0.02}, // much that is bad does not show, and what looks bad often still works
		},
		Costs: map[Manner]Cost{ // minutes, risk: assumed
			AnyManner: {10, 1}, Function: {5, 0}, Bypass: {10, 3}, Substitution: {25, 5}, Reseat: {5, 4},
			Bench: {30, 3}, Drop: {8, 1}, Continuity: {8, 2}, Look: {5, 0}, Volts: {5, 0.5}, Amps: {6, 0.5}, Ohms: {8, 1},
			// The plug off and on again counted in, as for Reseat: the risk is that it cures
			// what is sought before it is found, or that a pin is bent.
			Unplugged: {8, 4}, TestLamp: {9, 4.5}, OhmsUnplugged: {11, 5},
		},
	}
}

// Kind of a component by the words of its name; the last word that tells one
// counts, since 'fan relay' is a relay.
func (t *Table) Kind(name string) Kind {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return r == ' ' || r == '-' || r == '.' || r == ',' || r == '/'
	})
	for _, word := range slices.Backward(words) {
		for _, k := range t.Kinds {
			for _, w := range k.Words {
				if word == w || word == w+"s" {
					return k
				}
			}
		}
	}
	return t.Other
}
