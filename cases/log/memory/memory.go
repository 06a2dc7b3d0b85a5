// Package memory keeps a log in memory: for tests and demonstrations, and as the
// plainest statement of what an engine does. Nothing survives the process.
package memory

import (
	"bytes"
	"context"
	"iter"
	"maps"
	"slices"
	"strings"
	"sync"

	"knowngood.example/cases/log"
)

// Log is a log.Log in memory. New makes one.
type Log struct {
	mu      sync.RWMutex
	records []log.Record
	streams map[string][]uint64 // indexes in order of seq
	feeds   map[string][]uint64 // indexes in order of number
	index   map[string][]byte
	changed chan struct{}
	closed  bool
}

// New returns an empty log.
func New() *Log {
	return &Log{
		streams: make(map[string][]uint64),
		feeds:   make(map[string][]uint64),
		index:   make(map[string][]byte),
		changed: make(chan struct{}),
	}
}

// Append implements log.Log.
func (l *Log) Append(ctx context.Context, b log.Batch) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		return log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if err := b.Check(l.next); err != nil {
		return err
	}
	for _, r := range b.Records {
		l.streams[r.Stream] = append(l.streams[r.Stream], r.Index)
		for _, f := range r.Feeds {
			l.feeds[f] = append(l.feeds[f], r.Index)
		}
		r.Feeds, r.Entry, r.Event, r.Tree = nil, bytes.Clone(r.Entry), bytes.Clone(r.Event), bytes.Clone(r.Tree)
		if len(r.Event) == 0 {
			r.Event = nil
		}
		if len(r.Tree) == 0 {
			r.Tree = nil
		}
		l.records = append(l.records, r)
	}
	for _, w := range b.Index {
		if w.Value == nil {
			delete(l.index, w.Key)
		} else {
			l.index[w.Key] = append([]byte{}, w.Value...)
		}
	}
	for _, place := range b.Erase {
		l.records[place].Event = nil
	}
	close(l.changed)
	l.changed = make(chan struct{})
	return nil
}

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
		first := r.First()
		if r.Limit > 0 && end > first {
			end = first + min(end-first, uint64(r.Limit))
		}
		for p := first; p < end; p++ {
			item, err := l.at(ctx, r, p)
			if !yield(item, err) || err != nil {
				return
			}
		}
	}
}

func (l *Log) at(ctx context.Context, r log.Range, position uint64) (log.Item, error) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.closed {
		return log.Item{}, log.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return log.Item{}, err
	}
	place := position
	switch {
	case r.Stream != "":
		place = l.streams[r.Stream][position-1]
	case r.Feed != "":
		place = l.feeds[r.Feed][position-1]
	}
	return log.Item{Position: position, Record: l.records[place]}, nil
}

// Get implements log.Log.
func (l *Log) Get(ctx context.Context, key string) ([]byte, error) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.closed {
		return nil, log.ErrClosed
	}
	return l.index[key], ctx.Err()
}

// Scan implements log.Log.
func (l *Log) Scan(ctx context.Context, prefix string) iter.Seq2[log.Write, error] {
	return func(yield func(log.Write, error) bool) {
		l.mu.RLock()
		closed, index := l.closed, make(map[string][]byte)
		for k, v := range l.index {
			if strings.HasPrefix(k, prefix) {
				index[k] = v
			}
		}
		l.mu.RUnlock()
		if closed {
			yield(log.Write{}, log.ErrClosed)
			return
		}
		for _, k := range slices.Sorted(maps.Keys(index)) {
			if err := ctx.Err(); err != nil {
				yield(log.Write{}, err)
				return
			}
			if !yield(log.Write{Key: k, Value: index[k]}, nil) {
				return
			}
		}
	}
}

// Next implements log.Log.
func (l *Log) Next(ctx context.Context, r log.Range) (uint64, error) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	if l.closed {
		return 0, log.ErrClosed
	}
	if err := r.Check(); err != nil {
		return 0, err
	}
	return l.next(r), ctx.Err()
}

func (l *Log) next(r log.Range) uint64 {
	switch {
	case r.Stream != "":
		return uint64(len(l.streams[r.Stream])) + 1
	case r.Feed != "":
		return uint64(len(l.feeds[r.Feed])) + 1
	}
	return uint64(len(l.records))
}

// Changed implements log.Log.
func (l *Log) Changed() <-chan struct{} {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.changed
}

// Close implements log.Log.
func (l *Log) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if !l.closed {
		l.closed = true
		close(l.changed)
	}
	return nil
}
