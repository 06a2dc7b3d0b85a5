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
		if err := h.locked("lock", func() error { return h.adopt(ctx, who) }); err != nil {
			return err
		}
		p := &push{Home: h, who: who, to: to, sent: sent}
		return errors.Join(p.all(ctx), p.settled())
	})
	if err != nil {
		left, countErr := h.ledger().countWaiting(context.WithoutCancel(ctx))
		sent.Waiting, err = left, errors.Join(err, countErr)
	}
	return sent, err
}

// push is one push under way. While what one answer says is kept here, the next
// events are on their way: what that waits for, the disk and a proof, is not what a
// server waits for.
type push struct {
	*Home
	who  *Identity
	to   appender
	heed *heeder
	// sent is what was settled, of about so many that waited when the push began.
	// Whoever settles has both.
	sent *Sent
	of   int
	// settling has what became of keeping the last answer; nil: nothing is under way.
	settling chan error
}

// all sends batch by batch until nothing waits.
func (p *push) all(ctx context.Context) error {
	end, err := p.ledger().number(ctx, keyOut)
	if err != nil {
		return err
	}
	for again := true; again; {
		again = false
		var batch []out
		for w, err := range p.ledger().waiting(ctx) {
			if err != nil {
				return err
			}
			if p.heed == nil {
				p.of = int(end - w.number())
				if p.heed, err = p.heeder(p.who.LogKey, p.to); err != nil {
					return err
				}
			}
			if batch = append(batch, w); batchLen(batch) < len(batch) {
				again = true // others may have recorded meanwhile
				if err := p.batch(ctx, batch[:len(batch)-1]); err != nil {
					return err
				}
				batch = []out{w}
			}
		}
		if len(batch) > 0 {
			again = true
			if err := p.batch(ctx, batch); err != nil {
				return err
			}
		}
		// What was answered has left the outbox before it is looked at again.
		if err := p.settled(); err != nil {
			return err
		}
	}
	return nil
}

// settled waits until the last answer is kept.
func (p *push) settled() error {
	if p.settling == nil {
		return nil
	}
	err := <-p.settling
	p.settling = nil
	return err
}

// batch sends some events and begins to settle those that were answered for good:
// taken, or refused. It sends nothing behind an event that was not.
func (p *push) batch(ctx context.Context, batch []out) error {
	req := new(boardv1.AppendRequest)
	for _, w := range batch {
		req.Events = append(req.Events, w.Signed)
	}
	resp, err := p.to.Append(ctx, req)
	if err != nil {
		return Explain(err)
	}
	if len(resp.GetResults()) != len(batch) {
		return fmt.Errorf("the server answered for %d of %d events: it and this program do not fit together", len(resp.GetResults()), len(batch))
	}
	if err := p.settled(); err != nil {
		return err
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
	p.settling = make(chan error, 1)
	go func() { p.settling <- p.keep(ctx, batch[:len(results)], results, resp.GetCheckpoint()) }()
	return stop
}

// keep settles what was answered, with the checkpoint that came with it. That these
// were taken stands, whatever else the server tells.
func (p *push) keep(ctx context.Context, answered []out, results []*boardv1.AppendResult, checkpoint []byte) error {
	asked, settled := false, false
	settle := func(with []log.Write) error {
		asked = true
		err := p.settle(context.WithoutCancel(ctx), answered, results, with)
		settled = err == nil
		return err
	}
	var err error
	if len(checkpoint) > 0 {
		err = p.heed.heedAnd(ctx, checkpoint, settle)
	}
	if !asked {
		err = errors.Join(err, p.locked("lock", func() error { return settle(nil) }))
	}
	if !settled {
		return err
	}
	for _, r := range results {
		if r.GetReason() == boardv1.Reason_REASON_UNSPECIFIED {
			p.sent.Taken[r.GetId()] = r
		} else {
			p.sent.Refused[r.GetId()] = r
		}
	}
	done := len(p.sent.Taken) + len(p.sent.Refused)
	p.Progress(done, max(p.of, done))
	return err
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
// tray, each in one batch with its line there; with is written in the last of them.
// The lock must be held.
func (h *Home) settle(ctx context.Context, answered []out, results []*boardv1.AppendResult, with []log.Write) error {
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
	if len(answered) > 0 {
		// Sent in order, and nobody else sends: nothing waits before it. In the last batch,
		// since it hides what is before it.
		b.Index = append(b.Index, log.Write{Key: keySent, Value: numbered(answered[len(answered)-1].number() + 1)})
	}
	if b.Index = append(b.Index, with...); len(b.Index) == 0 {
		return nil
	}
	return h.replica.Append(ctx, b)
}
