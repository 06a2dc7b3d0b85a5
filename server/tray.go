package server

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Refused is an event that was not taken into the log although its signature is
// good: nothing that somebody recorded is thrown away, and its hash explains the
// hole in the device's numbers.
type Refused struct {
	ID        string    `json:"id,omitempty"`
	Stream    string    `json:"stream,omitempty"`
	Event     []byte    `json:"event"`
	Signature []byte    `json:"signature"`
	Reason    string    `json:"reason"`
	Text      string    `json:"text"`
	At        time.Time `json:"at"`
	// Person and Shop sent it.
	Person string `json:"person"`
	Shop   string `json:"shop"`
}

// keepRefused puts the event into the tray, once: the first refusal stands.
func (b *batch) keepRefused(c Caller, in *incoming, r *Refusal) error {
	key := refusedKey(in.hash)
	if _, staged := b.index[key]; staged || b.refused[key] {
		return nil
	}
	kept := Refused{
		Event: in.signed.GetEvent(), Signature: in.signed.GetSignature(), Reason: r.Reason.String(), Text: r.Text,
		At: b.now(), Person: c.Person, Shop: c.Shop,
	}
	if in.opened != nil {
		kept.ID, kept.Stream = in.opened.Event.GetId(), in.opened.Event.GetStream()
	}
	v, err := json.Marshal(kept)
	if err != nil {
		return fmt.Errorf("the refused event cannot be kept: %w", err)
	}
	b.set(key, v)
	return nil
}

// Refused lists what the caller's shop sent and the log did not take, in no
// order. A guest sees only what the guest sent.
func (s *Server) Refused(ctx context.Context, c Caller) ([]Refused, error) {
	c, err := s.admit(c, boardv1.BoardService_Append_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	var out []Refused
	for w, err := range s.log.Scan(ctx, prefixRefused) {
		if err != nil {
			return nil, err
		}
		var r Refused
		if err := json.Unmarshal(w.Value, &r); err != nil {
			return nil, fmt.Errorf("the tray cannot be read: %w", err)
		}
		if r.Shop == c.Shop && (c.Role != eventv1.Role_ROLE_GUEST_SPECIALIST || r.Person == c.Person) {
			out = append(out, r)
		}
	}
	return out, nil
}
