package log

import "fmt"

// MaxKey is the longest stream, feed or index key an engine must take, MaxValue
// the longest entry, event or index value, and MaxTree the most tree hashes of
// one record, in bytes. Longer ones are refused with ErrTooBig.
const (
	MaxKey   = 1 << 10
	MaxValue = 128 << 10
	MaxTree  = 64 * 32
)

// Check says whether b may follow a log in which next gives the position that
// the next record of a range would take. The error wraps ErrPlace or ErrTooBig.
// Every engine calls it before it keeps anything.
func (b Batch) Check(next func(Range) uint64) error {
	size := next(Range{})
	seqs := make(map[string]uint64)
	for i, r := range b.Records {
		if want := size + uint64(i); r.Index != want {
			return fmt.Errorf("%w: record %d of the batch has index %d, want %d", ErrPlace, i, r.Index, want)
		}
		if r.Stream == "" {
			return fmt.Errorf("%w: the record of index %d names no stream", ErrPlace, r.Index)
		}
		want, seen := seqs[r.Stream]
		if !seen {
			want = next(Range{Stream: r.Stream})
		}
		if r.Seq != want {
			return fmt.Errorf("%w: the record of index %d has seq %d in stream %q, want %d", ErrPlace, r.Index, r.Seq, r.Stream, want)
		}
		seqs[r.Stream] = want + 1
		feeds := make(map[string]bool, len(r.Feeds))
		for _, f := range r.Feeds {
			if f == "" || feeds[f] {
				return fmt.Errorf("%w: the record of index %d names feed %q twice or without a name", ErrPlace, r.Index, f)
			}
			feeds[f] = true
			if len(f) > MaxKey {
				return fmt.Errorf("%w: a feed of index %d has a name of %d bytes, at most %d", ErrTooBig, r.Index, len(f), MaxKey)
			}
		}
		if len(r.Stream) > MaxKey || len(r.Entry) > MaxValue || len(r.Event) > MaxValue || len(r.Tree) > MaxTree {
			return fmt.Errorf("%w: the record of index %d has a stream of %d, an entry of %d, an event of %d and tree hashes of %d bytes; at most %d, %d, %d and %d",
				ErrTooBig, r.Index, len(r.Stream), len(r.Entry), len(r.Event), len(r.Tree), MaxKey, MaxValue, MaxValue, MaxTree)
		}
	}
	for _, w := range b.Index {
		if len(w.Key) > MaxKey || len(w.Value) > MaxValue {
			return fmt.Errorf("%w: an index write has a key of %d and a value of %d bytes; at most %d and %d",
				ErrTooBig, len(w.Key), len(w.Value), MaxKey, MaxValue)
		}
	}
	for _, place := range b.Erase {
		if place >= size {
			return fmt.Errorf("%w: index %d cannot be erased, the log has %d records", ErrPlace, place, size)
		}
	}
	return nil
}

// Check says whether r names at most one of a stream and a feed.
func (r Range) Check() error {
	if r.Stream != "" && r.Feed != "" {
		return fmt.Errorf("a range of stream %q and feed %q: name one of them", r.Stream, r.Feed)
	}
	return nil
}

// First is the first position of the range: From, or the position a log, a
// stream or a feed begins with.
func (r Range) First() uint64 {
	if r.Stream == "" && r.Feed == "" {
		return r.From
	}
	return max(r.From, 1)
}
