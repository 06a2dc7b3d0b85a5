package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// batch is what is going to be committed together. It is laid over the log, so
// that an event sees those before it in the same batch.
type batch struct {
	*committer
	records []log.Record
	writes  []log.Write
	heads   map[string]uint64
	tops    map[string]top
	index   map[string][]byte
	cases   map[string]*access
	// claimed holds the names of shops and ids of devices that are new in this
	// batch, with whose they are.
	claimed map[string]string
	// telling are the events that the register takes in once they are kept.
	telling []*eventv1.Event
}

func (b *batch) get(key string) ([]byte, error) {
	if v, ok := b.index[key]; ok {
		return v, nil
	}
	return b.log.Get(context.Background(), key)
}

func (b *batch) set(key string, value []byte) {
	b.index[key] = value
	b.writes = append(b.writes, log.Write{Key: key, Value: value})
}

// head is the last seq of the stream.
func (b *batch) head(stream string) (uint64, error) {
	if h, ok := b.heads[stream]; ok {
		return h, nil
	}
	if h, ok := b.committer.heads[stream]; ok {
		return h, nil
	}
	next, err := b.log.Next(context.Background(), log.Range{Stream: stream})
	if err != nil {
		return 0, err
	}
	b.heads[stream] = next - 1
	return next - 1, nil
}

func (b *batch) access(stream string) *access {
	if a, ok := b.cases[stream]; ok {
		return a
	}
	return b.register.access(stream)
}

// place gives the event its place. Everything about it has been decided.
func (b *batch) place(o *envelope.Opened, signature []byte, person, shop string) (seq uint64, err error) {
	e, now := o.Event, b.now()
	stream := e.GetStream()
	head, err := b.head(stream)
	if err != nil {
		return 0, err
	}
	seq = head + 1
	index := b.size + uint64(len(b.records))
	entry, err := proto.MarshalOptions{Deterministic: true}.Marshal(
		envelope.NewEntry(o, signature, b.identity.log, index, seq, moment(now), person, shop))
	if err != nil {
		return 0, fmt.Errorf("entry %d of %s: %w", seq, stream, err)
	}
	a := b.access(stream)
	if touchesAccess(o.Kind) {
		b.telling = append(b.telling, e)
		if next := a.after(e); next != a {
			a = next
			b.cases[stream] = a
		}
	}
	var feeds []string
	for _, shop := range a.readers(now) {
		feeds = append(feeds, feedOf(shop))
	}
	if touchesAccess(o.Kind) {
		feeds = append(feeds, feedAccess)
	}
	b.records = append(b.records, log.Record{Index: index, Stream: stream, Seq: seq, Entry: entry, Event: o.Bytes, Feeds: feeds})
	b.heads[stream] = seq
	b.set(idKey(stream, e.GetId()), placed{seq, o.Kind, o.Hash}.value())
	number := numbered{string(o.Hash[:]), string(e.GetPrev())}
	b.set(numberKey(stream, e.GetDevice(), e.GetDeviceSeq()), number.value())
	if t, err := b.top(stream, e.GetDevice()); err != nil {
		return 0, err
	} else if e.GetDeviceSeq() > t.number {
		b.tops[topKey(stream, e.GetDevice())] = top{e.GetDeviceSeq(), number}
	}
	if err := b.nameFile(o); err != nil {
		return 0, err
	}
	if key := refusedKey(o.Hash[:]); b.refused[key] {
		b.set(key, nil)
	}
	return seq, nil
}

// say places an event of the server's own. Fill sets its kind.
func (b *batch) say(stream, person, shop string, fill func(*eventv1.Event)) error {
	last, err := b.get(ownKey(stream))
	if err != nil {
		return err
	}
	head, err := b.head(stream)
	if err != nil {
		return err
	}
	e := &eventv1.Event{
		Id: b.newID(), Stream: stream, Device: b.identity.device, DeviceSeq: 1, ObservedThrough: head,
		Happened: moment(b.now()), RecordedBy: b.identity.device, Salt: random(envelope.SaltSize),
	}
	if len(last) == 8+sha256.Size {
		e.DeviceSeq, e.Prev = binary.BigEndian.Uint64(last)+1, last[8:]
	}
	fill(e)
	signed, err := envelope.Sign(e, b.identity.key)
	if err != nil {
		return fmt.Errorf("an event of the server's own: %w", err)
	}
	o, err := envelope.Open(signed.GetEvent())
	if err != nil {
		return fmt.Errorf("an event of the server's own: %w", err)
	}
	b.set(ownKey(stream), append(binary.BigEndian.AppendUint64(nil, e.GetDeviceSeq()), o.Hash[:]...))
	_, err = b.place(o, signed.GetSignature(), person, shop)
	return err
}

// top is the highest number of a device in a stream that is here, 0 when there
// is none, with what is kept under it.
type top struct {
	number uint64
	numbered
}

func topKey(stream, device string) string { return raw(stream) + raw(device) }

// top looks for the highest number once, and follows it from then on.
func (b *batch) top(stream, device string) (top, error) {
	key := topKey(stream, device)
	if t, ok := b.tops[key]; ok {
		return t, nil
	}
	if t, ok := b.committer.tops[key]; ok {
		return t, nil
	}
	var t top
	for w, err := range b.log.Scan(context.Background(), prefixNumber+key) {
		if err != nil {
			return top{}, err
		}
		held, ok := readNumbered(w.Value)
		if !ok || len(w.Key) != len(prefixNumber)+len(key)+8 {
			return top{}, fmt.Errorf("%w: the index key %q", log.ErrDamaged, w.Key)
		}
		t = top{binary.BigEndian.Uint64([]byte(w.Key[len(w.Key)-8:])), held}
	}
	b.tops[key] = t
	return t, nil
}

// chain holds an event's number against those of the same device in the stream
// that are here. A number that is missing before it is no fault: the remark
// names the hole.
func (b *batch) chain(o *envelope.Opened) (remark string, refusal *Refusal, err error) {
	e := o.Event
	n, stream, device := e.GetDeviceSeq(), e.GetStream(), e.GetDevice()
	highest, err := b.top(stream, device)
	if err != nil {
		return "", nil, err
	}
	at := func(n uint64) (numbered, bool, error) {
		switch {
		case n == 0 || n > highest.number:
			return numbered{}, false, nil
		case n == highest.number:
			return highest.numbered, true, nil
		}
		v, err := b.get(numberKey(stream, device, n))
		if err != nil || v == nil {
			return numbered{}, false, err
		}
		held, ok := readNumbered(v)
		if !ok {
			return numbered{}, false, fmt.Errorf("%w: the index key of number %d of device %s in %s", log.ErrDamaged, n, device, stream)
		}
		return held, true, nil
	}
	if _, held, err := at(n); err != nil {
		return "", nil, err
	} else if held {
		return "", refuse(boardv1.Reason_REASON_DEVICE_NUMBER, "device_seq: this device used number %d in this stream for another event", n), nil
	}
	if after, held, err := at(n + 1); err != nil {
		return "", nil, err
	} else if held && after.prev != string(o.Hash[:]) {
		return "", refuse(boardv1.Reason_REASON_DEVICE_NUMBER, "device_seq: number %d of this device is here and names another event as its number %d", n+1, n), nil
	}
	if n == 1 {
		return "", nil, nil
	}
	before, held, err := at(n - 1)
	switch {
	case err != nil:
		return "", nil, err
	case !held:
		return fmt.Sprintf("number %d of this device is not here", n-1), nil, nil
	case before.hash != string(e.GetPrev()):
		return "", refuse(boardv1.Reason_REASON_DEVICE_NUMBER, "prev: it is not the SHA-256 of this device's number %d, which is here", n-1), nil
	}
	return "", nil, nil
}

// heldAlready finds the event's first place; other reports that its id is taken
// by other bytes.
func (b *batch) heldAlready(o *envelope.Opened) (seq uint64, other bool, err error) {
	v, err := b.get(idKey(o.Event.GetStream(), o.Event.GetId()))
	if err != nil || v == nil {
		return 0, false, err
	}
	p, ok := readPlaced(v)
	if !ok {
		return 0, false, fmt.Errorf("%w: the index key of event %s", log.ErrDamaged, o.Event.GetId())
	}
	if !bytes.Equal(p.hash[:], o.Hash[:]) {
		return 0, true, nil
	}
	return p.seq, false, nil
}

// woken names the streams and feeds that the batch adds to.
func (b *batch) woken() map[string]bool {
	names := map[string]bool{}
	for _, r := range b.records {
		names[r.Stream] = true
		for _, f := range r.Feeds {
			names[f] = true
		}
	}
	return names
}

// withdraws says whether a device may not be used any more, wherever it watches.
func (b *batch) withdraws() bool {
	return slices.ContainsFunc(b.telling, func(e *eventv1.Event) bool { return e.GetDeviceWithdrawn() != nil })
}

// moment of the server's clock.
func moment(t time.Time) *eventv1.Moment {
	return &eventv1.Moment{UnixSeconds: t.Unix(), Nanos: int32(t.Nanosecond()), Precision: eventv1.Precision_PRECISION_SECOND}
}
