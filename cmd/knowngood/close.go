package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"knowngood.example/cases/quick"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// dueFlags ask for a look later.
type dueFlags struct{ due, look string }

func (o *dueFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.due, "check-due", "", "ask for a look later: 'Friday', '2026-12-01'")
	f.StringVar(&o.look, "check", "", "what to look at then")
}

// event is the check that is due; nil when none is.
func (o *dueFlags) event(a *app) (*eventv1.Event, error) {
	due, err := client.CheckDue(o.due, o.look, a.show.Now.In(a.show.Zone))
	if err != nil || due == nil {
		return nil, flagged(err)
	}
	return &eventv1.Event{Kind: &eventv1.Event_CheckDue{CheckDue: due}}, nil
}

func newClose(a *app) *cobra.Command {
	o, due := new(entryFlags), new(dueFlags)
	cmd := &cobra.Command{
		Use: "close OUTCOME...", Short: "Close the case: how it ended",
		Long: `  knowngood close fixed and checked
  knowngood close repaired on watch --check-due 'in 14 days' --check 'fan after a hot drive'
  knowngood close not found

Outcomes: fixed and checked; cause found not repaired; works as designed; repaired on
watch; not found; declined. Closing wants the next place in the case: when somebody
wrote in between, look at it first and close again.`,
		Args: needWords("how it ended"),
		RunE: func(cmd *cobra.Command, args []string) error { return runClose(cmd.Context(), a, o, due, args) },
	}
	due.add(cmd.Flags())
	return recording(cmd, o)
}

// attend opens the case for a change that wants its place: what the server has is
// fetched first, so that the place is right; without a server the place is the
// one after what is known here, and refused later if it was taken.
func (a *app) attend(ctx context.Context, ref string) (*desk, error) {
	d, err := a.sitDown(ref)
	if err != nil {
		return nil, err
	}
	if _, err := a.push(ctx); err != nil && !stays(err) {
		return nil, err
	}
	if err := d.refresh(ctx); err != nil && !stays(err) {
		return nil, err
	}
	return d, nil
}

func runClose(ctx context.Context, a *app, o *entryFlags, due *dueFlags, args []string) error {
	line := typed(args)
	d, err := a.attend(ctx, o.ref)
	if err != nil {
		return a.kept(line, err)
	}
	look, err := due.event(a)
	if err != nil {
		return err
	}
	closed, err := d.parse(quick.Close, line)
	if err != nil {
		return a.kept(line, err)
	}
	if look == nil {
		return d.keep(ctx, o, closed)
	}
	return d.keep(ctx, o, look, closed)
}

func newReopen(a *app) *cobra.Command {
	o := new(entryFlags)
	var came string
	cmd := &cobra.Command{
		Use: "reopen WHY...", Short: "Take a closed case up again, as when the vehicle came back",
		Long: `  knowngood reopen fan stopped again after two weeks --came-back same
  knowngood reopen closed by mistake`,
		Args: needWords("why"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReopen(cmd.Context(), a, o, came, typed(args))
		},
	}
	cmd.Flags().StringVar(&came, "came-back", "", "the vehicle came back, its concern the same, different, or not-known")
	return recording(cmd, o)
}

func runReopen(ctx context.Context, a *app, o *entryFlags, came, why string) error {
	d, err := a.attend(ctx, o.ref)
	if err != nil {
		return err
	}
	if d.copy.Case.Closed == nil {
		return errors.New("the case is open: there is nothing to reopen")
	}
	reopened := &eventv1.Event{Kind: &eventv1.Event_Reopened{Reopened: &eventv1.Reopened{Why: why}}}
	if came == "" {
		return d.keep(ctx, o, reopened)
	}
	same, ok := map[string]eventv1.Answer{
		"same": eventv1.Answer_ANSWER_YES, "different": eventv1.Answer_ANSWER_NO, "not-known": eventv1.Answer_ANSWER_NOT_KNOWN,
	}[came]
	if !ok {
		return usagef("--came-back cannot be %q: there are same, different, not-known", came)
	}
	back := &eventv1.Event{Kind: &eventv1.Event_CameBack{CameBack: &eventv1.CameBack{SameConcern: same, What: why}}}
	return d.keep(ctx, o, back, reopened)
}
