package brief

import (
	"knowngood.example/cases"
	"knowngood.example/cases/review"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// BoardLine is a case at a glance, as the board lists it.
type BoardLine struct {
	Stream, Shop                 string
	Vehicle, VIN, Concern, State string
	// Opened is when it was opened, or recorded when nobody said.
	Opened *eventv1.Moment
	// WaitsFor and WaitsForShop say what it waits for and which shop must act.
	WaitsFor, WaitsForShop string
	// Tested components, beliefs that nothing settled, findings of the review.
	Tested, OnlyBelieved, Findings int
	// Temporary lists what is still on.
	Temporary []string
	// Spent in all, and on parts without a test before them, by currency.
	Spent, SpentWithoutTest []*eventv1.Money
	Entries                 uint64
	Closed                  bool
	// Invented for demonstration, as its opening says.
	Invented bool
}

// Board makes the case's line of the board.
func Board(c *cases.Judged) BoardLine {
	spend := c.Spend()
	out := BoardLine{
		Stream: c.Stream, Shop: c.OwnerShop, Vehicle: c.VehicleWords(), VIN: c.Vehicle.GetVin(), Concern: c.ConcernWords(), State: c.Standing(),
		Tested: len(c.Tested()), OnlyBelieved: len(c.Unsettled()), Findings: len(review.Run(c)),
		Spent: spend.Total().Moneys(), SpentWithoutTest: spend.Guessed.Moneys(), Entries: c.Head(), Closed: c.Closed != nil,
	}
	out.WaitsFor, out.WaitsForShop = c.Waits()
	if c.Opening != nil {
		out.Invented = c.Opening.Says.GetCaseOpened().GetInvented()
		out.Opened = c.Opening.Entry.GetRecorded()
		if m := c.Opening.Happened(); m.GetUnixSeconds() != 0 {
			out.Opened = m
		}
	}
	for _, t := range c.StillOn() {
		out.Temporary = append(out.Temporary, t.What)
	}
	return out
}
