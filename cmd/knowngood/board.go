package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/notation"
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
	Tested           int             `json:"tested"`
	OnlyBelieved     int             `json:"only_believed"`
	Findings         int             `json:"findings"`
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
	f.Var((*place)(&asOf), "as-of", "with --from: as the case stood at this entry")
	return cmd
}

func runBoard(ctx context.Context, a *app, closed bool) error {
	who, err := a.home.Writer(false)
	if err != nil {
		return err
	}
	conn, off, err := a.catchUp(ctx, who)
	if err != nil {
		return err
	}
	defer conn.Close()
	if off != nil {
		return runBoardKept(a, who, closed, off)
	}
	r, err := conn.Board(ctx, &boardv1.BoardRequest{Closed: closed})
	if err = client.Explain(err); errors.Is(err, client.ErrOffline) {
		return runBoardKept(a, who, closed, err)
	}
	if err != nil {
		return err
	}
	names, err := a.home.HearNames(ctx, conn)
	if err != nil {
		return err
	}
	return a.writeBoard(boardLines(r), names.Of(), who.Shop)
}

// spent is what was spent, and how much of it without a test before.
func spent(c brief.BoardLine) string {
	if len(c.SpentWithoutTest) == 0 {
		return money(c.Spent)
	}
	return money(c.Spent) + ", of it without a test before " + money(c.SpentWithoutTest)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// runBoardKept lists the cases as they were fetched before; off says why not as they
// are now.
func runBoardKept(a *app, who *client.Identity, closed bool, off error) error {
	streams, err := a.home.KeptCases()
	if err != nil {
		return err
	}
	names, err := a.home.Names()
	if err != nil {
		return err
	}
	table, err := a.table()
	if err != nil {
		return err
	}
	var lines []brief.BoardLine
	for _, stream := range streams {
		c, err := a.home.Kept(who, stream)
		if err != nil {
			return err
		}
		if l := brief.Board(c.Case.Judge(table)); c.Case.Head() > 0 && (closed || !l.Closed) {
			lines = append(lines, l)
		}
	}
	// As a server orders them.
	slices.SortStableFunc(lines, func(a, b brief.BoardLine) int {
		waits := func(l brief.BoardLine) int {
			if l.WaitsForShop == who.Shop {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(waits(a), waits(b)), cmp.Compare(b.Opened.GetUnixSeconds(), a.Opened.GetUnixSeconds()), cmp.Compare(a.Stream, b.Stream))
	})
	if who.Joined() {
		a.shownKept(off, "these are the cases as they were fetched before, with what waits here")
	}
	known := names.Of()
	known[who.Shop] = who.ShopName
	return a.writeBoard(lines, known, who.Shop)
}

// runBoardFrom makes the board's line of one case from its entries.
func runBoardFrom(ctx context.Context, a *app, o *askFlags) error {
	c, err := a.look(ctx, o)
	if err != nil {
		return err
	}
	return a.writeBoard([]brief.BoardLine{brief.Board(c.judged())}, c.names, "")
}

// writeBoard lists the lines; you are of the shop.
func (a *app) writeBoard(list []brief.BoardLine, names cases.Names, shop string) error {
	rows := []boardRow{}
	t := client.Table{
		Head: []string{"Case", "Vehicle", "Concern", "Shop", "State", "Waits for", "What is known", "Still on the vehicle", "Spent"},
		None: "No case. 'knowngood open' opens one.",
	}
	for _, c := range list {
		row := boardRow{
			Case: c.Stream, Shop: names.Of(c.Shop), Vehicle: c.Vehicle, VIN: c.VIN, Concern: c.Concern, State: c.State,
			Opened: a.stamp(c.Opened), WaitsFor: c.WaitsFor, WaitsForYou: shop != "" && c.WaitsForShop == shop,
			Tested: c.Tested, OnlyBelieved: c.OnlyBelieved, Findings: c.Findings, Temporary: append([]string{}, c.Temporary...),
			Spent: amounts(c.Spent), SpentWithoutTest: amounts(c.SpentWithoutTest), Entries: c.Entries,
		}
		rows = append(rows, row)
		waits := row.WaitsFor
		switch {
		case row.WaitsForYou:
			waits = "you: " + waits
		case waits != "":
			waits = names.Of(c.WaitsForShop) + ": " + waits
		}
		t.Rows = append(t.Rows, []string{
			notation.ShortID(row.Case), row.Vehicle, row.Concern, row.Shop, row.State, waits,
			fmt.Sprintf("%d tested, %d only believed, %s", row.Tested, row.OnlyBelieved, count(row.Findings, "finding")), strings.Join(row.Temporary, "; "), spent(c),
		})
	}
	return a.show.Write(rows, func() client.Table { return t })
}
