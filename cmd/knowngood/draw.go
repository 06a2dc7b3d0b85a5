package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

type drawFlags struct {
	entryFlags
	name, basis, source string
	pins                []string
}

func newDraw(a *app) *cobra.Command {
	o := new(drawFlags)
	cmd := &cobra.Command{
		Use: "draw PATH...", Short: "Draw a circuit by hand, with where it came from; note pins and colours",
		Long: `  knowngood draw 'batt+ > fuse F7 10A > relay K2 > fan.C1-2' --basis looked-up --source 'wiring diagram, sheet 3'
  knowngood draw 'fan.C1-1 > splice S4 > batt-' --basis traced --pin 'fan.C1-1, brown, behind the radiator'

The line is kept as typed; quote it, since > means something to the shell. A drawing
is a belief until a reading agrees with it.`,
		Args: needWords("the path"),
		RunE: func(cmd *cobra.Command, args []string) error { return runDraw(cmd.Context(), a, o, args) },
	}
	f := cmd.Flags()
	f.StringVar(&o.name, "name", "", "name of the circuit")
	f.StringVar(&o.basis, "basis", "remembered", "measured, seen, told, looked-up, remembered, assumed or traced")
	f.StringVar(&o.source, "source", "", "which diagram, whose memory")
	f.StringArrayVar(&o.pins, "pin", nil, "'POINT, COLOUR, WHERE' of a point; may be given more than once")
	return recording(cmd, &o.entryFlags)
}

func runDraw(ctx context.Context, a *app, o *drawFlags, args []string) error {
	d, err := a.sitDown(o.ref)
	if err != nil {
		return a.kept(typed(args), err)
	}
	basis, err := choose[eventv1.Basis]("basis", o.basis)
	if err != nil {
		return err
	}
	drawn := &eventv1.CircuitDrawn{Name: o.name, Said: typed(args), Basis: basis, Source: o.source}
	for _, pin := range o.pins {
		parts := strings.SplitN(pin, ",", 3)
		for len(parts) < 3 {
			parts = append(parts, "")
		}
		p := &eventv1.PointSeen{Point: strings.TrimSpace(parts[0]), Colour: strings.TrimSpace(parts[1]), Where: strings.TrimSpace(parts[2])}
		if p.Point == "" {
			return usagef("--pin %q names no point: write 'POINT, COLOUR, WHERE'", pin)
		}
		drawn.Points = append(drawn.Points, p)
	}
	return d.keep(ctx, &o.entryFlags, &eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: drawn}})
}
