package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// ErrNotFound: nothing here by that name.
var ErrNotFound = errors.New("not found")

const kindErased = 162

// Copy is a case as this home holds it.
type Copy struct {
	// Case folds what the server gave and, behind it, what waits to be sent.
	Case *cases.Case
	// Export holds the entries the server gave.
	Export *export.Export
	// Sent is the last seq of the server's; what lies beyond waits to be sent.
	Sent uint64
	// Stale: the server did not answer, and this is what was fetched before.
	Stale bool
}

// Waiting is how many entries wait to be sent.
func (c *Copy) Waiting() int { return int(c.Case.Head() - c.Sent) }

// Kept returns a case from what this home holds already, without a server.
func (h *Home) Kept(who *Identity, stream string) (*Copy, error) {
	x, err := h.kept(stream)
	if err != nil {
		return nil, err
	}
	return h.folded(who, x)
}

func (h *Home) kept(stream string) (*export.Export, error) {
	b, err := os.ReadFile(h.path(filepath.Join("cases", stream+".jsonl")))
	if errors.Is(err, fs.ErrNotExist) {
		return &export.Export{Head: export.Head{Case: stream}}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read what was fetched of the case: %w", err)
	}
	x, err := export.Read(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("%s: %w; move it away, and it is fetched anew", h.path(filepath.Join("cases", stream+".jsonl")), err)
	}
	return x, nil
}

// Fetch brings this home's copy of a case up to date.
func (h *Home) Fetch(ctx context.Context, who *Identity, c *Conn, stream string) (*Copy, error) {
	x, err := h.kept(stream)
	if err != nil {
		return nil, err
	}
	had := len(x.Lines)
	fresh, err := h.entries(ctx, who, c, stream, uint64(had)+1, false)
	if err != nil {
		return nil, err
	}
	if erases(fresh.Lines) && had > 0 {
		// Bytes that are gone from the log have to go from here too.
		if fresh, err = h.entries(ctx, who, c, stream, 1, false); err != nil {
			return nil, err
		}
		x.Lines = nil
	}
	if len(fresh.Lines) > 0 {
		x.Head.Log = fresh.Head.Log
		x.Lines = append(x.Lines, fresh.Lines...)
		x.Head.Entries = len(x.Lines)
		var b bytes.Buffer
		if err := export.Write(&b, x); err != nil {
			return nil, err
		}
		if err := h.replace(filepath.Join("cases", stream+".jsonl"), b.Bytes()); err != nil {
			return nil, err
		}
	}
	out, err := h.folded(who, x)
	if err != nil {
		return nil, err
	}
	return out, h.met(who.Device, out)
}

// FetchExport fetches a whole case with what proves it.
func (h *Home) FetchExport(ctx context.Context, who *Identity, c *Conn, stream string, names bool) (*export.Export, error) {
	x, err := h.entries(ctx, who, c, stream, 1, true)
	if err != nil {
		return nil, err
	}
	known, err := h.HearNames(ctx, c)
	if err != nil {
		return nil, err
	}
	x.Head.LogKey = who.LogKey
	wrote := make(map[string]bool)
	for _, l := range x.Lines {
		e := new(eventv1.Entry)
		if err := proto.Unmarshal(l.Entry, e); err != nil {
			return nil, fmt.Errorf("the server sent something that is no entry: %w", err)
		}
		wrote[e.GetDevice()] = true
	}
	for _, d := range known.Devices {
		if wrote[d.Device] {
			x.Head.Devices = append(x.Head.Devices, d)
		}
	}
	if names {
		x.Head.Shops, x.Head.People = known.Shops, known.People
	}
	x.Views()
	return x, nil
}

// entries fetches from a seq on, and checks that they follow one another.
func (h *Home) entries(ctx context.Context, who *Identity, c *Conn, stream string, from uint64, proofs bool) (*export.Export, error) {
	heed, err := h.heeder(who.LogKey, c)
	if err != nil {
		return nil, err
	}
	in, err := c.Entries(ctx, &boardv1.EntriesRequest{Stream: stream, From: from, Proofs: proofs})
	if err != nil {
		return nil, Explain(err)
	}
	x := &export.Export{Head: export.Head{Case: stream}}
	for {
		m, err := in.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, Explain(err)
		}
		for i, held := range m.GetEntries() {
			e := new(eventv1.Entry)
			if err := proto.Unmarshal(held.GetEntry(), e); err != nil || e.GetSeq() != from || e.GetStream() != stream {
				return nil, fmt.Errorf("the server sent something else where entry %d of the case belongs", from)
			}
			from++
			x.Head.Log = e.GetLog()
			l := export.Line{Entry: held.GetEntry(), Event: held.GetEvent(), Signature: e.GetSignature()}
			if i < len(m.GetProofs()) {
				l.Proof = export.SplitProof(m.GetProofs()[i])
			}
			x.Lines = append(x.Lines, l)
		}
		if len(m.GetCheckpoint()) > 0 {
			x.Head.Checkpoint = string(m.GetCheckpoint())
			if err := heed.heed(ctx, m.GetCheckpoint()); err != nil {
				return nil, err
			}
		}
	}
	return x, nil
}

func erases(lines []export.Line) bool {
	for _, l := range lines {
		e := new(eventv1.Entry)
		if proto.Unmarshal(l.Entry, e) == nil && e.GetKind() == kindErased {
			return true
		}
	}
	return false
}

// FromExport folds an export; nobody's pending events are added.
func FromExport(x *export.Export) (*Copy, error) {
	c, err := fold(x)
	if err != nil {
		return nil, err
	}
	return &Copy{Case: c, Export: x, Sent: c.Head()}, nil
}

func fold(x *export.Export) (*cases.Case, error) {
	records := make([]cases.Record, 0, len(x.Lines))
	for i, l := range x.Lines {
		r, err := cases.NewRecord(l.Entry, l.Event)
		if err != nil {
			return nil, export.Problem{Line: i + 2, What: err.Error()}
		}
		records = append(records, r)
	}
	return cases.Fold(x.Head.Case, records)
}

// folded folds the entries and behind them what waits to be sent, at the places
// it would take.
func (h *Home) folded(who *Identity, x *export.Export) (*Copy, error) {
	c, err := fold(x)
	if err != nil {
		return nil, err
	}
	out := &Copy{Case: c, Export: x, Sent: c.Head()}
	waiting, err := h.Pending()
	if err != nil {
		return nil, err
	}
	for _, s := range waiting {
		o, err := envelope.Open(s.GetEvent())
		if err != nil || o.Event.GetStream() != x.Head.Case || c.ByID(o.Event.GetId()) != nil {
			continue
		}
		entry := envelope.NewEntry(o, s.GetSignature(), x.Head.Log, 0, c.Head()+1, nil, who.Person, who.Shop)
		err = c.Apply(cases.Record{Entry: entry, Event: o.Event, Known: o.Known, Strange: o.Strange})
		if err != nil {
			return nil, fmt.Errorf("an entry that waits to be sent: %w", err)
		}
	}
	return out, nil
}

// FindCase resolves what somebody calls a case: its id, the end of its id, or
// nothing for the case in use. The cases this home has seen are looked through;
// seen adds those a server lists.
func (h *Home) FindCase(said string, seen ...string) (string, error) {
	if said == "" {
		m, err := h.Memory()
		if err != nil {
			return "", err
		}
		if m.Case == "" {
			return "", fmt.Errorf("%w: no case is in use; 'knowngood use CASE' chooses one, 'knowngood board' lists them", ErrNotFound)
		}
		return m.Case, nil
	}
	said = strings.ToLower(said)
	if notation.CheckID(said) == nil {
		return said, nil
	}
	if len(said) < 4 {
		return "", fmt.Errorf("%q is too short for a case: give its last four characters or more", said)
	}
	kept, err := h.KeptCases()
	if err != nil {
		return "", err
	}
	found := make(map[string]bool)
	for _, id := range append(kept, seen...) {
		if strings.HasSuffix(id, said) {
			found[id] = true
		}
	}
	for id := range found {
		if len(found) == 1 {
			return id, nil
		}
	}
	if len(found) > 1 {
		return "", fmt.Errorf("%w: %q fits %d cases: give more of its end", ErrNotFound, said, len(found))
	}
	return "", fmt.Errorf("%w: no case ends in %q; 'knowngood board' lists them", ErrNotFound, said)
}

// KeptCases lists the cases this home holds a copy of.
func (h *Home) KeptCases() ([]string, error) {
	files, err := filepath.Glob(h.path("cases/*.jsonl"))
	if err != nil {
		return nil, fmt.Errorf("cannot list the cases kept here: %w", err)
	}
	for i, f := range files {
		files[i] = strings.TrimSuffix(filepath.Base(f), ".jsonl")
	}
	return files, nil
}
