package badger

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"

	badgerdb "github.com/dgraph-io/badger/v4"

	"knowngood.example/cases/log"
)

// A read holds Badger's iterators for so many records at a time, and not while
// its reader has the word: a slow reader never keeps Close or a compaction
// waiting. The first step is short because most reads are.
const (
	firstStep = 16
	lastStep  = 256
)

// Read implements log.Log.
func (l *Log) Read(ctx context.Context, r log.Range) iter.Seq2[log.Item, error] {
	return func(yield func(log.Item, error) bool) {
		if err := r.Check(); err != nil {
			yield(log.Item{}, err)
			return
		}
		end, err := l.Next(ctx, log.Range{Stream: r.Stream, Feed: r.Feed})
		if err != nil {
			yield(log.Item{}, err)
			return
		}
		position := r.First()
		if r.Limit > 0 && end > position {
			end = position + min(end-position, uint64(r.Limit))
		}
		for step := firstStep; position < end; step = min(2*step, lastStep) {
			items, err := l.read(ctx, r, position, min(end, position+uint64(step)))
			for _, item := range items {
				if !yield(item, nil) {
					return
				}
			}
			if err != nil {
				yield(log.Item{}, err)
				return
			}
			position += uint64(len(items))
		}
	}
}

// read returns the items of the positions from <= p < to, and before an error
// those that could be read.
func (l *Log) read(ctx context.Context, r log.Range, from, to uint64) (items []log.Item, err error) {
	l.life.RLock()
	defer l.life.RUnlock()
	if l.closed {
		return nil, log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	defer damaged(&err)
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	places, err := places(txn, r, from, to)
	if err != nil {
		return nil, err
	}
	entries := newCursor(txn, []byte{kindEntry})
	defer entries.Close()
	events := newCursor(txn, []byte{kindEvent})
	defer events.Close()
	items = make([]log.Item, 0, len(places))
	for i, place := range places {
		v, err := entries.at(placeKey(kindEntry, place))
		if err != nil {
			return items, err
		}
		if v == nil {
			return items, fmt.Errorf("%w: no entry of index %d, though position %d needs it", log.ErrDamaged, place, from+uint64(i))
		}
		record, err := splitEntry(place, v)
		if err != nil {
			return items, err
		}
		if record.Event, err = events.at(placeKey(kindEvent, place)); err != nil {
			return items, err
		}
		if record.Event == nil {
			if _, err := txn.Get(placeKey(kindErased, place)); err != nil {
				return items, fmt.Errorf("%w: the event of index %d is gone and not marked as erased", log.ErrDamaged, place)
			}
		}
		items = append(items, log.Item{Position: from + uint64(i), Record: record})
	}
	return items, nil
}

// places returns the indexes of the positions from <= p < to.
func places(txn *badgerdb.Txn, r log.Range, from, to uint64) ([]uint64, error) {
	out := make([]uint64, 0, to-from)
	if r.Stream == "" && r.Feed == "" {
		for p := from; p < to; p++ {
			out = append(out, p)
		}
		return out, nil
	}
	kind, name := byte(kindStream), r.Stream
	if r.Feed != "" {
		kind, name = kindFeed, r.Feed
	}
	positions := newCursor(txn, namePrefix(kind, name))
	defer positions.Close()
	for p := from; p < to; p++ {
		v, err := positions.at(positionKey(kind, name, p))
		if err != nil {
			return nil, err
		}
		if len(v) != 8 {
			return nil, fmt.Errorf("%w: position %d of %q is missing", log.ErrDamaged, p, name)
		}
		out = append(out, binary.BigEndian.Uint64(v))
	}
	return out, nil
}

// cursor reads keys in ascending order, going step by step while they lie close
// together: an iterator that moves on costs a fraction of a look-up.
type cursor struct {
	*badgerdb.Iterator
	started bool
}

// near is how many steps are cheaper than seeking again.
const near = 8

func newCursor(txn *badgerdb.Txn, prefix []byte) *cursor {
	// Values are kept with their keys, so fetching them ahead only costs
	// goroutines: measured, five to ten times slower.
	return &cursor{Iterator: txn.NewIterator(badgerdb.IteratorOptions{Prefix: prefix})}
}

// at returns a copy of the value of key, nil when it has none. Keys must ascend.
func (c *cursor) at(key []byte) ([]byte, error) {
	for i := 0; ; i++ {
		if !c.started || i == near {
			c.Seek(key)
			c.started = true
		}
		if !c.Valid() {
			// Badger shows the end of a table and a block it cannot read alike. The
			// caller knows whether the key must be there.
			c.started = false
			return nil, nil
		}
		switch bytes.Compare(c.Item().Key(), key) {
		case 0:
			v, err := c.Item().ValueCopy(nil)
			if err != nil {
				return nil, fmt.Errorf("%w: %q: %w", log.ErrDamaged, key, err)
			}
			return v, nil
		case 1:
			return nil, nil
		}
		c.Next()
	}
}

// Get implements log.Log.
func (l *Log) Get(ctx context.Context, key string) (value []byte, err error) {
	l.life.RLock()
	defer l.life.RUnlock()
	if l.closed {
		return nil, log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	defer damaged(&err)
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	item, err := txn.Get(indexKey(key))
	if errors.Is(err, badgerdb.ErrKeyNotFound) {
		return nil, nil
	} else if err != nil {
		return nil, fmt.Errorf("%w: index key %q: %w", log.ErrDamaged, key, err)
	}
	if value, err = item.ValueCopy([]byte{}); err != nil {
		return nil, fmt.Errorf("%w: index key %q: %w", log.ErrDamaged, key, err)
	}
	return value, nil
}

// Scan implements log.Log.
func (l *Log) Scan(ctx context.Context, prefix string) iter.Seq2[log.Write, error] {
	return func(yield func(log.Write, error) bool) {
		l.life.RLock()
		if l.closed {
			l.life.RUnlock()
			yield(log.Write{}, log.ErrClosed)
			return
		}
		// The transaction is the view of one moment; it holds none of Badger's
		// iterators between two steps.
		txn := l.db.NewTransaction(false)
		l.life.RUnlock()
		defer func() {
			l.life.RLock()
			defer l.life.RUnlock()
			if !l.closed {
				txn.Discard()
			}
		}()
		from := indexKey(prefix)
		for step := firstStep; ; step = min(2*step, lastStep) {
			writes, err := l.scan(ctx, txn, indexKey(prefix), from, step)
			for _, w := range writes {
				if !yield(w, nil) {
					return
				}
			}
			if err != nil {
				yield(log.Write{}, err)
				return
			}
			if len(writes) < step {
				return
			}
			from = append(indexKey(writes[len(writes)-1].Key), 0)
		}
	}
}

func (l *Log) scan(ctx context.Context, txn *badgerdb.Txn, prefix, from []byte, limit int) (out []log.Write, err error) {
	l.life.RLock()
	defer l.life.RUnlock()
	if l.closed {
		return nil, log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	defer damaged(&err)
	it := txn.NewIterator(badgerdb.IteratorOptions{Prefix: prefix})
	defer it.Close()
	for it.Seek(from); it.Valid() && len(out) < limit; it.Next() {
		v, err := it.Item().ValueCopy([]byte{})
		if err != nil {
			return out, fmt.Errorf("%w: index key %q: %w", log.ErrDamaged, it.Item().Key()[1:], err)
		}
		out = append(out, log.Write{Key: string(it.Item().Key()[1:]), Value: v})
	}
	return out, nil
}

// Next implements log.Log.
func (l *Log) Next(ctx context.Context, r log.Range) (uint64, error) {
	l.life.RLock()
	defer l.life.RUnlock()
	if l.closed {
		return 0, log.ErrClosed
	}
	if err := r.Check(); err != nil {
		return 0, err
	}
	l.state.RLock()
	defer l.state.RUnlock()
	return l.heads.next(r), ctx.Err()
}
