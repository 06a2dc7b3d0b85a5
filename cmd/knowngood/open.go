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
	vin, make, model, engine, odometer, plate, highVoltage, workOrder string
	conditions, onset, justBefore, frequency                          string
	crash, flood, rodents, canBeMoved                                 string
	works, doesNotWork, added                                         []string
	year, system                                                      uint32
	invented                                                          bool
}

func (o *openFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.vin, "vin", "", "vehicle identification number")
	f.StringVar(&o.make, "make", "", "make")
	f.StringVar(&o.model, "model", "", "model")
	f.Uint32Var(&o.year, "year", 0, "model year")
	f.StringVar(&o.engine, "engine", "", "engine")
	f.StringVar(&o.odometer, "odometer", "", "'182000 km' or '113000 mi'")
	f.StringVar(&o.plate, "plate", "", "number plate or fleet number")
	f.Uint32Var(&o.system, "system", 12, "nominal supply in volts: 12, 24 or 48; 0 when not known")
	f.StringVar(&o.highVoltage, "high-voltage", "", "does it carry a high-voltage system: yes, no, not-known")
	f.StringVar(&o.workOrder, "work-order", "", "work order")
	f.StringVar(&o.conditions, "conditions", "", "when the concern shows: 'hot, in traffic'")
	f.StringVar(&o.onset, "onset", "", "when it began: 'Monday', '2026-11-02'")
	f.StringVar(&o.justBefore, "just-before", "", "what happened just before it began")
	f.StringVar(&o.frequency, "frequency", "", "how often: 'always', 'about once a week'")
	f.StringSliceVar(&o.works, "works", nil, "what works all the same; may be given more than once")
	f.StringSliceVar(&o.doesNotWork, "does-not-work", nil, "what does not work; may be given more than once")
	f.StringVar(&o.crash, "crash", "", "was it in a crash: yes, no, not-known")
	f.StringVar(&o.flood, "flood", "", "was it in a flood: yes, no, not-known")
	f.StringVar(&o.rodents, "rodents", "", "traces of rodents: yes, no, not-known")
	f.StringSliceVar(&o.added, "added", nil, "equipment it was not built with: alarm, trailer socket; may be given more than once")
	f.StringVar(&o.canBeMoved, "can-be-moved", "", "under its own power: yes, no, not-known")
	f.BoolVar(&o.invented, "invented", false, "invented data for a demonstration")
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
	opened, err := o.opened(d, typed(args))
	if err != nil {
		return err
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

func (o *openFlags) opened(d *desk, concern string) (*eventv1.CaseOpened, error) {
	highVoltage, err1 := answer("high-voltage", o.highVoltage)
	crash, err2 := answer("crash", o.crash)
	flood, err3 := answer("flood", o.flood)
	rodents, err4 := answer("rodents", o.rodents)
	moved, err5 := answer("can-be-moved", o.canBeMoved)
	if err := first(err1, err2, err3, err4, err5); err != nil {
		return nil, err
	}
	out := &eventv1.CaseOpened{
		Shop: d.who.Shop, WorkOrder: o.workOrder, Crash: crash, Flood: flood, Rodents: rodents, CanBeMoved: moved,
		AddedEquipment: o.added, Invented: o.invented,
		Vehicle: &eventv1.Vehicle{
			Vin: strings.ToUpper(o.vin), Make: o.make, Model: o.model, Year: o.year, Engine: o.engine, Plate: o.plate,
			SystemVolts: o.system, HighVoltage: highVoltage,
		},
		Concern: &eventv1.Concern{
			Statement: concern, Conditions: o.conditions, JustBefore: o.justBefore, Frequency: o.frequency,
			Works: o.works, DoesNotWork: o.doesNotWork,
		},
	}
	if o.odometer != "" {
		q, err := notation.ParseQuantity(o.odometer)
		if err != nil {
			return nil, usagef("--odometer: %w", err)
		}
		out.Vehicle.Odometer = q
	}
	if o.onset != "" {
		m, err := notation.KeepMoment(o.onset, d.show.Now.In(d.show.Zone))
		if err != nil {
			return nil, usagef("--onset: %w", err)
		}
		out.Concern.Onset = m
	}
	return out, nil
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
	seen := make(map[string]bool)
	for _, stream := range streams {
		c, err := a.home.Kept(who, stream)
		if err == nil && conn != nil && (c.Case.Opening == nil || same(v, c.Case.Vehicle)) {
			if fresh, fetchErr := a.home.Fetch(ctx, who, conn, stream); fetchErr == nil {
				c = fresh
			}
		}
		if err != nil || !same(v, c.Case.Vehicle) {
			continue
		}
		for _, l := range c.Case.Left() {
			if !seen[l.GetEntry()] {
				seen[l.GetEntry()] = true
				out = append(out, l)
			}
		}
	}
	if len(out) > 0 {
		a.warn(fmt.Sprintf("earlier cases of this vehicle left %s on it; 'knowngood brief' lists them", plural(len(out), "thing", "things")))
	}
	return out
}

// same reports whether two descriptions mean one vehicle.
func same(a, b *eventv1.Vehicle) bool {
	if a.GetVin() != "" && b.GetVin() != "" {
		return a.GetVin() == b.GetVin()
	}
	return a.GetPlate() != "" && strings.EqualFold(a.GetPlate(), b.GetPlate())
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
