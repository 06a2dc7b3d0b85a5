package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// openFlags describe a vehicle and its concern.
type openFlags struct {
	entryFlags
	client.Opening
}

func (o *openFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.VIN, "vin", "", "vehicle identification number")
	f.StringVar(&o.Make, "make", "", "make")
	f.StringVar(&o.Model, "model", "", "model")
	f.Uint32Var(&o.Year, "year", 0, "model year")
	f.StringVar(&o.Engine, "engine", "", "engine")
	f.StringVar(&o.Odometer, "odometer", "", "'182000 km' or '113000 mi'")
	f.StringVar(&o.Plate, "plate", "", "number plate or fleet number")
	f.Uint32Var(&o.System, "system", 12, "nominal supply in volts: 12, 24 or 48; 0 when not known")
	f.StringVar(&o.HighVoltage, "high-voltage", "", "does it carry a high-voltage system: yes, no, not-known")
	f.StringVar(&o.WorkOrder, "work-order", "", "work order")
	f.StringVar(&o.Conditions, "conditions", "", "when the concern shows: 'hot, in traffic'")
	f.StringVar(&o.Onset, "onset", "", "when it began: 'Monday', '2026-11-02'")
	f.StringVar(&o.JustBefore, "just-before", "", "what happened just before it began")
	f.StringVar(&o.Frequency, "frequency", "", "how often: 'always', 'about once a week'")
	f.StringSliceVar(&o.Works, "works", nil, "what works all the same; may be given more than once")
	f.StringSliceVar(&o.DoesNotWork, "does-not-work", nil, "what does not work; may be given more than once")
	f.StringVar(&o.Crash, "crash", "", "was it in a crash: yes, no, not-known")
	f.StringVar(&o.Flood, "flood", "", "was it in a flood: yes, no, not-known")
	f.StringVar(&o.Rodents, "rodents", "", "traces of rodents: yes, no, not-known")
	f.StringSliceVar(&o.Added, "added", nil, "equipment it was not built with: alarm, trailer socket; may be given more than once")
	f.StringVar(&o.CanBeMoved, "can-be-moved", "", "under its own power: yes, no, not-known")
	f.BoolVar(&o.Invented, "invented", false, "invented data for a demonstration")
	f.StringVar(&o.by, "by", "", "who took it in, when that is not you")
	f.StringVar(&o.when, "when", "", "when it came in (default: now)")
	f.BoolVarP(&o.yes, "yes", "y", false, "take values that would be asked about again")
}

func newOpen(a *app) *cobra.Command {
	o := new(openFlags)
	cmd := &cobra.Command{
		Use: "open CONCERN...", Short: "Open a case: one vehicle with one concern",
		Long: `  knowngood open fan does not run in traffic --make Quillon --model Tarn --year 2011
  knowngood open 'no charge light' --plate KX-204 --odometer '182000 km' \
      --onset Monday --just-before 'a bumper was replaced'

The concern is what the customer says, in the customer's words. What earlier cases
of the same vehicle left on it is copied in. The new case is in use afterwards.

A case belongs to a shop. In a home that has joined none yet it waits, with all that is
recorded in it, and becomes the case of the shop that is joined.

-o json prints the entry as stored: see 'knowngood help output'.`,
		Args: needWords("what the customer says is wrong"),
		RunE: func(cmd *cobra.Command, args []string) error { return runOpen(cmd.Context(), a, o, args) },
	}
	o.add(cmd.Flags())
	return cmd
}

// needWords refuses a call without arguments and says what is missing.
func needWords(what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if strings.TrimSpace(typed(args)) == "" {
			return usagef("%s is missing: %s", what, cmd.UseLine())
		}
		return nil
	}
}

func runOpen(ctx context.Context, a *app, o *openFlags, args []string) error {
	who, err := a.home.Writer(true)
	if err != nil {
		return err
	}
	d, err := a.deskFor(who, a.home.NewID())
	if err != nil {
		return err
	}
	o.Concern = typed(args)
	opened, err := o.Event(who.Shop, d.show.Now.In(d.show.Zone))
	if err != nil {
		return flagged(err)
	}
	opened.LeftBehind = a.leftBehind(ctx, who, opened.GetVehicle())
	e := &eventv1.Event{Kind: &eventv1.Event_CaseOpened{CaseOpened: opened}}
	saved, err := d.save(&o.entryFlags, e)
	if err != nil {
		return err
	}
	if err := a.home.Remember(func(m *client.Memory) { m.Case = d.stream }); err != nil {
		a.warn(fmt.Sprintf("saved; but the case could not be put in use: %v", err))
	}
	return d.send(ctx, saved)
}

// leftBehind gathers what earlier cases of the vehicle left on it, as far as they
// can be read now; without a server, as far as they are kept here.
func (a *app) leftBehind(ctx context.Context, who *client.Identity, v *eventv1.Vehicle) []*eventv1.LeftBehind {
	if v.GetVin() == "" && v.GetPlate() == "" {
		return nil
	}
	streams, err := a.home.KeptCases()
	if err != nil {
		a.warn(err.Error())
	}
	var conn *client.Conn
	if who.Joined() {
		if conn, err = client.Dial(who); err != nil {
			a.warn(err.Error())
		}
	}
	defer conn.Close()
	if conn != nil {
		board, err := conn.Board(ctx, &boardv1.BoardRequest{Closed: true})
		if err == nil {
			streams = nil
			for _, c := range board.GetCases() {
				streams = append(streams, c.GetStream())
			}
		} else {
			conn = nil
		}
	}
	var out []*eventv1.LeftBehind
	for _, stream := range streams {
		c, err := a.home.Kept(who, stream)
		if err == nil && conn != nil && (c.Case.Opening == nil || client.SameVehicle(v, c.Case.Vehicle)) {
			if fresh, fetchErr := a.home.Fetch(ctx, who, conn, stream); fetchErr == nil {
				c = fresh
			}
		}
		if err == nil {
			out = client.LeftBehind(out, v, c.Case)
		}
	}
	if len(out) > 0 {
		a.warn(fmt.Sprintf("earlier cases of this vehicle left %s on it; 'knowngood brief' lists them", plural(len(out), "thing", "things")))
	}
	return out
}

func newUse(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "use [CASE]", Short: "Choose the case that commands mean, or say which it is and who you are",
		Long: `  knowngood use 4f9a2c                             the end of its id, as 'board' shows it
  knowngood use                                    which case is in use, who you are`,
		Args: cobra.MaximumNArgs(1), ValidArgsFunction: a.completeCase,
		RunE: func(cmd *cobra.Command, args []string) error { return runUse(cmd.Context(), a, args) },
	}
}

// useRow is the stable shape of who and what is in use.
type useRow struct {
	Case    string `json:"case"`
	Vehicle string `json:"vehicle"`
	Concern string `json:"concern"`
	Name    string `json:"name"`
	Person  string `json:"person"`
	Shop    string `json:"shop"`
	ShopID  string `json:"shop_id"`
	Server  string `json:"server"`
	Home    string `json:"home"`
}

func runUse(ctx context.Context, a *app, args []string) error {
	who, err := a.home.Writer(false)
	if err != nil {
		return err
	}
	row := useRow{Name: who.Name, Person: who.Person, Shop: who.ShopName, ShopID: who.Shop, Server: who.Server, Home: a.home.Dir()}
	if len(args) == 1 {
		c, err := a.look(ctx, &askFlags{ref: args[0]})
		if err != nil {
			return err
		}
		if err := a.home.Remember(func(m *client.Memory) { m.Case = c.Stream }); err != nil {
			return err
		}
		row.describe(c.Case)
	} else if stream, err := a.home.FindCase(""); err == nil {
		c, err := a.home.Kept(who, stream)
		if err != nil {
			return err
		}
		row.describe(c.Case)
	}
	return a.show.Write([]useRow{row}, func() client.Table {
		return client.Table{Head: []string{"Case", "Vehicle", "Concern", "You", "Shop", "Server"}, Rows: [][]string{{
			notation.ShortID(row.Case), row.Vehicle, row.Concern, row.Name, row.Shop, row.Server,
		}}}
	})
}

func (r *useRow) describe(c *cases.Case) {
	r.Case, r.Vehicle, r.Concern = c.Stream, c.VehicleWords(), c.ConcernWords()
}
