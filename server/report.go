package server

import (
	"cmp"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/review"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// What is derived is a plain Go value; here it becomes what goes over the wire,
// and nowhere else.

func newLine(c *cases.Case) line {
	spend := c.Spend()
	out := &boardv1.BoardCase{
		Stream: c.Stream, Shop: c.OwnerShop, Vehicle: c.VehicleWords(), Vin: c.Vehicle.GetVin(), Concern: c.ConcernWords(),
		Tested: uint32(len(c.Tested())), OnlyBelieved: uint32(len(c.Unsettled())), Findings: uint32(len(review.Run(c))),
		SpentWithoutTest: spend.Parts[cases.NoGround].Moneys(), Spent: spend.Total().Moneys(), Entries: c.Head(), State: c.Standing(),
	}
	out.WaitsFor, out.WaitsForShop = c.Waits()
	if c.Opening != nil {
		out.Opened = c.Opening.Entry.GetRecorded()
		if m := c.Opening.Happened(); m.GetUnixSeconds() != 0 {
			out.Opened = m
		}
	}
	for _, t := range c.StillOn() {
		out.Temporary = append(out.Temporary, t.What)
	}
	return line{head: c.Head(), closed: c.Closed != nil, says: out}
}

// boardCase is the line as one shop sees it.
func boardCase(l line, shop string) *boardv1.BoardCase {
	out := &boardv1.BoardCase{
		Stream: l.says.Stream, Shop: l.says.Shop, Vehicle: l.says.Vehicle, Vin: l.says.Vin, Concern: l.says.Concern, Opened: l.says.Opened,
		WaitsFor: l.says.WaitsFor, WaitsForShop: l.says.WaitsForShop, WaitsForYou: l.says.WaitsForShop == shop,
		Tested: l.says.Tested, OnlyBelieved: l.says.OnlyBelieved, Findings: l.says.Findings, Temporary: l.says.Temporary,
		SpentWithoutTest: l.says.SpentWithoutTest, Spent: l.says.Spent, Entries: l.says.Entries, State: l.says.State,
	}
	return out
}

// boardOrder puts what waits for the caller first, then what was opened last.
func boardOrder(a, b *boardv1.BoardCase) int {
	if a.GetWaitsForYou() != b.GetWaitsForYou() {
		if a.GetWaitsForYou() {
			return -1
		}
		return 1
	}
	return cmp.Or(cmp.Compare(b.GetOpened().GetUnixSeconds(), a.GetOpened().GetUnixSeconds()), cmp.Compare(a.GetStream(), b.GetStream()))
}

func timelineRow(r cases.Row) *boardv1.TimelineRow {
	s := r.Step
	text := r.Text
	if r.Now != "" {
		text += "; now: " + r.Now
	}
	return &boardv1.TimelineRow{
		Seq: s.Seq, Id: s.ID, Kind: s.KindWords(), By: s.By, RecordedBy: s.RecordedBy, Shop: s.Shop,
		Happened: s.Happened(), Recorded: s.Entry.GetRecorded(), Text: text, Marks: r.Marks, Job: uint64(s.Job),
	}
}

func finding(f review.Finding) *boardv1.Finding {
	return &boardv1.Finding{Rule: f.Rule, Severity: f.Severity.String(), Entries: f.Entries, Why: f.Why, Clears: f.Clears, About: f.About}
}

func document(d *brief.Document) *boardv1.BriefResponse {
	out := &boardv1.BriefResponse{Title: d.Title, Cautions: d.Cautions}
	for _, s := range d.Sections {
		section := &boardv1.Section{Title: s.Title, None: s.None}
		for _, l := range s.Lines {
			section.Lines = append(section.Lines, &boardv1.Line{Text: l.Text, Entries: l.Entries, Mark: l.Mark})
		}
		out.Sections = append(out.Sections, section)
	}
	return out
}
