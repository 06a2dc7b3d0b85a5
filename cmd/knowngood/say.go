package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/quick"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// entryCommand is a command that records one kind of entry from a line.
type entryCommand struct {
	kind            quick.Kind
	short, examples string
}

func entryCommands() []entryCommand {
	return []entryCommand{
		{quick.Concern, "The concern: stated, duplicated, acting up, gone away", `
  knowngood concern stated fan does not run after twenty minutes in traffic
  knowngood concern duplicated, engine running, 3 of 3
  knowngood concern gone away`},
		{quick.Codes, "Trouble codes: read, none, no answer, cleared", `
  knowngood codes P0480 active from engine module
  knowngood codes none from engine module
  knowngood codes cleared`},
		{quick.Fit, "A part was put in: what, in which state, why, at what cost", `
  knowngood fit new fan motor, old kept, guess, 240 EUR
  knowngood fit borrowed fan relay, from horn relay socket, trial
  knowngood fit new temperature switch, guess --before-opening --by 'previous shop'`},
		{quick.Remove, "A part was taken out and nothing put in its place", `
  knowngood remove fan shroud, kept on the bench`},
		{quick.PutBack, "The original went back in, or a borrowed part went home", `
  knowngood putback fan relay
  knowngood putback fan connector, reseated only`},
		{quick.Read, "A reading: value, where the leads were, conditions", `
  knowngood read 12.31V at fan.C1-2 to batt- key on
  knowngood read -0.3 V at fan.C1-1 to batt-
  knowngood read 3.2V drop at splice S4 to batt- running should be under 0.2 fail
  knowngood read 0.02 V drop across ground G101 at 8 A`},
		{quick.Test, "Something done to find out, what it covers and what came of it", `
  knowngood test ran the fan from the battery, covers fan motor, pass`},
		{quick.Saw, "Found by looking, listening, feeling: no meter", `
  knowngood seen green corrosion in splice S4, bad`},
		{quick.Meter, "An instrument was tried on something known", `
  knowngood meter 2 on battery posts shows 12.6 V, ok`},
		{quick.Believe, "Something somebody holds to be so, and on what basis", `
  knowngood believe assume ground side is good
  knowngood believe they say feed is good`},
		{quick.Settle, "What became of a belief", `
  knowngood settle 7 not true, because 15`},
		{quick.Temp, "A change left on the vehicle for now, on or off", `
  knowngood temp jumper on 30-87
  knowngood temp jumper off`},
		{quick.Disturb, "Evidence was disturbed: battery disconnected, module programmed", `
  knowngood disturb battery disconnected`},
		{quick.Worked, "Somebody worked in this area", `
  knowngood worked left headlamp, bumper replaced --before-opening --by 'body shop'`},
		{quick.Safe, "High voltage or airbags were made safe, by somebody qualified", `
  knowngood safe high voltage, locked off, proven dead, tester proven`},
		{quick.Repair, "Something was mended", `
  knowngood repair splice S4, cut out and crimped anew`},
		{quick.Checked, "What was tried after a repair", `
  knowngood checked repair last, concern tried, gone, pass`},
		{quick.Approve, "Somebody agreed to be charged, or refused", `
  knowngood approve customer approved 400 EUR by phone`},
		{quick.Spent, "Time spent", `
  knowngood spent 45 min finding the splice, 60 EUR`},
		{quick.Note, "Anything else worth keeping", `
  knowngood note customer needs it on Friday`},
	}
}

func newEntryCommands(a *app) []*cobra.Command {
	var out []*cobra.Command
	for _, c := range entryCommands() {
		out = append(out, newEntry(a, c))
	}
	return out
}

func newEntry(a *app, c entryCommand) *cobra.Command {
	o := new(entryFlags)
	return recording(&cobra.Command{
		Use: string(c.kind) + " [WORDS...]", Short: c.short,
		Long: strings.TrimPrefix(c.examples, "\n") + `

The words are a line as it would be said aloud, with commas between its parts and
# before a note; quote it where the shell would take a character for its own.
Without words, lines are read from the terminal or standard input. What is not
understood is shown with a mark under the place, and kept.

-o json prints the entry as stored: see 'knowngood help output'.`,
		ValidArgsFunction: a.completeNames,
		RunE:              func(cmd *cobra.Command, args []string) error { return runSay(cmd.Context(), a, c.kind, o, args) },
	}, o)
}

func newSay(a *app) *cobra.Command {
	o := new(entryFlags)
	return recording(&cobra.Command{
		Use: "say [WORDS...]", Short: "Any entry, as it would be said aloud; or a prompt that needs no quoting",
		Long: `  knowngood say red fan two, black battery, twelve three, running
  knowngood say new fan in, old kept, guess
  knowngood say gone away
  knowngood say                                    a prompt; an empty line ends it
  knowngood say < lines.txt

The first words tell the kind: read, test, fit, remove, seen, believe, temp, note
and the other commands that record; readings need none. Each line is saved before
the next is read.`,
		ValidArgsFunction: a.completeNames,
		RunE:              func(cmd *cobra.Command, args []string) error { return runSay(cmd.Context(), a, "", o, args) },
	}, o)
}

func runSay(ctx context.Context, a *app, kind quick.Kind, o *entryFlags, args []string) error {
	d, err := a.sitDown(o.ref)
	if err != nil {
		if len(args) > 0 {
			return a.kept(typed(args), err)
		}
		return err
	}
	if len(args) > 0 {
		return d.say(ctx, kind, o, typed(args))
	}
	_, tty := terminal(a.in)
	if tty && a.noInput {
		return usagef("there are no words to record, and --no-input forbids to ask")
	}
	var failed error
	for n := 1; ; n++ {
		if tty {
			fmt.Fprint(a.err, "> ")
		}
		line, err := a.readLine()
		if errors.Is(err, context.Canceled) {
			return err
		}
		line = strings.TrimSpace(line)
		if line == "" && (tty || err != nil) {
			break
		}
		if line == "" {
			continue
		}
		if sayErr := d.say(ctx, kind, o, line); sayErr != nil {
			if !tty {
				sayErr = fmt.Errorf("line %d: %w", n, sayErr)
			}
			// Told here, with its line; the code of the first is the command's.
			code := silent{sayErr}
			a.exit(sayErr)
			if failed == nil {
				failed = code
			}
		}
		if err != nil {
			if !errors.Is(err, io.EOF) {
				return fmt.Errorf("cannot read on: %w", err)
			}
			break
		}
	}
	return failed
}

// kept keeps a line that did not become an entry and says where.
func (a *app) kept(line string, why error) error {
	where, err := a.home.KeepTyped(line, why.Error())
	if err != nil {
		return errors.Join(why, err)
	}
	return fmt.Errorf("%w\nwhat you typed is kept in %s", why, where)
}

func (d *desk) say(ctx context.Context, kind quick.Kind, o *entryFlags, line string) error {
	e, err := d.parse(kind, line)
	if err != nil {
		return d.kept(line, err)
	}
	if err := d.laid(e, o); err != nil {
		return d.kept(line, err)
	}
	saved, err := d.save(o, e)
	if err != nil {
		return d.kept(line, err)
	}
	return d.send(ctx, saved)
}

// parse reads a line with what this home knows of the case.
func (d *desk) parse(kind quick.Kind, line string) (*eventv1.Event, error) {
	m := d.memory
	q := client.Hearing(d.copy.Case, m.Last[d.stream], d.now().In(d.show.Zone), d.who.Currency)
	q.Red, q.Black, q.At = m.Red[d.stream], m.Black[d.stream], m.At[d.stream]
	if text := m.Conditions[d.stream]; text != "" {
		q.Conditions = new(eventv1.Conditions)
		if err := protojson.Unmarshal([]byte(text), q.Conditions); err != nil {
			return nil, fmt.Errorf("what was kept for 'same state' cannot be read: %w", err)
		}
	}
	p, err := quick.ParseAs(kind, line, q)
	if err != nil && kind != "" {
		// The command took the first word: 'knowngood meter 2 checked ...'.
		if whole, wholeErr := quick.ParseAs(kind, string(kind)+" "+line, q); wholeErr == nil {
			p, err = whole, nil
		}
	}
	if err != nil {
		return nil, err
	}
	for _, n := range p.New {
		if len(n.Nearest) > 0 && !d.saidNew[n.Text] {
			if d.saidNew == nil {
				d.saidNew = map[string]bool{}
			}
			d.saidNew[n.Text] = true
			d.warn(fmt.Sprintf("%q is new in this case; known and alike: %s", n.Text, strings.Join(n.Nearest, ", ")))
		}
	}
	return p.Event, nil
}
