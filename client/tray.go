package client

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Refused is one event of the tray: what somebody recorded and a server would
// not take.
type Refused struct {
	// Refused is when, in seconds since 1970.
	Refused int64  `json:"refused"`
	ID      string `json:"id"`
	Case    string `json:"case"`
	Kind    string `json:"kind"`
	Reason  string `json:"reason"`
	Text    string `json:"text"`
	// Head is, of a place that was taken, the last place that the server had.
	Head uint64 `json:"head,omitempty"`
	// Hash is SHA-256 of Event: the hole it left in the device's chain.
	Hash      []byte `json:"hash"`
	Event     []byte `json:"event"`
	Signature []byte `json:"signature"`
	// View is the event as protojson, to be read.
	View json.RawMessage `json:"view,omitempty"`
	// Again is the id it was recorded under again; such a line only says so.
	Again string `json:"again,omitempty"`
}

func refused(at int64, s *eventv1.Signed, why *boardv1.AppendResult) Refused {
	r := Refused{
		Refused: at, ID: why.GetId(), Reason: ReasonName(why.GetReason()), Text: why.GetText(), Head: why.GetHead(),
		Hash: envelope.Hash(s.GetEvent()), Event: s.GetEvent(), Signature: s.GetSignature(),
	}
	if o, err := envelope.Open(s.GetEvent()); err == nil {
		r.Case, r.Kind = o.Event.GetStream(), envelope.KindName(o.Kind)
	}
	return r
}

// Anew is what was refused as it is recorded again: the same words, for an id, a number
// and a place of their own.
func (r Refused) Anew() (*eventv1.Event, error) {
	o, err := envelope.Open(r.Event)
	if err != nil {
		return nil, fmt.Errorf("the refused entry cannot be read: %w", err)
	}
	e := o.Event
	return &eventv1.Event{Stream: e.GetStream(), Happened: e.GetHappened(), Placed: e.GetPlaced(), By: e.GetBy(), Because: e.GetBecause(), Kind: e.GetKind()}, nil
}

// trayWrite keeps one, as the n-th. Its view is made when it is read.
func trayWrite(n uint64, r Refused) (log.Write, error) {
	r.View = nil
	payload, err := json.Marshal(r)
	if err != nil {
		return log.Write{}, fmt.Errorf("cannot keep a refused event: %w", err)
	}
	b, err := frame(trayMark, payload)
	return log.Write{Key: prefixTray + string(numbered(n)), Value: b}, err
}

// Tray lists the events that a server refused, oldest first, one per id, without
// those that were recorded again.
func (h *Home) Tray() ([]Refused, error) {
	var list []Refused
	seen := make(map[string]bool)
	for w, err := range h.replica.Scan(context.Background(), prefixTray) {
		if err != nil {
			return nil, fmt.Errorf("cannot read what was refused: %w", err)
		}
		var r Refused
		payload, n := unframe(w.Value)
		if n != len(w.Value) || json.Unmarshal(payload, &r) != nil {
			return nil, fmt.Errorf("%w: an entry that was refused cannot be read", log.ErrDamaged)
		}
		switch key := string(r.Hash); {
		case r.Again != "":
			list = slices.DeleteFunc(list, func(old Refused) bool { return old.ID == r.ID })
		case !seen[key]:
			seen[key] = true
			if o, err := envelope.Open(r.Event); err == nil {
				if r.View, err = protojson.Marshal(o.Event); err != nil {
					r.View = nil
				}
			}
			list = append(list, r)
		}
	}
	return list, nil
}

// Settled notes that a refused event was recorded again under another id. Its
// bytes stay in the tray.
func (h *Home) Settled(id, again string) error {
	ctx := context.Background()
	return h.locked("lock", func() error {
		n, err := h.ledger().number(ctx, keyTray)
		if err != nil {
			return err
		}
		w, err := trayWrite(n, Refused{ID: id, Again: again, Refused: h.now().Unix()})
		if err != nil {
			return err
		}
		return h.replica.Append(ctx, log.Batch{Index: []log.Write{w, {Key: keyTray, Value: numbered(n + 1)}}})
	})
}
