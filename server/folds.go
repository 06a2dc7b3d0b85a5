package server

import (
	"container/list"
	"context"
	"fmt"
	"sync"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/log"
	"knowngood.example/cases/suspect"
)

// folds keeps the cases that were asked for last, folded as far as they were
// asked for; what came in since is added when they are asked for again.
type folds struct {
	log   log.Log
	most  int
	table *suspect.Table

	mu     sync.Mutex
	recent *list.List // of *folded, the last one used first
	by     map[string]*list.Element
	lines  map[string]brief.BoardLine
}

// Lines are small; more than this are not kept.
const maxLines = 20_000

type folded struct {
	mu sync.Mutex
	c  *cases.Case
}

func newFolds(l log.Log, most int, table *suspect.Table) *folds {
	return &folds{log: l, most: most, table: table, recent: list.New(), by: map[string]*list.Element{}, lines: map[string]brief.BoardLine{}}
}

// with calls look with the case as the log has it. The case must not be kept or
// changed.
func (f *folds) with(ctx context.Context, stream string, look func(*cases.Case) error) error {
	at := f.at(stream)
	at.mu.Lock()
	defer at.mu.Unlock()
	for item, err := range f.log.Read(ctx, log.Range{Stream: stream, From: at.c.Head() + 1}) {
		if err != nil {
			return err
		}
		r, err := cases.NewRecord(item.Entry, item.Event)
		if err == nil {
			err = at.c.Apply(r)
		}
		if err != nil {
			return fmt.Errorf("case %s cannot be folded: %w", stream, err)
		}
	}
	return look(at.c)
}

// line of a case, the same for everybody who may see it. It is worked out again
// only when the case has new entries.
func (f *folds) line(ctx context.Context, stream string) (brief.BoardLine, error) {
	next, err := f.log.Next(ctx, log.Range{Stream: stream})
	if err != nil {
		return brief.BoardLine{}, err
	}
	f.mu.Lock()
	l, ok := f.lines[stream]
	f.mu.Unlock()
	if ok && l.Entries == next-1 {
		return l, nil
	}
	err = f.with(ctx, stream, func(c *cases.Case) error {
		l = brief.Board(c.Judge(f.table))
		return nil
	})
	if err != nil {
		return brief.BoardLine{}, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.lines) >= maxLines {
		clear(f.lines)
	}
	f.lines[stream] = l
	return l, nil
}

func (f *folds) at(stream string) *folded {
	f.mu.Lock()
	defer f.mu.Unlock()
	if e := f.by[stream]; e != nil {
		f.recent.MoveToFront(e)
		return e.Value.(*folded)
	}
	at := &folded{c: cases.New(stream)}
	f.by[stream] = f.recent.PushFront(at)
	for f.recent.Len() > f.most {
		last := f.recent.Back()
		delete(f.by, last.Value.(*folded).c.Stream)
		f.recent.Remove(last)
	}
	return at
}
