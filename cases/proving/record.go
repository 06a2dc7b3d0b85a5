package proving

import "math"

// Record is what came of one case.
type Record struct {
	Case     uint64   `json:"case"`
	Strategy Strategy `json:"strategy"`
	// Shape and Size of the circuit, and the state in which the concern is there:
	// asked to work, or not asked to.
	Shape string `json:"shape"`
	Size  int    `json:"size"`
	Asked bool   `json:"asked"`
	// Faults that are truly there, 'wire 3: open', and fuses that they blew.
	Faults []string `json:"faults,omitempty"`
	Blown  []string `json:"blown,omitempty"`
	// Groups of components that the allowed readings can tell apart at all; 0: not
	// worked out.
	Groups int `json:"groups,omitempty"`
	// Tests that were made until it stopped, and Minutes that they cost.
	Tests   int     `json:"tests"`
	Minutes float64 `json:"minutes"`
	// Stop says why it stopped: found, nothing tells, cap, or broken and why.
	Stop string `json:"stop"`
	// Top is what was found, or else what was likeliest.
	Top         string  `json:"top"`
	Probability float64 `json:"probability"`
	// Right: it is so.
	Right bool `json:"right"`
	// Narrowed: a test on the likeliest alone failed as well.
	Narrowed bool `json:"narrowed"`
	// Sound ways of being bad, and how many of them were proven when it stopped, and
	// after OnTo tests; -1: it never came to so many.
	Sound      int `json:"sound"`
	Proven     int `json:"proven"`
	ProvenOnTo int `json:"proven_on_to"`
	// Wrong are proofs of what is truly there: 'step 4: wire 3: open'. There must be
	// none.
	Wrong []string `json:"wrong,omitempty"`
	// Outside are readings whose true value lies outside what the judgement says can
	// be under what is truly there: 'step 4: p3 to batt-: 1.2, 0 to 0.9'.
	Outside []string `json:"outside,omitempty"`
	// Readings that were taken, those on to OnTo tests included.
	Readings int `json:"readings"`
	// Suspended is after how many readings the proofs were suspended, Gross how many
	// were grossly wrong, Absent how many were taken while the fault was not there.
	Suspended int `json:"suspended,omitempty"`
	Gross     int `json:"gross,omitempty"`
	Absent    int `json:"absent,omitempty"`
	// First and Each are the calibration of the likeliest, and of all suspects, over
	// all steps until it stopped.
	First Calibration `json:"first"`
	Each  Calibration `json:"each"`
	// Steps are the readings, to follow a case by eye; only where they are asked for.
	Steps []string `json:"steps,omitempty"`
}

// bins of probability in a calibration.
const bins = 10

// Calibration counts, by tenths of probability, how often something was said, with
// what probability on average, and how often it was so.
type Calibration struct {
	Said [bins]int     `json:"n"`
	Sum  [bins]float64 `json:"p"`
	True [bins]int     `json:"true"`
}

func (c *Calibration) count(p float64, is bool) {
	k := min(int(p*bins), bins-1)
	c.Said[k]++
	c.Sum[k] += p
	if is {
		c.True[k]++
	}
}

// rounded leaves the digits that are the same on every machine.
func (c *Calibration) rounded() {
	for k := range c.Sum {
		c.Sum[k] = round(c.Sum[k], 1e3)
	}
}

func round(v, per float64) float64 { return math.Round(v*per) / per }
