package proving

import (
	"fmt"
	"slices"
)

// Strategy is how the next reading is chosen.
type Strategy string

// The strategies.
const (
	Own    Strategy = "own"    // what the judgement asks for next
	Half   Strategy = "half"   // what best halves the suspects
	Random Strategy = "random" // any
)

// Strategies in the order of the table.
var Strategies = []Strategy{Own, Half, Random}

// Evidence that a player may gather.
type Evidence string

// The kinds of evidence.
const (
	Readings Evidence = "readings"
	Tests    Evidence = "tests"
	Mixed    Evidence = "mixed"
)

// Settings say which cases are drawn. Two runs with the same settings, seed among
// them, draw the same cases.
type Settings struct {
	Seed uint64 `json:"seed"`
	// Faults is any, none, one or two; any draws a tenth, six tenths, three tenths.
	Faults string `json:"faults"`
	// Kind is any, chain, branches, shared or loops.
	Kind string `json:"kind"`
	// Smallest and Largest number of elements.
	Smallest int `json:"smallest"`
	Largest  int `json:"largest"`
	// Gross is the share of readings that are grossly wrong.
	Gross float64 `json:"gross"`
	// Stray adds a path that nobody drew.
	Stray bool `json:"stray"`
	// Intermittent lets the faults come and go.
	Intermittent bool `json:"intermittent"`
	// Wider is how much wider than stated the parameters are drawn; 1: within what
	// is stated.
	Wider float64 `json:"wider"`
	// Clamp: with each drop the current is read.
	Clamp bool `json:"clamp"`
	// OneCost: every test costs the same, as figures have it that count tests.
	OneCost bool `json:"one_cost,omitempty"`
	// Evidence that is gathered.
	Evidence Evidence `json:"evidence"`
	// Truth is plain or ngspice: who solved it.
	Truth string `json:"truth"`
}

// Cap is how many readings or tests a player makes at most. It was written down
// before the first run.
const Cap = 30

// OnTo is how many tests the player makes at least with the strategy own, stopped
// or not, so that proofs can be counted after as many.
const OnTo = 10

// Clean are the settings of the first row: nothing but what is stated.
func Clean() Settings {
	return Settings{Seed: 1, Faults: "any", Kind: "any", Smallest: 5, Largest: 40, Wider: 1, Evidence: Readings, Truth: "plain"}
}

// Kinds of circuits, and numbers of faults, that settings may ask for.
var (
	Kinds  = []string{"any", "chain", "branches", "shared", "loops"}
	Faults = []string{"any", "none", "one", "two"}
)

// Check says what is wrong with the settings.
func (s *Settings) Check() error {
	switch {
	case !slices.Contains(Faults, s.Faults):
		return fmt.Errorf("faults cannot be %q: there are any, none, one, two", s.Faults)
	case !slices.Contains(Kinds, s.Kind):
		return fmt.Errorf("kind cannot be %q: there are any, chain, branches, shared, loops", s.Kind)
	case s.Evidence != Readings && s.Evidence != Tests && s.Evidence != Mixed:
		return fmt.Errorf("evidence cannot be %q: there are readings, tests, mixed", s.Evidence)
	case s.Truth != "plain" && s.Truth != "ngspice":
		return fmt.Errorf("truth cannot be %q: there are plain, ngspice", s.Truth)
	case s.Smallest < 5 || s.Largest > 40 || s.Smallest > s.Largest:
		return fmt.Errorf("circuits have 5 to 40 elements, not %d to %d", s.Smallest, s.Largest)
	case !(s.Gross >= 0 && s.Gross <= 0.5):
		return fmt.Errorf("the share of gross errors lies from 0 to 0.5, not at %g", s.Gross)
	case !(s.Wider >= 1 && s.Wider <= 3):
		return fmt.Errorf("parameters are drawn 1 to 3 times as wide, not %g", s.Wider)
	}
	return nil
}
