package server

import (
	"container/list"
	"context"
	"sync"

	"knowngood.example/cases/log"
)

const (
	// A message holds about so many entries, and not many more bytes.
	messageEntries = 64
	messageBytes   = 256 << 10
	// So many bytes of entries are kept at hand.
	maxKept = 32 << 20
)

// pages reads a message's worth of entries at a time, and keeps those that were
// asked for last: what one reader gets, the next is likely to want, and looking
// three keys up for each entry costs more than sending it. A full page of a
// stream or feed never changes. (Erasing bytes would have to forget them here.)
type pages struct {
	log log.Log
	// shown bounds what may be read, see committer.
	shown func() uint64

	mu     sync.Mutex
	recent *list.List // of *page, the last one used first
	by     map[pageKey]*list.Element
	bytes  int
}

type pageKey struct {
	stream, feed string
	number       uint64
}

type page struct {
	key   pageKey
	items []log.Item
	bytes int
}

func newPages(l log.Log, shown func() uint64) *pages {
	return &pages{log: l, shown: shown, recent: list.New(), by: map[pageKey]*list.Element{}}
}

// read returns the next items of a range from its first position on. More says
// that something may follow.
func (p *pages) read(ctx context.Context, r log.Range) (items []log.Item, more bool, err error) {
	first := r.First()
	key := pageKey{r.Stream, r.Feed, (first - 1) / messageEntries}
	skip := int((first - 1) % messageEntries)
	if held := p.held(key); held != nil {
		return held[skip:], true, nil
	}
	r.From, r.Limit = first, messageEntries-skip
	size, shown := 0, p.shown()
	for item, err := range p.log.Read(ctx, r) {
		if err != nil {
			return nil, false, err
		}
		if item.Index >= shown {
			return items, false, nil
		}
		items = append(items, item)
		if size += len(item.Entry) + len(item.Event); size >= messageBytes {
			return items, true, nil
		}
	}
	if len(items) < r.Limit {
		return items, false, nil
	}
	if skip == 0 {
		p.keep(&page{key, items, size})
	}
	return items, true, nil
}

func (p *pages) held(key pageKey) []log.Item {
	p.mu.Lock()
	defer p.mu.Unlock()
	e := p.by[key]
	if e == nil {
		return nil
	}
	p.recent.MoveToFront(e)
	return e.Value.(*page).items
}

func (p *pages) keep(at *page) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.by[at.key] != nil {
		return
	}
	p.by[at.key] = p.recent.PushFront(at)
	p.bytes += at.bytes
	for p.bytes > maxKept {
		last := p.recent.Remove(p.recent.Back()).(*page)
		delete(p.by, last.key)
		p.bytes -= last.bytes
	}
}
