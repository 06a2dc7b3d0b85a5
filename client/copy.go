package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	"knowngood.example/cases/notation"
)

// ErrNotFound: nothing here by that name.
var ErrNotFound = errors.New("not found")

// Copy is a case as this home holds it.
type Copy struct {
	// Case folds what the server gave and, behind it, what waits to be sent.
	Case *cases.Case
	// Sent is the last seq of the server's; what lies beyond waits to be sent.
	Sent uint64
	// Stale: the server did not answer, and this is what was fetched before.
	Stale bool
}

// Waiting is how many entries wait to be sent.
func (c *Copy) Waiting() int { return int(c.Case.Head() - c.Sent) }

// Kept returns a case from what this home holds already, without a server: what was
// told of it, and behind it what waits, at the places it would take.
func (h *Home) Kept(who *Identity, stream string) (*Copy, error) {
	ctx := context.Background()
	var records []cases.Record
	err := h.Held(ctx, stream, func(entry, event []byte) error {
		r, err := cases.NewRecord(entry, event)
		if err != nil {
			return fmt.Errorf("what was fetched of the case: %w", err)
		}
		records = append(records, r)
		return nil
	})
	if err != nil {
		return nil, err
	}
	c, err := cases.Fold(stream, records)
	if err != nil {
		return nil, err
	}
	kept := &Copy{Case: c, Sent: c.Head()}
	return kept, h.addWaiting(ctx, who, kept, prefixOut)
}

// Held yields what the server told of a case, in order: each entry as it was sent,
// and its event, empty once erased.
func (h *Home) Held(ctx context.Context, stream string, each func(entry, event []byte) error) error {
	generation, err := h.ledger().generation(ctx)
	if err != nil {
		return err
	}
	for item, err := range h.replica.Read(ctx, log.Range{Stream: told(generation, stream)}) {
		if err != nil {
			return fmt.Errorf("cannot read what was fetched of the case: %w", err)
		}
		if err := each(item.Entry, item.Event); err != nil {
			return err
		}
	}
	return nil
}

// FromExport folds an export; nobody's pending events are added.
func FromExport(x *export.Export) (*Copy, error) {
	c, err := fold(x)
	if err != nil {
		return nil, err
	}
	return &Copy{Case: c, Sent: c.Head()}, nil
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

// KeptCases lists the cases that were told of or opened here.
func (h *Home) KeptCases() ([]string, error) {
	list, err := h.ledger().cases(context.Background())
	if err != nil {
		return nil, fmt.Errorf("cannot list the cases kept here: %w", err)
	}
	return list, nil
}

// NamesFile reports whether an attachment of the case names the file.
func (c *Copy) NamesFile(sum []byte) bool {
	return slices.ContainsFunc(c.Case.Attachments, func(s *cases.Step) bool { return bytes.Equal(s.Says.GetAttachment().GetSha256(), sum) })
}
