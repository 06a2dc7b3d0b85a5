package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// entryFlags are what every command that records takes.
type entryFlags struct {
	ref, by, when, after string
	beforeOpening, yes   bool
	because              []string
}

func (o *entryFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.ref, "case", "", "the case: its id or the end of it (default: the one in use)")
	f.StringVar(&o.by, "by", "", "who did it, when that is not you: a name, or a role such as 'customer' or 'previous shop'")
	f.StringVar(&o.when, "when", "", "when it was done: 'Monday', '2026-11-20', '14:05' (default: now)")
	f.StringVar(&o.after, "after", "", "it was done after this entry, not now: a number, 'last', or the end of an id")
	f.BoolVar(&o.beforeOpening, "before-opening", false, "it was done before the case was opened")
	f.StringSliceVar(&o.because, "because", nil, "entries it rests on: numbers, 'last', or ends of ids")
	f.BoolVarP(&o.yes, "yes", "y", false, "take values that would be asked about again")
}

// desk is a case with somebody at it: who writes, in which case, and what this
// home knows of it.
type desk struct {
	*app
	who    *client.Identity
	stream string
	copy   *client.Copy
	names  *client.Names
	memory *client.Memory
	// saidNew are the names that were said to be new: once is enough.
	saidNew map[string]bool
}

// sitDown opens the case for writing. It needs no server.
func (a *app) sitDown(ref string) (*desk, error) {
	who, err := a.home.Writer(false)
	if err != nil {
		return nil, err
	}
	stream, err := a.home.FindCase(ref)
	if err != nil {
		return nil, err
	}
	return a.deskFor(who, stream)
}

func (a *app) deskFor(who *client.Identity, stream string) (d *desk, err error) {
	d = &desk{app: a, who: who, stream: stream}
	if d.names, err = a.home.Names(); err != nil {
		return nil, err
	}
	if d.memory, err = a.home.Memory(); err != nil {
		return nil, err
	}
	d.copy, err = a.home.Kept(who, stream)
	return d, err
}

// refresh brings the copy up to date when the server answers.
func (d *desk) refresh(ctx context.Context) error {
	if !d.who.Joined() {
		return client.ErrNobody
	}
	c, err := client.Dial(d.who)
	if err != nil {
		return err
	}
	defer c.Close()
	fresh, err := d.home.Fetch(ctx, d.who, c, d.stream)
	if err != nil {
		return err
	}
	d.copy = fresh
	return nil
}

// entry finds the id of an entry: its number, 'last', or its id or the end of it.
func (d *desk) entry(said string) (string, error) {
	return client.FindEntry(d.copy.Case, said, d.memory.Last[d.stream])
}

// laid fills in what the flags say of an event.
func (d *desk) laid(e *eventv1.Event, o *entryFlags) error {
	e.Stream = d.stream
	if o.by != "" {
		e.By = o.by
	}
	if e.By != "" {
		id, known, err := d.names.Person(e.By)
		if err != nil {
			return usage{err}
		}
		if known {
			e.By = id
		}
	}
	if o.when != "" {
		m, err := notation.ParseMoment(o.when, d.show.Now.In(d.show.Zone))
		if err != nil {
			return usagef("--when: %w", err)
		}
		e.Happened = m
	}
	switch {
	case o.after != "" && o.beforeOpening:
		return usagef("--after and --before-opening: choose one")
	case o.after != "":
		id, err := d.entry(o.after)
		if err != nil {
			return fmt.Errorf("--after: %w", err)
		}
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: id}}
	case o.beforeOpening:
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
	}
	for _, said := range o.because {
		id, err := d.entry(said)
		if err != nil {
			return fmt.Errorf("--because: %w", err)
		}
		e.Because = append(e.Because, id)
	}
	return nil
}

// keep checks the events, saves them together, and sends them when the server
// answers. It writes what became of them.
func (d *desk) keep(ctx context.Context, o *entryFlags, events ...*eventv1.Event) error {
	saved, err := d.save(o, events...)
	if err != nil {
		return err
	}
	return d.send(ctx, saved)
}

// save checks and saves; nothing is sent yet.
func (d *desk) save(o *entryFlags, events ...*eventv1.Event) ([]*eventv1.Signed, error) {
	next := d.copy.Case.Head() + 1
	for i, e := range events {
		if e.Stream == "" {
			if err := d.laid(e, o); err != nil {
				return nil, err
			}
		}
		if check.Transition(envelope.KindOf(e)) && e.Expect == nil {
			at := next + uint64(i)
			e.Expect = &at
		}
		if err := d.mayRecord(e, o.yes); err != nil {
			return nil, err
		}
	}
	saved, err := d.home.Save(d.who, client.Stamp{Seen: d.copy.Sent, At: d.now().In(d.show.Zone)}, events...)
	if err != nil {
		return nil, err
	}
	for _, e := range events {
		if err := d.foldIn(e); err != nil {
			return nil, err
		}
	}
	d.remember(events)
	return saved, nil
}

// remember keeps what the next line may carry over. The events are saved by now:
// whoever is told of a failure would type them again.
func (d *desk) remember(events []*eventv1.Event) {
	if err := d.home.Remember(func(m *client.Memory) {
		for _, e := range events {
			m.Carry(e)
		}
		d.memory = m
	}); err != nil {
		d.warn(fmt.Sprintf("saved; but what the next line may carry over could not be kept: %v", err))
	}
}

// foldIn adds an event to the copy at the place it would take now, so that what
// follows may speak of it.
func (d *desk) foldIn(e *eventv1.Event) error {
	c := d.copy.Case
	return c.Apply(cases.Record{
		Entry: &eventv1.Entry{
			Seq: c.Head() + 1, Stream: d.stream, Id: e.GetId(), Device: d.who.Device, DeviceSeq: e.GetDeviceSeq(),
			Person: d.who.Person, Shop: d.who.Shop, Kind: envelope.KindOf(e),
		},
		Event: e, Known: true,
	})
}

// recording marks a command as one that records.
func recording(cmd *cobra.Command, o *entryFlags) *cobra.Command {
	o.add(cmd.Flags())
	return cmd
}
