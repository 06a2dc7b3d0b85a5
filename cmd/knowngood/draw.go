package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"knowngood.example/cases/notation"
	"knowngood.example/cases/path"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

type drawFlags struct {
	entryFlags
	name, basis, source, file string
	pins                      []string
}

func newDraw(a *app) *cobra.Command {
	o := new(drawFlags)
	cmd := &cobra.Command{
		Use: "draw PATH... | --file FILE", Short: "Draw a circuit by hand, with where it came from; note pins and colours",
		Long: `  knowngood draw 'batt+ > fuse F7 10A > relay K2 30/87 > fan.C1-2 > fan motor > fan.C1-1 > gnd G101' \
      --basis looked-up --source 'wiring diagram, sheet 3'
  knowngood draw 'fan.C1-1 > 2 m 1.5 mm2 brown > splice S4 > gnd G1' --basis traced --pin 'fan.C1-1, brown, behind the radiator'
  knowngood draw 'splice S1 > (left.1 > lamp left 21W > left.2); (right.1 > lamp right 21W > right.2) > gnd G3'
  knowngood draw 'batt+ > switch S1 when key on > coil K2 85/86 85 ohm; diode D1 reversed > gnd G1'
  knowngood draw --file fan.txt                    a path a line; - reads standard input

A path runs from plus to minus, as current flows: '>' leads on, ';' stands between what
lies side by side, longer branches stand in parentheses. Quote each path, since these
mean something to the shell. An element is a word for what it is, its name, and what is
known of it:

  fuse link breaker switch relay coil splice diode resistor sender sensor wire
  lamp bulb motor fan pump heater horn load        pin connector inline plug socket terminal
  output bcm ecm ecu module                        battery batt+ batt- alternator supply
  gnd ground chassis
  10A 21W 85 ohm 12.6 V 2 m 1.5 mm2 16 AWG brown/white 30/87 reversed, when key on or running

Paths that name the same element are joined there. A line of a file may also note a point:
'point fan.C1-2: brown, pin 2, behind the radiator, power' (or ground, signal, 5V, bus,
airbag, high-voltage); a line that begins with # is a comment.

What was understood is shown back, and what a sketch lacks is told: it is recorded all the
same. The text is kept as typed. A drawing is a belief until a reading agrees with it.`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error { return runDraw(cmd.Context(), a, o, args) },
	}
	f := cmd.Flags()
	f.StringVar(&o.name, "name", "", "name of the circuit")
	f.StringVar(&o.basis, "basis", "remembered", "measured, seen, told, looked-up, remembered, assumed or traced")
	f.StringVar(&o.source, "source", "", "which diagram, whose memory")
	f.StringVar(&o.file, "file", "", "read the drawing from this file; - is standard input")
	f.StringArrayVar(&o.pins, "pin", nil, "'POINT, COLOUR, WHERE' of a point; may be given more than once")
	return recording(cmd, &o.entryFlags)
}

func runDraw(ctx context.Context, a *app, o *drawFlags, args []string) error {
	text, err := a.sketch(o.file, args)
	if err != nil {
		return err
	}
	kept := func(err error) error {
		if o.file != "" && o.file != "-" {
			return err // the file is there
		}
		return a.kept(text, err)
	}
	d, err := a.sitDown(o.ref)
	if err != nil {
		return kept(err)
	}
	basis, err := choose[eventv1.Basis]("basis", o.basis)
	if err != nil {
		return kept(err)
	}
	drawing, err := path.Read(text)
	if err != nil {
		return kept(err)
	}
	drawn := drawing.Event
	drawn.Name, drawn.Basis, drawn.Source = o.name, basis, o.source
	for _, pin := range o.pins {
		if err := addPin(drawn, pin); err != nil {
			return kept(err)
		}
	}
	saved, err := d.save(&o.entryFlags, &eventv1.Event{Kind: &eventv1.Event_CircuitDrawn{CircuitDrawn: drawn}})
	if err != nil {
		return kept(err)
	}
	if a.show.Format == "table" {
		for _, e := range drawn.GetElements() {
			fmt.Fprintln(a.out, client.Clean(path.Say(e)))
		}
	}
	a.problems(text, drawing.Warnings)
	return d.send(ctx, saved)
}

// sketch is the text of a drawing: each quoted argument a line, or a file.
func (a *app) sketch(file string, args []string) (string, error) {
	switch {
	case (file == "") == (len(args) == 0):
		return "", usagef("give either the path, in quotes, or --file FILE")
	case file == "":
		lines := make([]string, len(args))
		for i, arg := range args {
			lines[i] = typed([]string{arg})
		}
		if slices.ContainsFunc(lines, func(line string) bool { return strings.Contains(line, " ") }) {
			return strings.Join(lines, "\n"), nil
		}
		return strings.Join(lines, " "), nil
	}
	in := a.in
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return "", fmt.Errorf("cannot read the drawing: %w", err)
		}
		defer f.Close()
		in = f
	}
	text, err := io.ReadAll(io.LimitReader(in, 1<<20))
	if err != nil {
		return "", fmt.Errorf("cannot read the drawing: %w", err)
	}
	return string(text), nil
}

// addPin adds what --pin says of a point to what the drawing says of it.
func addPin(drawn *eventv1.CircuitDrawn, pin string) error {
	parts := strings.SplitN(pin, ",", 3)
	for len(parts) < 3 {
		parts = append(parts, "")
	}
	point, colour, where := strings.TrimSpace(parts[0]), strings.TrimSpace(parts[1]), strings.TrimSpace(parts[2])
	if notation.Key(point) == "" {
		return usagef("--pin %q names no point: write 'POINT, COLOUR, WHERE'", pin)
	}
	i := slices.IndexFunc(drawn.Points, func(p *eventv1.PointSeen) bool { return notation.Key(p.GetPoint()) == notation.Key(point) })
	if i < 0 {
		drawn.Points = append(drawn.Points, &eventv1.PointSeen{Point: point, Colour: colour, Where: where})
		return nil
	}
	for _, slot := range []struct {
		to  *string
		now string
	}{{&drawn.Points[i].Colour, colour}, {&drawn.Points[i].Where, where}} {
		if *slot.to != "" && slot.now != "" && !strings.EqualFold(*slot.to, slot.now) {
			return usagef("--pin %q: %s is %s in the drawing", pin, point, *slot.to)
		}
		if slot.now != "" {
			*slot.to = slot.now
		}
	}
	return nil
}
