package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/quick"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func newCorrect(a *app) *cobra.Command {
	o := new(entryFlags)
	var why string
	var withdraw bool
	cmd := &cobra.Command{
		Use: "correct ENTRY [WORDS...]", Short: "Say what should stand instead of an entry, or withdraw it",
		Long: `  knowngood correct 12 read 12.1V at fan.C1-2 to batt- key on --why 'misread the display'
  knowngood correct last --withdraw --why 'wrong vehicle'
  knowngood correct 4 fit new fan motor, damage seen --when Monday

The old entry stays visible, struck through. What stands instead takes its place; with
--when or --by it gets another moment or another doer.`,
		Args: needWords("the entry to correct"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runCorrect(cmd.Context(), a, o, why, withdraw, args)
		},
	}
	cmd.Flags().StringVar(&why, "why", "", "why it is corrected")
	cmd.Flags().BoolVar(&withdraw, "withdraw", false, "take it back with nothing in its place")
	return recording(cmd, o)
}

func runCorrect(ctx context.Context, a *app, o *entryFlags, why string, withdraw bool, args []string) error {
	if withdraw != (len(args) == 1) {
		return usagef("give either the words that should stand instead, or --withdraw")
	}
	if why == "" {
		return a.kept(typed(args), usagef("--why is missing: say what was wrong with the entry"))
	}
	d, err := a.sitDown(o.ref)
	if err != nil {
		return a.kept(typed(args), err)
	}
	if _, err := d.entry(args[0]); err != nil {
		// It may have been written elsewhere since.
		if err := d.refresh(ctx); err != nil && !stays(err) {
			return err
		}
	}
	id, err := d.entry(args[0])
	if err != nil {
		return a.kept(typed(args), err)
	}
	if d.copy.Case.ByID(id) == nil {
		return a.kept(typed(args), fmt.Errorf("%w: the case has no entry %s", client.ErrNotFound, id))
	}
	says := &eventv1.Correction{Entry: id, Why: why}
	if !withdraw {
		line := typed(args[1:])
		instead, err := d.parse(quick.Kind(""), line)
		if err != nil {
			return a.kept(line, err)
		}
		// --by and --when speak of what stands instead, not of the correction.
		part := entryFlags{by: o.by, when: o.when}
		if err := d.laid(instead, &part); err != nil {
			return a.kept(line, err)
		}
		instead.Stream = ""
		says.Replacement, err = proto.MarshalOptions{Deterministic: true}.Marshal(instead)
		if err != nil {
			return fmt.Errorf("cannot marshal the correction: %w", err)
		}
	}
	rest := entryFlags{ref: o.ref, because: o.because, yes: o.yes}
	return d.keep(ctx, &rest, &eventv1.Event{Kind: &eventv1.Event_Correction{Correction: says}})
}
