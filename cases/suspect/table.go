package suspect

import (
	"strings"
)

// Shares is how often a test tells the untruth: probabilities.
type Shares struct {
	// FalsePass: it passes though it covers a part that is bad in a way it would
	// show. FalsePassMostly: the same, of a part it covers mostly.
	FalsePass, FalsePassMostly float64
	// FalseFail: it fails though nothing is bad.
	FalseFail float64
	// NotNamed: it fails because of something bad that nobody has named.
	NotNamed float64
}

// SightingShares is how often the concern and the fault do not go together:
// probabilities.
type SightingShares struct {
	// WithoutFault: the concern is seen though nothing is bad: it works as designed.
	WithoutFault float64
	// GoneWithFault: the concern is not seen though the fault is there.
	GoneWithFault float64
}

// Manner is how a test gets at the truth.
type Manner int

// The manners, numbered as in the record.
const (
	AnyManner Manner = iota
	Function
	Bypass
	Substitution
	Reseat
	Bench
	Drop
	Continuity
	manners
)

var mannerWords = [manners]string{"a test", "function", "bypass", "substitution", "reseat", "bench", "drop", "continuity"}

func (m Manner) String() string { return mannerWords[m] }

// Kind is a kind of component, told by the words of its name.
type Kind struct {
	// Words of a name, any of which tells it; whole words, without a plural s.
	Words []string
	// Prior probability that one of this kind is what is wrong, before anything is
	// known of it.
	Prior float64
}

// Table holds every number that is a judgement of the trade's and not a
// measurement. Default has its sources; a shop may put its own in.
type Table struct {
	// Kinds are asked in order; a name that none tells has the prior Other.
	Kinds []Kind
	Other float64
	// NotNamed is the prior of something that nobody has named.
	NotNamed float64
	// New, Used and Reconditioned multiply the prior of a part by what was fitted;
	// Repaired of one that was mended; WorkedOn of one in an area where somebody
	// worked before the concern began.
	New, Used, Reconditioned, Repaired, WorkedOn float64
	// Tests by manner, and looking without an instrument.
	Tests [manners]Shares
	Look  Shares
	// WeakPass replaces the share of false passes of a test made while the concern
	// was absent, MaybeWeakPass of one of which nobody says whether the concern was
	// there, where it comes and goes.
	WeakPass, MaybeWeakPass float64
	// Sighting of a steady concern, and of one that comes and goes.
	Steady, Intermittent SightingShares
	// Exchange is the share of exchanges after which the concern went away because
	// what was unplugged on the way made contact again: common practice says to
	// unplug and replug the original first.
	Exchange float64
	// Costs of a test by manner.
	Costs [manners]Cost
}

// Cost of a test.
type Cost struct {
	// Minutes to set up and do.
	Minutes float64
	// Risk in minutes that one would spend to avoid it: something may be broken, or
	// a fault may go away before it is found.
	Risk float64
}

// Default is the table that holds where a shop gave none. Every number in it is
// assumed: no published figure was found that is of this trade, openly licensed
// and by kind of component. The order is common practice: what is plugged, bolted
// or corrodes before what is soldered, what moves before what does not, modules
// last. Judgement.IfPrior says how an answer would change if one were three times
// larger or smaller.
func Default() Table {
	var t Table
	t.Kinds = []Kind{
		{[]string{"ground", "earth", "splice", "connector", "contact", "plug", "socket", "terminal", "pin", "joint", "bolt", "stud", "clamp", "holder", "crimp"}, 0.08}, // assumed
		{[]string{"fuse", "fusible", "link", "breaker"}, 0.04},                                                            // assumed
		{[]string{"relay", "switch", "sender", "sensor", "potentiometer", "thermostat"}, 0.04},                            // assumed
		{[]string{"bulb", "lamp", "motor", "pump", "fan", "alternator", "generator", "battery", "starter", "belt"}, 0.04}, // assumed
		{[]string{"module", "computer", "controller", "ecu", "bcm", "cluster", "regulator", "gauge"}, 0.01},               // assumed
		{[]string{"wire", "wiring", "cable", "feed", "harness", "strap", "lead", "circuit"}, 0.02},                        // assumed
	}
	t.Other = 0.02                                                                     // assumed
	t.NotNamed = 0.02                                                                  // assumed: as much as one lamp or relay
	t.New, t.Used, t.Reconditioned, t.Repaired = 0.5, 1.5, 1, 0.5                      // assumed
	t.WorkedOn = 2.5                                                                   // assumed; 'the last place somebody worked is the first to look' is common practice
	t.WeakPass, t.MaybeWeakPass = 0.7, 0.3                                             // assumed
	t.Steady, t.Intermittent = SightingShares{0.005, 0.03}, SightingShares{0.005, 0.5} // assumed
	t.Exchange = 0.15                                                                  // assumed
	for m := range t.Tests {
		t.Tests[m] = Shares{FalsePass: 0.05, FalsePassMostly: 0.25, FalseFail: 0.015, NotNamed: 0.08} // assumed
		t.Costs[m] = Cost{Minutes: 10, Risk: 1}                                                       // assumed
	}
	t.Tests[Function] = Shares{0.03, 0.25, 0.003, 0.1}     // assumed: much that is not named takes part
	t.Tests[Bench] = Shares{0.03, 0.25, 0.01, 0.01}        // assumed: off the vehicle, little else takes part
	t.Tests[Drop] = Shares{0.03, 0.25, 0.01, 0.01}         // assumed: both leads are on the part
	t.Tests[Continuity] = Shares{0.03, 0.25, 0.02, 0.05}   // assumed
	t.Tests[Bypass] = Shares{0.03, 0.25, 0.01, 0.01}       // assumed: only what is bypassed changed
	t.Tests[Substitution] = Shares{0.03, 0.25, 0.01, 0.01} // assumed
	t.Tests[Reseat] = Shares{0.1, 0.5, 0.05, 0.1}          // assumed: a bad contact need not mend by being unplugged
	t.Look = Shares{0.05, 0.25, 0.1, 0.02}                 // assumed: what looks bad often still works
	t.Costs[Function] = Cost{5, 0}                         // minutes, risk: assumed, all of them
	t.Costs[Bypass] = Cost{10, 3}
	t.Costs[Substitution] = Cost{25, 5}
	t.Costs[Reseat] = Cost{5, 4}
	t.Costs[Bench] = Cost{30, 3}
	t.Costs[Drop] = Cost{8, 1}
	t.Costs[Continuity] = Cost{8, 2}
	return t
}

// Prior of a component by the words of its name; the last word that tells a kind
// counts, since 'fan relay' is a relay.
func (t *Table) Prior(name string) float64 {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return r == ' ' || r == '-' || r == '.' || r == ',' || r == '/'
	})
	for i := len(words) - 1; i >= 0; i-- {
		for _, k := range t.Kinds {
			for _, w := range k.Words {
				if words[i] == w || words[i] == w+"s" {
					return k.Prior
				}
			}
		}
	}
	return t.Other
}
