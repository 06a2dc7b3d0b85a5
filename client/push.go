package client

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/grpc"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// One request holds at most so many events and bytes.
	maxBatch      = 100
	maxBatchBytes = 512 << 10
)

// appender is what Push needs of a server.
type appender interface {
	prover
	Append(context.Context, *boardv1.AppendRequest, ...grpc.CallOption) (*boardv1.AppendResponse, error)
}

// Sent is the outcome of a push.
type Sent struct {
	// Taken and Refused by event id.
	Taken, Refused map[string]*boardv1.AppendResult
	// Waiting is how many events still wait.
	Waiting int
}

// Push sends what waits, in order, and returns when nothing does. Refused events
// go to the tray. With an error some may still wait; Sent says how many. It holds
// no more than a batch of events at a time.
func (h *Home) Push(ctx context.Context, who *Identity, to appender) (*Sent, error) {
	sent := &Sent{Taken: make(map[string]*boardv1.AppendResult), Refused: make(map[string]*boardv1.AppendResult)}
	err := h.locked("push.lock", func() error {
		l := h.ledger()
		if err := h.locked("lock", func() error { return h.adopt(ctx, who) }); err != nil {
			return err
		}
		of, err := l.countWaiting(ctx)
		if err != nil || of == 0 {
			return err
		}
		heed, err := h.heeder(who.LogKey, to)
		if err != nil {
			return err
		}
		for again := true; again; {
			again = false
			var batch []out
			send := func(now []out) error {
				err := h.pushBatch(ctx, to, heed, now, sent)
				done := len(sent.Taken) + len(sent.Refused)
				h.Progress(done, max(of, done))
				return err
			}
			for w, err := range l.waiting(ctx) {
				if err != nil {
					return err
				}
				if batch = append(batch, w); batchLen(batch) < len(batch) {
					again = true // others may have recorded meanwhile
					if err := send(batch[:len(batch)-1]); err != nil {
						return err
					}
					batch = []out{w}
				}
			}
			if len(batch) > 0 {
				again = true
				if err := send(batch); err != nil {
					return err
				}
			}
		}
		return nil
	})
	left, countErr := h.ledger().countWaiting(context.WithoutCancel(ctx))
	sent.Waiting = left
	return sent, errors.Join(err, countErr)
}

// pushBatch sends some events and settles those that were answered for good: taken,
// or refused.
func (h *Home) pushBatch(ctx context.Context, to appender, heed *heeder, batch []out, sent *Sent) error {
	req := new(boardv1.AppendRequest)
	for _, w := range batch {
		req.Events = append(req.Events, w.Signed)
	}
	resp, err := to.Append(ctx, req)
	if err != nil {
		return Explain(err)
	}
	if len(resp.GetResults()) != len(batch) {
		return fmt.Errorf("the server answered for %d of %d events: it and this program do not fit together", len(resp.GetResults()), len(batch))
	}
	var stop error
	results := resp.GetResults()
	for i, r := range results {
		if !final(r) {
			results, stop = results[:i], &Refusal{Reason: r.GetReason(), Text: r.GetText()}
			break
		}
		if r.GetId() == "" { // bytes the server could not even name
			r.Id = idOf(batch[i].Signed)
		}
	}
	// Settled before the checkpoint is looked at: that these were taken stands, whatever
	// else the server tells.
	if err := h.settle(context.WithoutCancel(ctx), batch[:len(results)], results); err != nil {
		return errors.Join(stop, err)
	}
	for _, r := range results {
		if r.GetReason() == boardv1.Reason_REASON_UNSPECIFIED {
			sent.Taken[r.GetId()] = r
		} else {
			sent.Refused[r.GetId()] = r
		}
	}
	if stop != nil {
		return stop
	}
	return heed.heed(ctx, resp.GetCheckpoint())
}

// batchLen is how many of the events fit one request.
func batchLen(events []out) int {
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

// settle takes answered events out of the outbox and puts the refused ones into the
// tray, each in one batch with its line there.
func (h *Home) settle(ctx context.Context, answered []out, results []*boardv1.AppendResult) error {
	if len(answered) == 0 {
		return nil
	}
	return h.locked("lock", func() error {
		n, err := h.ledger().number(ctx, keyTray)
		if err != nil {
			return err
		}
		var b log.Batch
		size := 0
		for i, r := range results {
			b.Index = append(b.Index, log.Write{Key: answered[i].key})
			if r.GetReason() == boardv1.Reason_REASON_UNSPECIFIED {
				continue
			}
			w, err := trayWrite(n, refused(h.now().Unix(), answered[i].Signed, r))
			if err != nil {
				return err
			}
			n++
			b.Index = append(b.Index, w, log.Write{Key: keyTray, Value: numbered(n)})
			if size += len(w.Value); size > maxLedgerBytes {
				if err := h.replica.Append(ctx, b); err != nil {
					return err
				}
				b, size = log.Batch{}, 0
			}
		}
		if len(b.Index) == 0 {
			return nil
		}
		return h.replica.Append(ctx, b)
	})
}
