package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// spendRow is the stable shape of something that cost money or time.
type spendRow struct {
	Seq     uint64          `json:"seq"`
	What    string          `json:"what"`
	Grade   string          `json:"grade"`
	Reason  string          `json:"reason"`
	Why     string          `json:"why"`
	Minutes uint32          `json:"minutes"`
	Cost    []client.Amount `json:"cost"`
}

func newSpend(a *app) *cobra.Command {
	o := new(askFlags)
	cmd := &cobra.Command{
		Use: "spend", Short: "What was spent, and how much of it on parts without a test behind them",
		Long: `  knowngood spend
  knowngood spend -o csv > spend.csv

Each part stands with the grade of what the evidence said of it at the moment it was
fitted, in job order: narrowed to, pointed to, no evidence, against the evidence.
Corrections made afterwards do not change it.` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSpend(cmd.Context(), a, o) },
	}
	o.add(cmd.Flags())
	return cmd
}

func runSpend(ctx context.Context, a *app, o *askFlags) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	rows := []spendRow{}
	t := client.Table{Head: []string{"#", "What", "Fitted on", "Other reason", "Why, as said", "Time", "Cost"}, None: "Nothing was spent."}
	add := func(r spendRow, cost *eventv1.Money) {
		var ms []*eventv1.Money
		if cost != nil {
			ms = append(ms, cost)
		}
		r.Cost = amounts(ms)
		rows = append(rows, r)
		minutes := ""
		if r.Minutes > 0 {
			minutes = fmt.Sprintf("%d min", r.Minutes)
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("#%d", r.Seq), r.What, r.Grade, r.Reason, r.Why, minutes, money(ms)})
	}
	j := c.judged()
	for _, f := range c.Fittings {
		why := f.Part.GetWhySaid()
		if why == "" && f.Part.GetWhy() != 0 {
			why = notation.Word(f.Part.GetWhy())
		}
		add(spendRow{Seq: f.Step.Seq, What: f.Component.Name, Grade: j.Graded(f).Grade.String(), Reason: f.Reason(), Why: why}, f.Part.GetCost())
	}
	for _, r := range c.Repairs {
		add(spendRow{Seq: r.Step.Seq, What: "repair: " + r.Says.GetComponent(), Why: r.Says.GetWhat()}, r.Says.GetCost())
	}
	for _, s := range c.Time {
		spent := s.Says.GetTimeSpent()
		add(spendRow{Seq: s.Seq, What: "time", Why: spent.GetWhat(), Minutes: spent.GetMinutes()}, spent.GetCharge())
	}
	if a.show.Format != "table" {
		return a.show.Write(rows, nil)
	}
	if err := t.Write(a.out, a.show.Style); err != nil {
		return err
	}
	spend := j.Spend()
	for _, line := range []struct {
		what string
		sum  cases.Purse
	}{
		{"parts narrowed to", spend.Parts[cases.NarrowedTo]},
		{"parts pointed to", spend.Parts[cases.PointedTo]},
		{"parts without evidence", spend.Parts[cases.NoEvidence]},
		{"parts against the evidence", spend.Parts[cases.AgainstEvidence]},
		{"of that with no other reason", spend.Guessed},
		{"repairs", spend.Repairs},
		{"time", spend.Time},
		{"all", spend.Total()},
		{"approved", spend.Approved},
	} {
		if ms := line.sum.Moneys(); len(ms) > 0 {
			fmt.Fprintf(a.out, "%s: %s\n", line.what, money(ms))
		}
	}
	return nil
}
