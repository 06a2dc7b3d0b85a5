package badger

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"

	badgerdb "github.com/dgraph-io/badger/v4"

	"knowngood.example/cases/log"
)

// A read holds Badger's iterators for so many records at a time, and not while
// its reader has the word: a slow reader never keeps Close or a compaction
// waiting. The first step is short, or as long as the reader said, because most
// reads are.
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
		step := firstStep
		if r.Limit > 0 {
			step = min(r.Limit, lastStep)
		}
		for ; position < end; step = min(2*step, lastStep) {
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
	view := l.look()
	defer view.done()
	items = make([]log.Item, 0, to-from)
	add := func(position uint64, record log.Record, err error) error {
		if err != nil {
			return err
		}
		if record.Event == nil {
			if _, err := view.Get(placeKey(kindErased, record.Index)); err != nil {
				return fmt.Errorf("%w: the event of index %d is gone and not marked as erased", log.ErrDamaged, record.Index)
			}
		}
		items = append(items, log.Item{Position: position, Record: record})
		return nil
	}
	if r.Stream != "" {
		records := newCursor(view.Txn, namePrefix(kindRecord, r.Stream))
		defer records.Close()
		for seq := from; seq < to; seq++ {
			v, err := records.at(positionKey(kindRecord, r.Stream, seq))
			if err == nil && v == nil {
				err = fmt.Errorf("%w: seq %d of %q is missing", log.ErrDamaged, seq, r.Stream)
			}
			if err != nil {
				return items, err
			}
			record, err := splitRecord(r.Stream, seq, v)
			if err := add(seq, record, err); err != nil {
				return items, err
			}
		}
		return items, nil
	}
	kind, key := []byte{kindPlace}, func(p uint64) []byte { return placeKey(kindPlace, p) }
	if r.Feed != "" {
		kind, key = namePrefix(kindFeed, r.Feed), func(p uint64) []byte { return positionKey(kindFeed, r.Feed, p) }
	}
	spots := newCursor(view.Txn, kind)
	defer spots.Close()
	for p := from; p < to; p++ {
		spot, err := spots.at(key(p))
		if err != nil {
			return items, err
		}
		record, err := recordAt(view.Txn, spot)
		if err := add(p, record, err); err != nil {
			return items, fmt.Errorf("position %d: %w", p, err)
		}
	}
	return items, nil
}

// recordAt reads the record that lies at a spot.
func recordAt(txn *badgerdb.Txn, spot []byte) (log.Record, error) {
	stream, seq, ok := splitSpot(spot)
	if !ok {
		return log.Record{}, fmt.Errorf("%w: where its record lies is missing", log.ErrDamaged)
	}
	v, err := value(txn, positionKey(kindRecord, stream, seq))
	if err != nil {
		return log.Record{}, err
	}
	return splitRecord(stream, seq, v)
}

// value returns a copy of the value of a key that must be there.
func value(txn *badgerdb.Txn, key []byte) ([]byte, error) {
	item, err := txn.Get(key)
	if err == nil {
		var v []byte
		if v, err = item.ValueCopy(nil); err == nil {
			return v, nil
		}
	}
	return nil, fmt.Errorf("%w: %q: %w", log.ErrDamaged, key, err)
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
	view := l.look()
	defer view.done()
	item, err := view.Get(indexKey(key))
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
		// The view is of one moment; it holds none of Badger's iterators between two
		// steps.
		view := l.look()
		l.life.RUnlock()
		defer func() {
			l.life.RLock()
			defer l.life.RUnlock()
			if !l.closed {
				view.done()
			}
		}()
		from := indexKey(prefix)
		for step := firstStep; ; step = min(2*step, lastStep) {
			writes, err := l.scan(ctx, view.Txn, indexKey(prefix), from, step)
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
