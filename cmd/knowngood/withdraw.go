package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/join"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

type withdrawFlags struct {
	entryFlags
	why     string
	reading bool
}

func newWithdraw(a *app) *cobra.Command {
	o := new(withdrawFlags)
	cmd := &cobra.Command{
		Use: "withdraw WHO", Short: "End a person's part in your shop, a device, a join code, or access to a case",
		Long: `  knowngood withdraw Timo --why 'left the shop'
  knowngood withdraw 4f9a2c --why 'tablet lost'    a device, by the end of its id
  knowngood withdraw K3QX-09ZM-7HTA                a join code that nobody used yet
  knowngood withdraw 'Lantern Lane Diagnostics' --case 7b01ce

It holds at once: what is withdrawn is told nothing more and may write nothing more,
not even what was recorded before and still waits to be sent: that stays in their own
folder, where nothing of it is lost. What they wrote before stays as it is. What they
were told before cannot be called back.

With --case, the access of a shop, or of one person, to that case ends;
--leave-reading ends only writing. 'knowngood people' lists what there is.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("case") {
				return runWithdrawAccess(cmd.Context(), a, o, args[0])
			}
			if o.reading {
				return usagef("--leave-reading goes with --case")
			}
			return runWithdraw(cmd.Context(), a, o, args[0])
		},
	}
	o.add(cmd.Flags())
	cmd.Flags().StringVar(&o.why, "why", "", "why: kept in your shop's register, with --case as a note")
	cmd.Flags().BoolVar(&o.reading, "leave-reading", false, "with --case: they may go on reading")
	return cmd
}

// withdrawnRow is the stable shape of what was withdrawn.
type withdrawnRow struct {
	What string `json:"what"`
	ID   string `json:"id"`
	Name string `json:"name"`
}

func runWithdraw(ctx context.Context, a *app, o *withdrawFlags, said string) error {
	who, conn, err := a.home.Connect()
	if err != nil {
		return err
	}
	defer conn.Close()
	r, err := conn.People(ctx, &boardv1.PeopleRequest{})
	if err != nil {
		return client.Explain(err)
	}
	row, err := withdrawable(a.peopleRows(who, r), who.ShopName, said)
	if err != nil {
		return err
	}
	if row.What != "join code" && !o.yes {
		if !a.sure(fmt.Sprintf("Withdraw the %s %s (%s) of %s? It holds at once.", row.What, row.Name, row.ID, who.ShopName)) {
			return usage{errors.New("not done: say --yes")}
		}
	}
	switch row.What {
	case "person":
		_, err = conn.WithdrawPerson(ctx, &boardv1.WithdrawPersonRequest{Person: row.ID, Why: o.why})
	case "device":
		_, err = conn.WithdrawDevice(ctx, &boardv1.WithdrawDeviceRequest{Device: row.ID, Why: o.why})
	default:
		_, err = conn.WithdrawCode(ctx, &boardv1.WithdrawCodeRequest{Code: row.ID})
	}
	if err != nil {
		return client.Explain(err)
	}
	if row.What != "join code" {
		a.warn("withdrawn; what they wrote stays, and what they were told before cannot be called back")
	}
	return a.show.Write([]withdrawnRow{row}, func() client.Table {
		return client.Table{Head: []string{"Withdrawn", "Name", "Id"}, Rows: [][]string{{row.What, row.Name, row.ID}}}
	})
}

// withdrawable finds what is meant among what the shop has: a person by name or id, a
// device or a code by its id or the end of it, or a code as it was given out.
func withdrawable(rows []peopleRow, shop, said string) (withdrawnRow, error) {
	var found []withdrawnRow
	for _, r := range rows {
		named := r.What == "person" && strings.EqualFold(r.Name, said)
		ended := len(said) >= 4 && strings.HasSuffix(r.ID, strings.ToLower(said))
		if r.Shop == shop && (named || ended) && r.State != "withdrawn" {
			found = append(found, withdrawnRow{r.What, r.ID, r.Name})
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		if code, err := join.ParseCode(said); err == nil {
			return withdrawnRow{What: "join code", ID: code}, nil
		}
		return withdrawnRow{}, fmt.Errorf("%w: %s has no person, device or join code %q that could be withdrawn; 'knowngood people' lists them", client.ErrNotFound, shop, said)
	}
	var ids []string
	for _, f := range found {
		ids = append(ids, f.ID)
	}
	return withdrawnRow{}, usagef("%q fits %d of them: give the id, %s", said, len(found), strings.Join(ids, " or "))
}

// runWithdrawAccess ends somebody's access to a case; it is an entry of the case.
func runWithdrawAccess(ctx context.Context, a *app, o *withdrawFlags, said string) error {
	d, err := a.attend(ctx, o.ref)
	if err != nil {
		return err
	}
	if err := d.hear(ctx); err != nil && !stays(err) {
		return err
	}
	says := &eventv1.AccessWithdrawn{}
	if o.reading {
		says.Left = eventv1.Access_ACCESS_READ
	}
	person, known, err := d.names.Person(said)
	if err != nil {
		return usage{err}
	}
	if known {
		says.Person = person
		for _, p := range d.names.People {
			if p.Person == person {
				says.Shop = p.Shop
			}
		}
	} else if says.Shop, err = d.names.Shop(said); err != nil {
		return err
	}
	events := []*eventv1.Event{{Kind: &eventv1.Event_AccessWithdrawn{AccessWithdrawn: says}}}
	if o.why != "" {
		events = append(events, &eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: "access withdrawn from " + said + ": " + o.why}}})
	}
	return d.keep(ctx, &o.entryFlags, events...)
}
