package client

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"strings"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Index keys of the replica; doc.go has them one by one.
const (
	keyOut        = "out"
	keySent       = "sent"
	prefixOut     = "out/"
	keyTray       = "tray"
	prefixTray    = "tray/"
	prefixChain   = "chain/"
	prefixMine    = "mine/"
	keyGeneration = "generation"
	prefixCase    = "case/"
	keyCursor     = "cursor"
	keyCheckpoint = "checkpoint"
)

// A batch holds about so many bytes, and one value more, and index writes; the
// replica's engine takes 600 KiB.
const (
	maxLedgerBytes  = 384 << 10
	maxLedgerWrites = 1000
)

// ledger is the home's log with what the client keeps in it. Whoever writes holds
// the home's lock.
type ledger struct{ log log.Log }

func (h *Home) ledger() ledger { return ledger{h.replica} }

// number reads a counter; one that was never set is 0.
func (l ledger) number(ctx context.Context, key string) (uint64, error) {
	b, err := l.log.Get(ctx, key)
	if err != nil || b == nil {
		return 0, err
	}
	if len(b) != 8 {
		return 0, fmt.Errorf("%w: %q is %x, want 8 bytes", log.ErrDamaged, key, b)
	}
	return binary.BigEndian.Uint64(b), nil
}

func numbered(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// link is the end of the device's chain in one stream.
type link struct {
	Seq  uint64 `json:"seq"`
	Hash []byte `json:"hash"`
}

// chainEnd is how a link is kept: it says whose it is, so that it can be read
// without its key.
type chainEnd struct {
	Device string `json:"device"`
	Stream string `json:"stream"`
	link
}

// chain reads where a device's chain in a stream ends.
func (l ledger) chain(ctx context.Context, device, stream string) (link, error) {
	var end chainEnd
	b, err := l.log.Get(ctx, prefixChain+device+"/"+stream)
	if err != nil || b == nil {
		return link{}, err
	}
	payload, n := unframe(b)
	if n != len(b) || json.Unmarshal(payload, &end) != nil {
		return link{}, fmt.Errorf("%w: the last number in case %s cannot be read", log.ErrDamaged, stream)
	}
	return end.link, nil
}

func chainWrite(device, stream string, end link) (log.Write, error) {
	payload, err := json.Marshal(chainEnd{device, stream, end})
	if err != nil {
		return log.Write{}, fmt.Errorf("cannot keep the last number: %w", err)
	}
	b, err := frame(endMark, payload)
	return log.Write{Key: prefixChain + device + "/" + stream, Value: b}, err
}

// addWaiting puts events into the outbox behind those that wait, with where chains
// end then: all of it or nothing.
func (l ledger) addWaiting(ctx context.Context, events []*eventv1.Signed, ends map[chainKey]link) error {
	next, err := l.number(ctx, keyOut)
	if err != nil {
		return err
	}
	var last []log.Write
	for of, end := range ends {
		w, err := chainWrite(of.device, of.stream, end)
		if err != nil {
			return err
		}
		last = append(last, w)
	}
	var b log.Batch
	size := 0
	for _, s := range events {
		o, err := envelope.Open(s.GetEvent())
		if err != nil {
			return err
		}
		value, err := frameEvents(s)
		if err != nil {
			return err
		}
		stream := o.Event.GetStream()
		if len(b.Index) > 0 && (size+len(value) > maxLedgerBytes || len(b.Index) >= maxLedgerWrites) {
			// Not waiting before keyOut says so: a crash leaves what the next one writes over.
			if err := l.log.Append(ctx, b); err != nil {
				return err
			}
			b, size = log.Batch{}, 0
		}
		b.Index = append(b.Index, log.Write{Key: prefixOut + string(numbered(next)) + stream, Value: value})
		size, next = size+len(value), next+1
		if o.Event.GetCaseOpened() != nil {
			last = append(last, log.Write{Key: prefixMine + stream, Value: []byte{}})
		}
	}
	b.Index = append(append(b.Index, last...), log.Write{Key: keyOut, Value: numbered(next)})
	return l.log.Append(ctx, b)
}

type chainKey struct{ device, stream string }

// out is an event that waits to be sent.
type out struct {
	key    string
	stream string
	*eventv1.Signed
}

// number of the event in the outbox.
func (o out) number() uint64 { return binary.BigEndian.Uint64([]byte(o.key[len(prefixOut):])) }

// numbersTogether is how many numbers of the outbox begin with the same seven bytes.
const numbersTogether = 1 << 8

// waiting yields what waits, in order. It looks from the first number that may wait
// on: what was sent is deleted, and an engine passes over what it deleted for as long
// as it keeps it.
func (l ledger) waiting(ctx context.Context) iter.Seq2[out, error] {
	return func(yield func(out, error) bool) {
		next, err := l.number(ctx, keyOut)
		var first uint64
		if err == nil {
			first, err = l.number(ctx, keySent)
		}
		if err != nil {
			yield(out{}, err)
			return
		}
		for at := first; at < next; at += numbersTogether - at%numbersTogether {
			for w, err := range l.waitingUnder(ctx, prefixOut+string(numbered(at)[:7])) {
				if !yield(w, err) || err != nil {
					return
				}
			}
		}
	}
}

// waitingUnder is waiting, of what lies under keys with a longer prefix.
func (l ledger) waitingUnder(ctx context.Context, prefix string) iter.Seq2[out, error] {
	return func(yield func(out, error) bool) {
		next, err := l.number(ctx, keyOut)
		if err != nil {
			yield(out{}, err)
			return
		}
		for w, err := range l.log.Scan(ctx, prefix) {
			if err != nil {
				yield(out{}, err)
				return
			}
			number, stream := []byte(w.Key[len(prefixOut):]), ""
			if len(number) >= 8 {
				number, stream = number[:8], string(number[8:])
			}
			if len(number) != 8 || binary.BigEndian.Uint64(number) >= next {
				continue // of a save that was interrupted before it was one
			}
			events, n := unframeEvents(w.Value)
			if n != len(w.Value) || len(events) != 1 {
				yield(out{}, fmt.Errorf("%w: an entry that waits to be sent cannot be read", log.ErrDamaged))
				return
			}
			if !yield(out{w.Key, stream, events[0]}, nil) {
				return
			}
		}
	}
}

// countWaiting is how many events wait.
func (l ledger) countWaiting(ctx context.Context) (n int, err error) {
	for _, err := range l.waiting(ctx) {
		if err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// generation is which telling of the server's log is believed: 1, and one more
// each time somebody accepted that it was restored from a backup.
func (l ledger) generation(ctx context.Context) (uint64, error) {
	n, err := l.number(ctx, keyGeneration)
	return max(n, 1), err
}

// told names the stream in which the entries of a case lie.
func told(generation uint64, stream string) string { return fmt.Sprintf("%d/%s", generation, stream) }

// cases lists the cases that the server told of, and those opened here.
func (l ledger) cases(ctx context.Context) ([]string, error) {
	generation, err := l.generation(ctx)
	if err != nil {
		return nil, err
	}
	var list []string
	seen := make(map[string]bool)
	for _, prefix := range []string{prefixCase + told(generation, ""), prefixMine} {
		for w, err := range l.log.Scan(ctx, prefix) {
			if err != nil {
				return nil, err
			}
			if stream := strings.TrimPrefix(w.Key, prefix); !seen[stream] {
				seen[stream] = true
				list = append(list, stream)
			}
		}
	}
	return list, nil
}

// unsure says of a failed write whether nothing was kept.
func unsure(err error) error {
	if log.Unknown(err) && !errors.Is(err, envelope.ErrTooBig) {
		return fmt.Errorf("nobody knows whether it was kept: look with 'knowngood sync' before you record it again: %w", err)
	}
	return err
}
