package main

import (
	"cmp"
	"context"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/notation"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

func newPeople(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "people", Short: "List who is there, their devices, and the join codes that are open",
		Long: `  knowngood people
  knowngood people -o csv

Of your shop, and of the shops that you share a case with. Join codes are shown to an
owner; a code itself is kept nowhere, so it is listed by an id. 'knowngood withdraw'
ends what is listed here.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runPeople(cmd.Context(), a) },
	}
}

// peopleRow is the stable shape of a person, a device or a join code.
type peopleRow struct {
	What string `json:"what"`
	ID   string `json:"id"`
	// Name of the person; of whose device it is; of who asked for the code.
	Name    string `json:"name"`
	Shop    string `json:"shop"`
	Role    string `json:"role"`
	State   string `json:"state"`
	Case    string `json:"case"`
	Expires string `json:"expires"`
}

func runPeople(ctx context.Context, a *app) error {
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	r, err := conn.People(ctx, &boardv1.PeopleRequest{})
	if err != nil {
		return client.Explain(err)
	}
	rows := a.peopleRows(who, r)
	return a.show.Write(rows, func() client.Table {
		t := client.Table{Head: []string{"What", "Name", "Shop", "Role", "State", "Id"}}
		for _, row := range rows {
			what := row.What
			if what == "device" {
				what = "  " + what
			}
			if row.Case != "" {
				row.Role += ", case " + notation.ShortID(row.Case)
			}
			t.Rows = append(t.Rows, []string{what, row.Name, row.Shop, row.Role, row.State, notation.ShortID(row.ID)})
		}
		return t
	})
}

// peopleRows are people, each with their devices behind them, those of one's own shop
// first; then codes.
func (a *app) peopleRows(who *client.Identity, r *boardv1.PeopleResponse) []peopleRow {
	shops, names := map[string]string{}, map[string]string{}
	for _, s := range r.GetShops() {
		shops[s.GetShop()] = s.GetName()
	}
	rows := []peopleRow{}
	for _, own := range []bool{true, false} {
		for _, p := range r.GetPeople() {
			if (p.GetShop() == who.Shop) != own {
				continue
			}
			names[p.GetPerson()] = p.GetName()
			row := peopleRow{What: "person", ID: p.GetPerson(), Name: p.GetName(), Shop: shops[p.GetShop()], Role: notation.Word(p.GetRole()), State: "works there"}
			if p.GetLeft() {
				row.State = "withdrawn"
			}
			rows = append(rows, row)
			for _, d := range r.GetDevices() {
				if d.GetPerson() == p.GetPerson() {
					rows = append(rows, peopleRow{What: "device", ID: d.GetDevice(), Name: p.GetName(), Shop: shops[p.GetShop()], State: a.deviceState(who, d)})
				}
			}
		}
	}
	for _, c := range r.GetCodes() {
		rows = append(rows, peopleRow{
			What: "join code", ID: c.GetId(), Name: cmp.Or(names[c.GetBy()], "the server"), Shop: shops[who.Shop], Role: notation.Word(c.GetRole()),
			State: "open until " + a.stamp(c.GetExpires()), Case: c.GetCase(), Expires: a.stamp(c.GetExpires()),
		})
	}
	return rows
}

func (a *app) deviceState(who *client.Identity, d *boardv1.DeviceKey) string {
	var says []string
	switch {
	case d.GetWithdrawn():
		says = append(says, "withdrawn")
	case d.GetDevice() == who.Device:
		says = append(says, "this one")
	default:
		says = append(says, "in use")
	}
	if d.GetHeldByServer() && d.GetPerson() != "" {
		says = append(says, "a tablet; the server holds its key")
	}
	if d.GetTwice() != nil {
		says = append(says, "its key wrote in two places ("+a.stamp(d.GetTwice())+")")
	}
	return strings.Join(says, ", ")
}
