// Package review looks over a case for what somebody ought to look at: a part
// fitted without a test, a belief nobody tested, something temporary left on.
//
// A rule is one file: a slug, one sentence of doctrine, a severity and a check.
// Every rule has a golden scenario under testdata with parts in which it fires
// and parts in which it stays quiet: a rule that cries wolf is a defect. A
// finding is about the record, never about a person, and names no one.
package review

import (
	"cmp"
	"fmt"
	"slices"

	"knowngood.example/cases"
)

// Severity says how soon somebody should look.
type Severity int

const (
	// Note: good to know; nothing depends on it today.
	Note Severity = iota + 1
	// Look: worth a look before the case goes on.
	Look
	// LookNow: what is done next may rest on it.
	LookNow
)

func (s Severity) String() string {
	switch s {
	case Note:
		return "note"
	case Look:
		return "look"
	case LookNow:
		return "look now"
	}
	return fmt.Sprintf("severity %d", int(s))
}

// Finding is something that the review wants somebody to look at.
type Finding struct {
	// Rule is the slug of the rule that found it.
	Rule     string
	Severity Severity
	// Entries are the places in the case that it rests on, ascending.
	Entries []uint64
	// About names the components or points it is about.
	About []string
	// Why is what was found, in plain words, naming entries as #12.
	Why string
	// Clears is what would settle it.
	Clears string
}

// Rule is one habit of the trade held against the record.
type Rule struct {
	Slug string
	// Doctrine is the habit, in one sentence.
	Doctrine string
	Severity Severity
	check    func(*sheet) []Finding
}

// Check finds where the record departs from the doctrine. What is found first in the
// case comes first.
func (r Rule) Check(c *cases.Judged) []Finding { return r.find(sheetOf(c)) }

func (r Rule) find(c *sheet) []Finding {
	found := r.check(c)
	for i := range found {
		found[i].Rule, found[i].Severity = r.Slug, r.Severity
		slices.Sort(found[i].Entries)
		found[i].Entries = slices.Compact(found[i].Entries)
	}
	slices.SortStableFunc(found, func(a, b Finding) int { return slices.Compare(a.Entries, b.Entries) })
	return found
}

// Rules lists every rule, in the order in which findings of one severity are
// shown.
func Rules() []Rule {
	return []Rule{
		evidenceDestroyed(),
		concernNotDuplicated(),
		fittedWithoutTest(),
		fittedNotChecked(),
		newPartTrusted(),
		severalChangesCredited(),
		curedByReseating(),
		beliefUntested(),
		beliefContradicted(),
		toldNotSeen(),
		faultAbsentWhenTested(),
		staleEvidence(),
		meterUnproven(),
		unloadedFeed(),
		dropWithoutCurrent(),
		groundUnproven(),
		floatingReading(),
		readingsDisagree(),
		weakSupplyWhileTesting(),
		moduleBlamedEarly(),
		wrongPart(),
		workedOnThenFailed(),
		causeNotProven(),
		fixNotChecked(),
		temporaryLeft(),
		outsideTheConcern(),
		spendOverApproval(),
	}
}

// Run holds every rule against the case. What should be looked at first comes
// first; the order depends on the case alone.
func Run(c *cases.Judged) []Finding {
	var out []Finding
	on := sheetOf(c)
	for _, r := range Rules() {
		out = append(out, r.find(on)...)
	}
	slices.SortStableFunc(out, func(a, b Finding) int { return cmp.Compare(b.Severity, a.Severity) })
	return out
}
