package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"knowngood.example/cases/brief"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

type handoffFlags struct {
	entryFlags
	client.HandOff
}

func (o *handoffFlags) more(f *pflag.FlagSet) {
	f.StringVar(&o.Question, "question", "", "what you want to know")
	f.StringVar(&o.Person, "person", "", "to this person only (default: anyone of that shop)")
	f.Uint32Var(&o.Minutes, "minutes", 0, "limit of work in minutes")
	f.StringVar(&o.Money, "money", "", "limit of cost: '200 EUR'")
	f.StringVar(&o.MayCut, "may-cut", "", "may wires be cut: yes, no, not-known")
	f.StringVar(&o.MayRemove, "may-remove", "", "may parts be removed: yes, no, not-known")
	f.StringVar(&o.Said, "limits", "", "other limits, in words")
	f.BoolVar(&o.ReadOnly, "read-only", false, "to be read, not written in")
}

func newHandoff(a *app) *cobra.Command {
	o := new(handoffFlags)
	cmd := &cobra.Command{
		Use: "handoff SHOP", Short: "Hand the case to another shop with a question",
		Long: `  knowngood handoff 'Lantern Lane Diagnostics' --question 'why does the fan not run hot?' \
      --minutes 120 --money '200 EUR' --may-cut no

The other shop sees the whole case from its first entry and may write in it until it
hands back. What was seen cannot be called back.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeShop,
		RunE:              func(cmd *cobra.Command, args []string) error { return runHandoff(cmd.Context(), a, o, args[0]) },
	}
	o.more(cmd.Flags())
	return recording(cmd, &o.entryFlags)
}

func runHandoff(ctx context.Context, a *app, o *handoffFlags, to string) error {
	if o.Question == "" {
		_, err := o.Event(nil, "") // before anything is asked of a server
		return flagged(err)
	}
	d, err := a.attend(ctx, o.ref)
	if err != nil {
		return err
	}
	if err := d.hear(ctx); err != nil && !stays(err) {
		return err
	}
	o.To = to
	says, err := o.Event(d.names, d.who.Currency)
	if err != nil {
		return flagged(err)
	}
	says.Checkpoint = d.home.Checkpoint()
	return d.keep(ctx, &o.entryFlags, &eventv1.Event{Kind: &eventv1.Event_HandedOff{HandedOff: says}})
}

// hear asks the server for names.
func (d *desk) hear(ctx context.Context) error {
	if !d.who.Joined() {
		return client.ErrNobody
	}
	c, err := client.Dial(d.who)
	if err != nil {
		return err
	}
	defer c.Close()
	names, err := d.home.HearNames(ctx, c)
	if err == nil {
		d.names = names
	}
	return err
}

func newTakeup(a *app) *cobra.Command {
	o := new(entryFlags)
	cmd := &cobra.Command{
		Use: "takeup [WORDS...]", Short: "Take up a case that was handed to you",
		Long: `  knowngood takeup
  knowngood takeup --case 4f9a2c on site, meter 1 and clamp at hand

Without --case, the one case that was handed to your shop and not taken up. It is in
use afterwards.`,
		RunE: func(cmd *cobra.Command, args []string) error { return runTakeup(cmd.Context(), a, o, typed(args)) },
	}
	return recording(cmd, o)
}

func runTakeup(ctx context.Context, a *app, o *entryFlags, said string) error {
	if o.ref == "" {
		var err error
		if o.ref, err = a.handedToYou(ctx); err != nil {
			return err
		}
	}
	if err := a.putInUse(ctx, o.ref); err != nil {
		return err
	}
	d, err := a.attend(ctx, "")
	if err != nil {
		return err
	}
	says, err := client.TakeUp(d.copy.Case, d.who.Shop, d.who.ShopName, said)
	if err != nil {
		return err
	}
	return d.keep(ctx, o, &eventv1.Event{Kind: &eventv1.Event_TakenUp{TakenUp: says}})
}

// handedToYou finds the one case that waits to be taken up by this home's shop, among
// those that are here.
func (a *app) handedToYou(ctx context.Context) (string, error) {
	who, err := a.home.Identity()
	if err != nil {
		return "", err
	}
	conn, _, err := a.catchUp(ctx, who)
	if err != nil {
		return "", err
	}
	defer conn.Close()
	streams, err := a.home.KeptCases()
	if err != nil {
		return "", err
	}
	var found []string
	for _, stream := range streams {
		c, err := a.home.Kept(who, stream)
		if err != nil {
			return "", err
		}
		if h := client.OpenHandoff(c.Case, who.Shop); h != nil && h.TakenUp == nil {
			found = append(found, stream)
		}
	}
	switch len(found) {
	case 0:
		return "", fmt.Errorf("%w: no case waits to be taken up by %s; 'knowngood board' lists them", client.ErrNotFound, who.ShopName)
	case 1:
		return found[0], nil
	}
	ends := make([]string, len(found))
	for i, id := range found {
		ends[i] = notation.ShortID(id)
	}
	return "", usagef("%d cases wait to be taken up: choose with --case %s", len(found), strings.Join(ends, ", --case "))
}

// putInUse makes a case the one that commands mean.
func (a *app) putInUse(ctx context.Context, ref string) error {
	c, err := a.look(ctx, &askFlags{ref: ref})
	if err != nil {
		return err
	}
	return a.home.Remember(func(m *client.Memory) { m.Case = c.Stream })
}

type handbackFlags struct {
	askFlags
	entryFlags
	dueFlags
	client.HandBack
	give, customer bool
}

func newHandback(a *app) *cobra.Command {
	o := new(handbackFlags)
	cmd := &cobra.Command{
		Use: "handback", Short: "The page that hands the case back; with --give, hand it back",
		Long: `  knowngood handback                               the page, as it would read now
  knowngood handback --customer -o pdf > copy.pdf  the customer's copy: no names, no grades of parts
  knowngood handback --give --found 'splice S4 corroded, open under load' --cause 'splice S4' \
      --mode 'high resistance' --proof 'drop 3.2 V at 11 A, gone after the repair' --because 15,17 \
      --old-parts 'in the box on the passenger seat' --not-done 'second fan not looked at'

Handing back ends your writing in the case.` + askHelp,
		Args: cobra.NoArgs, Annotations: map[string]string{formatPDF: ""},
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.entryFlags.ref = o.askFlags.ref
			switch {
			case o.give && (o.customer || a.show.Format == formatPDF):
				return usagef("--give writes the hand-back down: it goes with neither --customer nor -o pdf; ask for the page afterwards")
			case o.give:
				return runGiveBack(cmd.Context(), a, o)
			}
			for _, name := range []string{"found", "cause", "mode", "proof", "old-parts", "not-done", "left-open", "check-due", "check"} {
				if cmd.Flags().Changed(name) {
					return usagef("--%s is for handing back: add --give", name)
				}
			}
			if o.customer {
				return runDocument(cmd.Context(), a, &o.askFlags, brief.Customer)
			}
			return runDocument(cmd.Context(), a, &o.askFlags, brief.HandBack)
		},
	}
	f := cmd.Flags()
	o.askFlags.add(f)
	f.BoolVar(&o.give, "give", false, "hand the case back")
	f.BoolVar(&o.customer, "customer", false, "the customer's copy: found, proven, done, left open, cost; no names and no grades of parts")
	f.StringVar(&o.Found, "found", "", "what was found")
	f.StringVar(&o.Cause, "cause", "", "component or stretch that is the cause; left out when not found")
	f.StringVar(&o.Mode, "mode", "", "in which way it is bad: open, high-resistance, short-to-ground, defective and so on")
	f.StringVar(&o.Proof, "proof", "", "how it was proven; name the entries with --because")
	f.StringVar(&o.OldParts, "old-parts", "", "where the old parts are")
	f.StringArrayVar(&o.NotDone, "not-done", nil, "what was not done or not looked at; may be given more than once")
	f.StringArrayVar(&o.LeftOpen, "left-open", nil, "what is left open on the vehicle; may be given more than once")
	f.StringVar(&o.when, "when", "", "with --give: when it was done (default: now)")
	f.StringSliceVar(&o.because, "because", nil, "with --give: entries it rests on")
	f.BoolVarP(&o.yes, "yes", "y", false, "with --give: take values that would be asked about again")
	o.dueFlags.add(f)
	return cmd
}

func runGiveBack(ctx context.Context, a *app, o *handbackFlags) error {
	if o.from != "" || o.asOf != 0 {
		return usagef("--give writes: it goes with neither --from nor --as-of")
	}
	if o.Found == "" {
		_, err := o.Event(nil, "", "") // before anything is asked of a server
		return flagged(err)
	}
	due, err := o.event(a)
	if err != nil {
		return err
	}
	d, err := a.attend(ctx, o.entryFlags.ref)
	if err != nil {
		return err
	}
	says, err := o.Event(d.copy.Case, d.who.Shop, d.who.ShopName)
	if err != nil {
		return flagged(err)
	}
	says.Checkpoint = d.home.Checkpoint()
	back := &eventv1.Event{Kind: &eventv1.Event_HandedBack{HandedBack: says}}
	if due == nil {
		return d.keep(ctx, &o.entryFlags, back)
	}
	return d.keep(ctx, &o.entryFlags, due, back)
}
