package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const kindErased = 162

// take brings entries as a server sent them into the log, in order and each once,
// with index writes to be committed with the last of them. An entry that is here
// already must be the same, byte for byte. Of an entry of the device it is learned
// how far its chain goes. Whoever calls it holds the home's lock.
func (l ledger) take(ctx context.Context, device string, list []*boardv1.Held, with []log.Write) error {
	generation, err := l.generation(ctx)
	if err != nil {
		return err
	}
	index, err := l.log.Next(ctx, log.Range{})
	if err != nil {
		return err
	}
	t := &taking{ledger: l, device: device, generation: generation, index: index, next: map[string]uint64{}, ends: map[string]link{}}
	for _, held := range list {
		if err := t.one(ctx, held); err != nil {
			return err
		}
	}
	return t.flush(ctx, with)
}

// taking is the batch that a take gathers.
type taking struct {
	ledger
	device     string
	generation uint64
	index      uint64
	next       map[string]uint64
	ends       map[string]link
	batch      log.Batch
	size       int
}

func (t *taking) one(ctx context.Context, held *boardv1.Held) error {
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(held.GetEntry(), e); err != nil || e.GetSeq() == 0 || e.GetStream() == "" {
		return errors.New("the server sent something that is no entry")
	}
	if event := held.GetEvent(); len(event) > 0 && !bytes.Equal(envelope.Hash(event), e.GetEventHash()) {
		return fmt.Errorf("%w: entry %d of case %s came with another event than the one it names", ErrHistory, e.GetSeq(), e.GetStream())
	}
	stream := told(t.generation, e.GetStream())
	next, known := t.next[stream]
	if !known {
		var err error
		if next, err = t.log.Next(ctx, log.Range{Stream: stream}); err != nil {
			return err
		}
		t.next[stream] = next
	}
	switch {
	case e.GetSeq() > next:
		return gap{e.GetStream(), next}
	case e.GetSeq() < next:
		return t.same(ctx, stream, e, held)
	}
	if e.GetDevice() == t.device && t.device != "" {
		t.ends[e.GetStream()] = link{e.GetDeviceSeq(), e.GetEventHash()}
	}
	if e.GetKind() == kindErased {
		if err := t.erase(ctx, stream, held.GetEvent()); err != nil {
			return err
		}
	}
	if next == 1 {
		t.batch.Index = append(t.batch.Index, log.Write{Key: prefixCase + stream, Value: []byte{}})
	}
	t.batch.Records = append(t.batch.Records, log.Record{Index: t.index, Stream: stream, Seq: next, Entry: held.GetEntry(), Event: held.GetEvent()})
	t.index, t.next[stream] = t.index+1, next+1
	if t.size += len(held.GetEntry()) + len(held.GetEvent()); t.size >= maxLedgerBytes || len(t.batch.Records) >= maxLedgerWrites {
		return t.flush(ctx, nil)
	}
	return nil
}

// gap: an entry came whose predecessors in its case are not here.
type gap struct {
	stream string
	next   uint64
}

func (g gap) Error() string {
	return fmt.Sprintf("entry %d of case %s is missing", g.next, g.stream)
}

// same holds an entry that came again against the one that is here.
func (t *taking) same(ctx context.Context, stream string, e *eventv1.Entry, held *boardv1.Held) error {
	if err := t.flush(ctx, nil); err != nil { // it may be of this very batch
		return err
	}
	for item, err := range t.log.Read(ctx, log.Range{Stream: stream, From: e.GetSeq(), Limit: 1}) {
		if err != nil {
			return err
		}
		if !bytes.Equal(item.Entry, held.GetEntry()) {
			return fmt.Errorf("%w: entry %d of case %s is another one than before", ErrHistory, e.GetSeq(), e.GetStream())
		}
	}
	return nil
}

// erase takes the bytes of an event from here that were taken from the log.
func (t *taking) erase(ctx context.Context, stream string, event []byte) error {
	o, err := envelope.Open(event)
	if err != nil {
		return fmt.Errorf("the server sent something that is no event: %w", err)
	}
	if err := t.flush(ctx, nil); err != nil {
		return err
	}
	for item, err := range t.log.Read(ctx, log.Range{Stream: stream}) {
		if err != nil {
			return err
		}
		e := new(eventv1.Entry)
		if proto.Unmarshal(item.Entry, e) == nil && e.GetId() == o.Event.GetErased().GetEntry() {
			t.batch.Erase = append(t.batch.Erase, item.Index)
		}
	}
	return nil
}

// flush commits what was gathered.
func (t *taking) flush(ctx context.Context, with []log.Write) error {
	for stream, end := range t.ends {
		is, err := t.chain(ctx, t.device, stream)
		if err != nil {
			return err
		}
		// At one number what a server holds stands above what this home remembers.
		if end.Seq > is.Seq || end.Seq == is.Seq && !bytes.Equal(end.Hash, is.Hash) {
			w, err := chainWrite(t.device, stream, end)
			if err != nil {
				return err
			}
			t.batch.Index = append(t.batch.Index, w)
		}
	}
	t.batch.Index = append(t.batch.Index, with...)
	b := t.batch
	t.batch, t.size, t.ends = log.Batch{}, 0, map[string]link{}
	if len(b.Records)+len(b.Index) == 0 {
		return nil
	}
	return t.log.Append(ctx, b)
}

// take is ledger.take under the home's lock.
func (h *Home) take(ctx context.Context, who *Identity, list []*boardv1.Held, with []log.Write) error {
	err := h.locked("lock", func() error { return h.ledger().take(context.WithoutCancel(ctx), who.Device, list, with) })
	if err != nil {
		return err
	}
	return h.dropErased(list)
}

// Fetch brings one case up to date and returns it.
func (h *Home) Fetch(ctx context.Context, who *Identity, c *Conn, stream string) (*Copy, error) {
	heed, err := h.heeder(who.LogKey, c)
	if err != nil {
		return nil, err
	}
	if err := heed.newest(ctx); err != nil {
		return nil, err
	}
	if err := h.fill(ctx, who, c, stream, 0); err != nil {
		return nil, err
	}
	return h.Kept(who, stream)
}

// fill fetches a case from where it ends here through a seq, 0: as far as it goes.
func (h *Home) fill(ctx context.Context, who *Identity, c *Conn, stream string, through uint64) error {
	generation, err := h.ledger().generation(ctx)
	if err != nil {
		return err
	}
	from, err := h.replica.Next(ctx, log.Range{Stream: told(generation, stream)})
	if err != nil || through > 0 && from > through {
		return err
	}
	return each(ctx, c, &boardv1.EntriesRequest{Stream: stream, From: from, Through: through}, func(m *boardv1.EntriesResponse) error {
		return h.take(ctx, who, m.GetEntries(), nil)
	})
}

// each calls f with every message of an answer, in order.
func each(ctx context.Context, c *Conn, req *boardv1.EntriesRequest, f func(*boardv1.EntriesResponse) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	in, err := c.Entries(ctx, req)
	if err != nil {
		return Explain(err)
	}
	for {
		m, err := in.Recv()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return Explain(err)
		}
		if err := f(m); err != nil {
			return err
		}
	}
}

// Pull brings all that this home may see up to date: the shop's feed from where it
// was read last to its head. It returns how many entries came. doc.go has it step
// by step.
func (h *Home) Pull(ctx context.Context, who *Identity, c *Conn) (came int, err error) {
	heed, err := h.heeder(who.LogKey, c)
	if err != nil {
		return 0, err
	}
	if err := heed.newest(ctx); err != nil {
		return 0, err
	}
	cursor, err := h.replica.Get(ctx, keyCursor)
	if err != nil {
		return 0, err
	}
	before, err := h.replica.Next(ctx, log.Range{})
	if err != nil {
		return 0, err
	}
	err = h.follow(ctx, who, c, heed, string(cursor))
	var no *Refusal
	if errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_MALFORMED && len(cursor) > 0 {
		// A cursor of an earlier epoch. That the log goes on from what was seen was just
		// proven; what is here already is met again and held against it.
		err = h.follow(ctx, who, c, heed, "")
	}
	if err == nil {
		err = h.offer(ctx, who)
	}
	if err == nil {
		err = h.Prove(ctx, who, c)
	}
	after, nextErr := h.replica.Next(context.WithoutCancel(ctx), log.Range{})
	return int(after - before), errors.Join(err, nextErr)
}

// Complete fetches what the feed did not bring of cases that this home may see by
// now: to somebody whose role was changed it showed less before. It returns how
// many entries came.
func (h *Home) Complete(ctx context.Context, who *Identity, c *Conn) (came int, err error) {
	r, err := c.Board(ctx, &boardv1.BoardRequest{Closed: true})
	if err != nil {
		return 0, Explain(err)
	}
	before, err := h.replica.Next(ctx, log.Range{})
	if err != nil {
		return 0, err
	}
	for _, line := range r.GetCases() {
		if err := h.fill(ctx, who, c, line.GetStream(), line.GetEntries()); err != nil {
			return 0, err
		}
	}
	after, err := h.replica.Next(ctx, log.Range{})
	return int(after - before), err
}

// follow reads the feed from a cursor to its head.
func (h *Home) follow(ctx context.Context, who *Identity, c *Conn, heed *heeder, cursor string) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	in, err := c.Watch(ctx, &boardv1.WatchRequest{Cursor: cursor})
	if err != nil {
		return Explain(err)
	}
	for came := 0; ; {
		silence := time.AfterFunc(c.patience, func() { cancel(ErrOffline) })
		m, err := in.Recv()
		silence.Stop()
		if err != nil {
			if errors.Is(context.Cause(ctx), ErrOffline) {
				return ErrOffline
			}
			return Explain(err)
		}
		if err := h.takeMessage(ctx, who, c, m); err != nil {
			return err
		}
		came += len(m.GetEntries())
		h.Came(came)
		if len(m.GetCheckpoint()) > 0 { // the head
			return heed.heed(ctx, m.GetCheckpoint())
		}
	}
}

// takeMessage takes one message of the feed and then its cursor. Where the feed
// begins in the middle of a case, what comes before is fetched first.
func (h *Home) takeMessage(ctx context.Context, who *Identity, c *Conn, m *boardv1.WatchResponse) error {
	list := m.GetEntries()
	for {
		err := h.take(ctx, who, list, []log.Write{{Key: keyCursor, Value: []byte(m.GetCursor())}})
		var missing gap
		if !errors.As(err, &missing) {
			return err
		}
		err = h.fill(ctx, who, c, missing.stream, 0)
		var no *Refusal
		if errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_NOT_FOUND {
			// Access was withdrawn since. Should it be given again, the grant comes in the
			// feed, and the whole case with it.
			list = without(list, missing.stream)
			continue
		}
		if err != nil {
			return err
		}
	}
}

func without(list []*boardv1.Held, stream string) []*boardv1.Held {
	var rest []*boardv1.Held
	for _, held := range list {
		e := new(eventv1.Entry)
		if proto.Unmarshal(held.GetEntry(), e) != nil || e.GetStream() != stream {
			rest = append(rest, held)
		}
	}
	return rest
}
