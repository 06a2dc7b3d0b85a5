package client

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// One request holds at most so many events and bytes.
	maxBatch      = 100
	maxBatchBytes = 512 << 10
	// The pending file is rewritten once so many answers are in.
	settleEvery = 5000
)

// appender is what Push needs of a server.
type appender interface {
	prover
	Append(context.Context, *boardv1.AppendRequest, ...grpc.CallOption) (*boardv1.AppendResponse, error)
}

// Answer is what a server said of one event.
type Answer struct {
	Signed *eventv1.Signed
	Result *boardv1.AppendResult
}

// Sent is the outcome of a push.
type Sent struct {
	// Taken and Refused by event id.
	Taken, Refused map[string]Answer
	// Waiting is how many events still wait.
	Waiting int
}

// Push sends what waits, in order, and returns when nothing does. Refused events
// go to the tray. With an error some may still wait; Sent says how many.
func (h *Home) Push(ctx context.Context, who *Identity, to appender) (*Sent, error) {
	sent := &Sent{Taken: make(map[string]Answer), Refused: make(map[string]Answer)}
	err := h.locked("push.lock", func() error {
		heed, err := h.heeder(who.LogKey, to)
		if err != nil {
			return err
		}
		for {
			waiting, err := h.Pending()
			sent.Waiting = len(waiting)
			if err != nil || len(waiting) == 0 {
				return err
			}
			answers, pushErr := pushSome(ctx, to, waiting[:min(len(waiting), settleEvery)], heed, func(n int) {
				h.Progress(len(sent.Taken)+len(sent.Refused)+n, len(sent.Taken)+len(sent.Refused)+len(waiting))
			})
			left, err := h.settle(who.Device, answers)
			sent.Waiting = left
			for _, a := range answers {
				if a.Result.GetReason() == boardv1.Reason_REASON_UNSPECIFIED {
					sent.Taken[a.Result.GetId()] = a
				} else {
					sent.Refused[a.Result.GetId()] = a
				}
			}
			if err = errors.Join(pushErr, err); err != nil {
				return err
			}
		}
	})
	return sent, err
}

// pushSome sends the events in batches and returns the answers that are final:
// each event was taken, or refused for good.
func pushSome(ctx context.Context, to appender, events []*eventv1.Signed, heed *heeder, done func(int)) ([]Answer, error) {
	var answers []Answer
	for len(events) > 0 {
		batch := events[:batchLen(events)]
		resp, err := to.Append(ctx, &boardv1.AppendRequest{Events: batch})
		if err != nil {
			return answers, Explain(err)
		}
		if len(resp.GetResults()) != len(batch) {
			return answers, fmt.Errorf("the server answered for %d of %d events: it and this program do not fit together", len(resp.GetResults()), len(batch))
		}
		for i, r := range resp.GetResults() {
			if !final(r) {
				return answers, &Refusal{Reason: r.GetReason(), Text: r.GetText()}
			}
			if r.GetId() == "" { // bytes the server could not even name
				r.Id = idOf(batch[i])
			}
			answers = append(answers, Answer{batch[i], r})
		}
		if err := heed.heed(ctx, resp.GetCheckpoint()); err != nil {
			return answers, err
		}
		events = events[len(batch):]
		done(len(answers))
	}
	return answers, nil
}

func batchLen(events []*eventv1.Signed) int {
	bytes := 0
	for i, e := range events {
		// Each event costs its own bytes, its signature, and a few of framing.
		bytes += len(e.GetEvent()) + len(e.GetSignature()) + 16
		if i > 0 && (i == maxBatch || bytes > maxBatchBytes) {
			return i
		}
	}
	return len(events)
}

// final reports whether the server will say the same of these bytes tomorrow.
func final(r *boardv1.AppendResult) bool {
	switch r.GetReason() {
	case boardv1.Reason_REASON_UNSPECIFIED:
		return r.GetSeq() > 0
	case boardv1.Reason_REASON_NO_ROOM, boardv1.Reason_REASON_STOPPED, boardv1.Reason_REASON_LIMIT, boardv1.Reason_REASON_WHO_ARE_YOU:
		return false
	default:
		return true
	}
}

func idOf(s *eventv1.Signed) string {
	o, err := envelope.Open(s.GetEvent())
	if err != nil {
		return ""
	}
	return o.Event.GetId()
}

// settle takes answered events out of the pending file: refused ones into the
// tray first, numbers into chains.json next, so that a crash at any point loses
// nothing. It returns how many still wait.
func (h *Home) settle(device string, answers []Answer) (left int, err error) {
	err = h.locked("lock", func() error {
		waiting, err := h.pending()
		if err != nil {
			return err
		}
		left = len(waiting)
		if len(answers) == 0 {
			return nil
		}
		answered := make(map[string]bool, len(answers))
		ends := make(map[string]link)
		var tray []byte
		for _, a := range answers {
			answered[string(a.Signed.GetSignature())] = true
			if o, err := envelope.Open(a.Signed.GetEvent()); err == nil && a.Result.GetReason() != boardv1.Reason_REASON_DEVICE_NUMBER &&
				o.Event.GetDevice() == device && o.Event.GetDeviceSeq() > ends[o.Event.GetStream()].Seq {
				ends[o.Event.GetStream()] = link{o.Event.GetDeviceSeq(), o.Hash[:]}
			}
			if a.Result.GetReason() != boardv1.Reason_REASON_UNSPECIFIED {
				line, err := trayLine(h.now().Unix(), a)
				if err != nil {
					return err
				}
				tray = append(tray, line...)
			}
		}
		if len(tray) > 0 {
			if err := h.add("tray.ndjson", append([]byte{'\n'}, tray...)); err != nil {
				return err
			}
		}
		if err := h.raise(ends); err != nil {
			return err
		}
		rest := slices.DeleteFunc(waiting, func(s *eventv1.Signed) bool { return answered[string(s.GetSignature())] })
		left = len(rest)
		return h.writePending(rest)
	})
	return left, err
}

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
	// Hash is SHA-256 of Event: the hole it left in the device's chain.
	Hash      []byte `json:"hash"`
	Event     []byte `json:"event"`
	Signature []byte `json:"signature"`
	// View is the event as protojson, to be read.
	View json.RawMessage `json:"view,omitempty"`
	// Again is the id it was recorded under again; such a line only says so.
	Again string `json:"again,omitempty"`
}

func trayLine(at int64, a Answer) ([]byte, error) {
	r := Refused{
		Refused: at, ID: a.Result.GetId(), Reason: ReasonName(a.Result.GetReason()), Text: a.Result.GetText(),
		Hash: envelope.Hash(a.Signed.GetEvent()), Event: a.Signed.GetEvent(), Signature: a.Signed.GetSignature(),
	}
	if o, err := envelope.Open(a.Signed.GetEvent()); err == nil {
		r.Case, r.Kind = o.Event.GetStream(), envelope.KindName(o.Kind)
		if r.View, err = protojson.Marshal(o.Event); err != nil {
			r.View = nil
		}
	}
	b, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("cannot keep a refused event: %w", err)
	}
	return append(b, '\n'), nil
}

// Tray lists the events that a server refused, oldest first, one per id.
func (h *Home) Tray() ([]Refused, error) {
	var out []Refused
	seen := make(map[string]bool)
	err := h.lines("tray.ndjson", func(n int, line []byte) error {
		var r Refused
		if err := json.Unmarshal(line, &r); err != nil {
			// A line cut short by a crash: its event still waited, and was refused again.
			h.Warn(fmt.Sprintf("%s, line %d is damaged and was left out: %v", h.path("tray.ndjson"), n, err))
			return nil
		}
		switch key := string(r.Hash); {
		case r.Again != "":
			out = slices.DeleteFunc(out, func(old Refused) bool { return old.ID == r.ID })
		case !seen[key]:
			seen[key] = true
			out = append(out, r)
		}
		return nil
	})
	return out, err
}

// Settled notes that a refused event was recorded again under another id. Its
// line stays in the tray's file.
func (h *Home) Settled(id, again string) error {
	b, err := json.Marshal(Refused{ID: id, Again: again, Refused: h.now().Unix()})
	if err != nil {
		return fmt.Errorf("cannot note what was recorded again: %w", err)
	}
	return h.add("tray.ndjson", append(append([]byte{'\n'}, b...), '\n'))
}
