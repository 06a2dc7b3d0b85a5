package log

import (
	"context"
	"errors"
	"iter"
)

// Record is one entry as it is kept.
type Record struct {
	// Index is the place in the log, from 0.
	Index uint64
	// Stream is the case or register it belongs to, never empty; Seq its place
	// there, from 1.
	Stream string
	Seq    uint64
	// Entry holds the marshalled Entry: the Merkle leaf. It never changes.
	Entry []byte
	// Event holds the event's bytes as received; nil once erased. A record
	// appended without them is one whose bytes were erased before it came here.
	Event []byte
	// Tree holds the tree hashes that the entry completes, see doc.go. It never
	// changes either.
	Tree []byte
	// Feeds names the feeds the record is to join, each once. Read back as nil.
	Feeds []string
}

// Write sets one index key; a nil Value deletes it. Keys and values are opaque
// to an engine: event ids, device numbers, tokens, tree hashes.
type Write struct {
	Key   string
	Value []byte
}

// Batch is what is committed together or not at all.
type Batch struct {
	// Records continue the log: the first has Index = Next(Range{}), and the seq of
	// each stream runs on without a gap.
	Records []Record
	// Index holds the index writes; of two to one key the later stands.
	Index []Write
	// Erase names places, held before this batch, whose event bytes go; their
	// entries stay. Naming one twice, or one erased already, changes nothing.
	Erase []uint64
}

// Range says what to read: the records of a stream, or of a feed, or, with
// neither, of the whole log. Naming both is an error.
type Range struct {
	Stream string
	Feed   string
	// From is the first position wanted: an index (from 0) of the log, a seq
	// (from 1) of a stream, or a number (from 1) of a feed. Before the first
	// position means from the first.
	From uint64
	// Limit stops after so many records; 0: read to the head.
	Limit int
}

// Item is a record and its position in the range it was read from. Its bytes
// may be kept, and must not be changed.
type Item struct {
	Position uint64
	Record
}

// Log is how entries are kept. An engine gives no places of its own: the one
// committer does, and Append refuses a batch that does not continue the log.
// Reading is safe beside appending; a reader sees whole batches only, and a
// Read or Scan shows the log as it stood when it began.
//
// An error of Append other than ErrPlace, ErrTooBig, ErrFull, ErrClosed and that
// of a context which had ended before means that nobody knows whether the batch
// is kept: the caller must stop appending, reopen, and look. An engine refuses
// further appends by itself.
type Log interface {
	// Append commits the batch, and returns once it would survive a power cut. A
	// context that ends after the commit began has no effect.
	Append(ctx context.Context, b Batch) error
	// Read yields items in order. A failure is yielded once, last.
	Read(ctx context.Context, r Range) iter.Seq2[Item, error]
	// Get returns the value of an index key, nil when it has none. A key set to an
	// empty value returns empty, not nil.
	Get(ctx context.Context, key string) ([]byte, error)
	// Scan yields the index keys with the prefix, in byte order. A failure is
	// yielded once, last.
	Scan(ctx context.Context, prefix string) iter.Seq2[Write, error]
	// Next returns the position that the next record of the range would take: the
	// size of the log, or one past the last seq of a stream or number of a feed.
	Next(ctx context.Context, r Range) (uint64, error)
	// Changed returns a channel that is closed by the next append, or by Close.
	Changed() <-chan struct{}
	// Close waits for the reads and the append under way. A second Close does
	// nothing.
	Close() error
}

var (
	// ErrPlace: the batch does not continue the log. Nothing was kept.
	ErrPlace = errors.New("the batch does not continue the log")
	// ErrTooBig: the batch, or a key or value in it, is more than the engine takes
	// at once. Nothing was kept; split the batch.
	ErrTooBig = errors.New("the batch is too big for the engine")
	// ErrDamaged: what is stored cannot be what was written.
	ErrDamaged = errors.New("the stored log is damaged")
	// ErrFull: no room is left for appends; nothing was kept, and reading goes on.
	ErrFull = errors.New("no room left for the log")
	// ErrHeld: another process, or this one, has the log open already.
	ErrHeld = errors.New("the log is held by another process")
	// ErrClosed: the log was closed.
	ErrClosed = errors.New("the log is closed")
)
