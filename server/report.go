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

// boardCase is the line as one shop sees it.
func boardCase(l brief.BoardLine, shop string) *boardv1.BoardCase {
	return &boardv1.BoardCase{
		Stream: l.Stream, Shop: l.Shop, Vehicle: l.Vehicle, Vin: l.VIN, Concern: l.Concern, State: l.State, Opened: l.Opened,
		WaitsFor: l.WaitsFor, WaitsForShop: l.WaitsForShop, WaitsForYou: l.WaitsForShop != "" && l.WaitsForShop == shop,
		Tested: uint32(l.Tested), OnlyBelieved: uint32(l.OnlyBelieved), Findings: uint32(l.Findings), Temporary: l.Temporary,
		SpentWithoutTest: l.SpentWithoutTest, Spent: l.Spent, Entries: l.Entries, Invented: l.Invented,
	}
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
