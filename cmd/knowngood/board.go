package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/review"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// boardRow is the stable shape of a case on the board.
type boardRow struct {
	Case             string          `json:"case"`
	Shop             string          `json:"shop"`
	Vehicle          string          `json:"vehicle"`
	VIN              string          `json:"vin"`
	Concern          string          `json:"concern"`
	State            string          `json:"state"`
	Opened           string          `json:"opened"`
	WaitsFor         string          `json:"waits_for"`
	WaitsForYou      bool            `json:"waits_for_you"`
	Tested           uint32          `json:"tested"`
	OnlyBelieved     uint32          `json:"only_believed"`
	Findings         uint32          `json:"findings"`
	Temporary        []string        `json:"temporary"`
	Spent            []client.Amount `json:"spent"`
	SpentWithoutTest []client.Amount `json:"spent_without_test"`
	Entries          uint64          `json:"entries"`
}

func newBoard(a *app) *cobra.Command {
	var from string
	var asOf uint64
	var closed bool
	cmd := &cobra.Command{
		Use: "board", Short: "The cases, those that wait for you first",
		Long: `  knowngood board
  knowngood board --closed                         closed ones too
  knowngood board --from case.jsonl                the one case of an export` + askHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if from != "" {
				return runBoardFrom(cmd.Context(), a, &askFlags{from: from, asOf: asOf})
			}
			if asOf != 0 {
				return usagef("--as-of belongs to one case: use it with --from, or ask 'knowngood brief --as-of %d'", asOf)
			}
			return runBoard(cmd.Context(), a, closed)
		},
	}
	f := cmd.Flags()
	f.BoolVar(&closed, "closed", false, "closed cases too")
	f.StringVar(&from, "from", "", "ask an export instead of the server ('-': standard input); needs no identity")
	f.Uint64Var(&asOf, "as-of", 0, "with --from: as the case stood at this entry")
	return cmd
}

func runBoard(ctx context.Context, a *app, closed bool) error {
	_, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	r, err := conn.Board(ctx, &boardv1.BoardRequest{Closed: closed})
	if err != nil {
		return client.Explain(err)
	}
	names, err := a.home.HearNames(ctx, conn)
	if err != nil {
		return err
	}
	return a.writeBoard(r.GetCases(), names.Of())
}

// runBoardFrom makes the board's line of one case from its entries.
func runBoardFrom(ctx context.Context, a *app, o *askFlags) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	who, shop := c.Waits()
	spend := c.Spend()
	line := &boardv1.BoardCase{
		Stream: c.Stream, Shop: c.OwnerShop, Vehicle: c.VehicleWords(), Vin: c.Vehicle.GetVin(), Concern: c.ConcernWords(),
		WaitsFor: who, WaitsForShop: shop, Tested: uint32(len(c.Tested())), OnlyBelieved: uint32(len(c.Unsettled())),
		Findings: uint32(len(review.Run(c.Case))), Spent: spend.Total().Moneys(), SpentWithoutTest: spend.Parts[cases.NoGround].Moneys(),
		Entries: c.Head(), State: c.Standing(),
	}
	if c.Opening != nil {
		line.Opened = c.Opening.Entry.GetRecorded()
	}
	for _, t := range c.StillOn() {
		line.Temporary = append(line.Temporary, t.What)
	}
	return a.writeBoard([]*boardv1.BoardCase{line}, c.names)
}

func (a *app) writeBoard(list []*boardv1.BoardCase, names cases.Names) error {
	rows := []boardRow{}
	t := client.Table{
		Head: []string{"Case", "Vehicle", "Concern", "Shop", "State", "Waits for", "Tested", "Only believed", "Findings", "Temporary", "Spent", "Of it without a test"},
		None: "No case. 'knowngood open' opens one.",
	}
	for _, c := range list {
		row := boardRow{
			Case: c.GetStream(), Shop: names.Of(c.GetShop()), Vehicle: c.GetVehicle(), VIN: c.GetVin(), Concern: c.GetConcern(), State: c.GetState(),
			Opened: a.stamp(c.GetOpened()), WaitsFor: c.GetWaitsFor(), WaitsForYou: c.GetWaitsForYou(), Tested: c.GetTested(), OnlyBelieved: c.GetOnlyBelieved(),
			Findings: c.GetFindings(), Temporary: append([]string{}, c.GetTemporary()...), Spent: amounts(c.GetSpent()),
			SpentWithoutTest: amounts(c.GetSpentWithoutTest()), Entries: c.GetEntries(),
		}
		rows = append(rows, row)
		waits := row.WaitsFor
		if row.WaitsForYou {
			waits = "you: " + waits
		}
		t.Rows = append(t.Rows, []string{
			notation.ShortID(row.Case), row.Vehicle, row.Concern, row.Shop, row.State, waits, fmt.Sprint(row.Tested), fmt.Sprint(row.OnlyBelieved),
			fmt.Sprint(row.Findings), strings.Join(row.Temporary, "; "), money(c.GetSpent()), money(c.GetSpentWithoutTest()),
		})
	}
	return a.show.Write(rows, func() client.Table { return t })
}
