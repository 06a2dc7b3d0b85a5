// Knowngood keeps the record of a vehicle fault that a shop cannot find: what was
// done, what was measured, what is only believed. 'knowngood help' lists what it
// can do.
package main

import (
	"context"
	"errors"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	// Whoever asks a second time does not want to wait for what is under way.
	context.AfterFunc(ctx, stop)
	code := run(ctx, os.Args[1:], world{in: os.Stdin, out: os.Stdout, err: os.Stderr, getenv: os.Getenv, now: time.Now})
	stop()
	os.Exit(code)
}

// world is what a command can reach of the outside.
type world struct {
	in       io.Reader
	out, err io.Writer
	getenv   func(string) string
	now      func() time.Time
}

// run runs one command line and returns its exit code.
func run(ctx context.Context, args []string, w world) int {
	a := &app{world: w, ended: ctx.Done()}
	root := newRoot(a)
	root.SetArgs(shield(args))
	root.SetIn(w.in)
	root.SetOut(w.out)
	root.SetErr(w.err)
	err := root.ExecuteContext(ctx)
	if a.home != nil {
		if closed := a.home.Close(); closed != nil {
			err = errors.Join(err, closed)
		}
	}
	return a.exit(err)
}

func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "knowngood",
		Short: "Keep the record of a vehicle fault: what was done, what is proven, what is only believed",
		Long: `  knowngood demo                                   look at an invented case
  knowngood open fan does not run in traffic --make Quillon --model Tarn
  knowngood read 12.31V at fan.C1-2 to batt- key on
  knowngood fit new fan motor, guess, 240 EUR
  knowngood brief

knowngood keeps the record of one vehicle with one fault for every shop that works
on it. Where work can hurt someone, follow the vehicle maker's service information;
this program does not replace it.`,
		SilenceErrors: true, SilenceUsage: true,
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: true},
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error { return a.prepare(cmd) },
	}
	a.addFlags(root.PersistentFlags())
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		// The parser of numbers says more than somebody who typed a word can use.
		text, _, parsed := strings.Cut(err.Error(), ": strconv.")
		if parsed {
			return usagef("%s: it takes a number", text)
		}
		return usage{err}
	})
	root.AddGroup(
		&cobra.Group{ID: "record", Title: "Write down what was done:"},
		&cobra.Group{ID: "ask", Title: "Ask what is known:"},
		&cobra.Group{ID: "share", Title: "Work on a case together:"},
		&cobra.Group{ID: "keep", Title: "Run it and keep it:"},
	)
	root.SetHelpCommandGroupID("keep")
	group := func(id string, cmds ...*cobra.Command) {
		for _, c := range cmds {
			c.GroupID = id
			root.AddCommand(c)
		}
	}
	group("record", newOpen(a), newUse(a), newSay(a))
	group("record", newEntryCommands(a)...)
	group("record", newDraw(a), newAttach(a), newCorrect(a), newClose(a), newReopen(a))
	group("ask", newBoard(a), newTimeline(a), newReplay(a), newSuspects(a), newNext(a), newReview(a), newBrief(a), newHandback(a), newPins(a), newSpend(a))
	group("share", newHandoff(a), newTakeup(a), newJoin(a), newInvite(a), newPeople(a), newWithdraw(a), newWatch(a), newSync(a))
	group("keep", newServe(a), newWeb(a), newDemo(a), newImport(a), newExport(a), newBackup(a), newRestore(a), newVerify(a), newBench(a), newCompletion(), newVersion(a))
	root.AddCommand(newOutputHelp())
	a.completeFlags(root)
	argsAreUsage(root)
	return root
}

// argsAreUsage lets arguments that a command cannot take end as any other wrong
// call: with how it is called, and the code for it.
func argsAreUsage(c *cobra.Command) {
	if fits := c.Args; fits != nil {
		c.Args = func(c *cobra.Command, args []string) error {
			err := fits(c, args)
			if said := (usage{}); err != nil && !errors.As(err, &said) {
				return usagef("it is called as '%s'; 'knowngood help %s' shows how", strings.TrimSuffix(c.UseLine(), " [flags]"), c.Name())
			}
			return err
		}
	}
	for _, sub := range c.Commands() {
		argsAreUsage(sub)
	}
}
