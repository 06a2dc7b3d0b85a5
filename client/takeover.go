package client

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// oldFiles are those of a home from before there was a replica. They are moved
// there once what they hold lies in it.
const oldFiles = "before-replica"

// takeOver brings what an older home kept in files of its own into the log. It may
// be interrupted anywhere, and an older program may have written in between.
func (h *Home) takeOver(ctx context.Context, to log.Log) error {
	l := ledger{to}
	for _, part := range []struct {
		name string
		take func(ctx context.Context, l ledger, path string) error
	}{
		{"pending", h.takePending}, {"chains.json", h.takeChains}, {"tray.ndjson", h.takeTray},
		{"checkpoint", h.takeCheckpoint}, {"cases", h.takeCopies},
	} {
		path := h.path(part.name)
		if _, err := os.Lstat(path); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err := part.take(ctx, l, path); err != nil {
			return fmt.Errorf("what %s holds cannot be taken over: %w", path, err)
		}
		if err := h.putAway(part.name); err != nil {
			return err
		}
	}
	return nil
}

// putAway moves an old file to where it no longer counts, beside those of its name.
func (h *Home) putAway(name string) error {
	to := h.path(oldFiles)
	if err := os.MkdirAll(to, 0o700); err != nil {
		return fmt.Errorf("cannot put %s away: %w", h.path(name), err)
	}
	to = filepath.Join(to, name)
	if _, err := os.Lstat(to); err == nil {
		to += "-" + h.now().UTC().Format("20060102T150405.000000000Z")
	}
	if err := os.Rename(h.path(name), to); err != nil {
		return fmt.Errorf("cannot put %s away: %w", h.path(name), err)
	}
	return syncDir(h.dir)
}

func (h *Home) takePending(ctx context.Context, l ledger, path string) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	events, aside := readPending(b)
	if len(aside) > 0 {
		h.Warn(fmt.Sprintf("what waited to be sent was damaged: %d bytes of %s are no whole event and stay in %s; %d whole events are kept and will be sent. "+
			"Look whether your last entry is among them ('knowngood sync' lists them) and record it again if not.", len(aside), path, h.path(oldFiles), len(events)))
	}
	return h.takeEvents(ctx, l, events)
}

// takeEvents puts events into the outbox that are not there yet, and raises the
// chains of this home's device over them.
func (h *Home) takeEvents(ctx context.Context, l ledger, events []*eventv1.Signed) error {
	known := make(map[string]bool)
	for w, err := range l.waiting(ctx) {
		if err != nil {
			return err
		}
		known[string(w.GetSignature())] = true
	}
	var own Identity
	if err := h.load("identity.json", &own); err != nil {
		h.Warn(err.Error()) // whose numbers these are cannot be told; they are sent all the same
	}
	type opened struct {
		signed *eventv1.Signed
		event  *eventv1.Event
	}
	var list []opened
	ends := make(map[chainKey]link)
	for _, s := range events {
		o, err := envelope.Open(s.GetEvent())
		if err != nil {
			h.Warn(fmt.Sprintf("%d bytes that waited to be sent are no event: %v; they stay where they were found", len(s.GetEvent()), err))
			continue
		}
		if known[string(s.GetSignature())] {
			continue
		}
		known[string(s.GetSignature())] = true
		list = append(list, opened{s, o.Event})
		of := chainKey{o.Event.GetDevice(), o.Event.GetStream()}
		if of.device != own.Device {
			continue
		}
		end, seen := ends[of]
		if !seen {
			if end, err = l.chain(ctx, of.device, of.stream); err != nil {
				return err
			}
		}
		if o.Event.GetDeviceSeq() > end.Seq {
			end = link{o.Event.GetDeviceSeq(), o.Hash[:]}
		}
		ends[of] = end
	}
	// Openings first, then each device's in its order: found in a damaged file they
	// lie in any.
	slices.SortStableFunc(list, func(a, b opened) int {
		opens := func(o opened) int {
			if o.event.GetCaseOpened() != nil {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(opens(a), opens(b)), cmp.Compare(a.event.GetDeviceSeq(), b.event.GetDeviceSeq()))
	})
	signed := make([]*eventv1.Signed, len(list))
	for i, o := range list {
		signed[i] = o.signed
	}
	if len(signed) == 0 {
		return nil
	}
	return l.addWaiting(ctx, signed, ends)
}

// takeEnds raises chains to what was found.
func (l ledger) takeEnds(ctx context.Context, ends []chainEnd) error {
	for _, end := range ends {
		is, err := l.chain(ctx, end.Device, end.Stream)
		if err != nil {
			return err
		}
		if end.Seq <= is.Seq {
			continue
		}
		w, err := chainWrite(end.Device, end.Stream, end.link)
		if err != nil {
			return err
		}
		if err := l.log.Append(ctx, log.Batch{Index: []log.Write{w}}); err != nil {
			return err
		}
	}
	return nil
}

func (h *Home) takeChains(ctx context.Context, l ledger, _ string) error {
	var own Identity
	if err := h.load("identity.json", &own); err != nil {
		return err
	}
	kept := make(map[string]link)
	if err := h.load("chains.json", &kept); err != nil {
		return err
	}
	var ends []chainEnd
	for stream, end := range kept {
		ends = append(ends, chainEnd{own.Device, stream, end})
	}
	return l.takeEnds(ctx, ends)
}

// takeRefused adds what was refused to the tray; what is listed twice is shown once.
func (l ledger) takeRefused(ctx context.Context, list []Refused) error {
	n, err := l.number(ctx, keyTray)
	if err != nil {
		return err
	}
	for _, r := range list {
		w, err := trayWrite(n, r)
		if err != nil {
			return err
		}
		n++
		if err := l.log.Append(ctx, log.Batch{Index: []log.Write{w, {Key: keyTray, Value: numbered(n)}}}); err != nil {
			return err
		}
	}
	return nil
}

func (h *Home) takeTray(ctx context.Context, l ledger, path string) error {
	var list []Refused
	err := h.lines("tray.ndjson", func(n int, line []byte) error {
		var r Refused
		if err := json.Unmarshal(line, &r); err != nil {
			// A line cut short by a crash: its event still waited, and is refused again.
			h.Warn(fmt.Sprintf("%s, line %d is damaged and was left out: %v", path, n, err))
			return nil
		}
		list = append(list, r)
		return nil
	})
	if err != nil {
		return err
	}
	return l.takeRefused(ctx, list)
}

func (h *Home) takeCheckpoint(ctx context.Context, l ledger, path string) error {
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if is, err := l.log.Get(ctx, keyCheckpoint); err != nil || is != nil {
		return err
	}
	return l.log.Append(ctx, log.Batch{Index: []log.Write{{Key: keyCheckpoint, Value: b}}})
}

// takeCopies brings in what was fetched of cases. A copy that cannot be read stays
// where it is put away: the case comes again from the server.
func (h *Home) takeCopies(ctx context.Context, l ledger, dir string) error {
	files, err := filepath.Glob(filepath.Join(dir, "*.jsonl"))
	if err != nil {
		return err
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		x, err := export.Read(bytes.NewReader(b))
		if err != nil {
			h.Warn(fmt.Sprintf("%s cannot be read and is fetched anew: %v", file, err))
			continue
		}
		var list []*boardv1.Held
		for _, line := range x.Lines {
			list = append(list, &boardv1.Held{Entry: line.Entry, Event: line.Event})
		}
		if err := l.take(ctx, "", list, nil); err != nil {
			h.Warn(fmt.Sprintf("%s is fetched anew: %v", file, err))
		}
	}
	return nil
}

// salvage takes over what can be read in the files of a log that did not hold: what
// waited, where chains ended, and the tray. What had been answered is sent
// again, which changes nothing. Cases come again from the server.
func (h *Home) salvage(ctx context.Context, to log.Log, dir string) error {
	l, f := ledger{to}, new(found)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(path)
		if err == nil {
			f.look(b)
		}
		return err
	})
	if err != nil {
		return err
	}
	if err := h.takeEvents(ctx, l, f.events); err != nil {
		return err
	}
	var ends []chainEnd
	for _, payload := range f.ends {
		var end chainEnd
		if json.Unmarshal(payload, &end) == nil && end.Device != "" {
			ends = append(ends, end)
		}
	}
	if err := l.takeEnds(ctx, ends); err != nil {
		return err
	}
	var list []Refused
	for _, payload := range f.refused {
		var r Refused
		if json.Unmarshal(payload, &r) == nil {
			list = append(list, r)
		}
	}
	// What says that one was recorded again comes after all that were refused.
	slices.SortStableFunc(list, func(a, b Refused) int { return cmp.Compare(a.Refused, b.Refused) })
	return l.takeRefused(ctx, list)
}
