package server

import (
	"container/list"
	"context"
	"slices"
	"sync"

	"knowngood.example/cases/log"
)

const (
	// A message holds about so many entries, and not many more bytes.
	messageEntries = 64
	messageBytes   = 256 << 10
	// So many bytes of entries are kept at hand; a page costs so many beside them.
	maxKept  = 32 << 20
	pageCost = 512
)

// pages reads a message's worth of entries at a time, and keeps those that were
// asked for last: what one reader gets, the next is likely to want, and looking
// three keys up for each entry costs more than sending it. A full page of a
// stream or feed never changes. The last one grows: it is as the log has it for as
// long as nothing more is shown, and then read on from where it ends, so that of a
// thousand who wait for the next entry one or two read it. (Erasing bytes would have
// to forget them here.)
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

// page is never changed, only replaced by one that has more.
type page struct {
	key   pageKey
	items []log.Item
	bytes int
	// shown is the size of the log up to which it was read.
	shown uint64
}

func newPages(l log.Log, shown func() uint64) *pages {
	return &pages{log: l, shown: shown, recent: list.New(), by: map[pageKey]*list.Element{}}
}

// read returns the next items of a range from its first position on. More says
// that something may follow.
func (p *pages) read(ctx context.Context, r log.Range) (items []log.Item, more bool, err error) {
	first, shown := r.First(), p.shown()
	key := pageKey{r.Stream, r.Feed, (first - 1) / messageEntries}
	at := p.held(key)
	if at == nil || len(at.items) < messageEntries && at.shown < shown {
		if at, err = p.readOn(ctx, key, at, shown); err != nil {
			return nil, false, err
		}
	}
	skip := int((first - 1) % messageEntries)
	if skip >= len(at.items) {
		return nil, false, nil
	}
	size := 0
	for i, item := range at.items[skip:] {
		if size += len(item.Entry) + len(item.Event); size >= messageBytes {
			return at.items[skip : skip+i+1], true, nil
		}
	}
	return at.items[skip:], len(at.items) == messageEntries, nil
}

// readOn reads what a page has beyond what is known of it.
func (p *pages) readOn(ctx context.Context, key pageKey, known *page, shown uint64) (*page, error) {
	at := &page{key: key, bytes: pageCost, shown: shown}
	if known != nil {
		at.items, at.bytes = slices.Clip(known.items), known.bytes
	}
	r := log.Range{Stream: key.stream, Feed: key.feed, From: key.number*messageEntries + 1 + uint64(len(at.items)), Limit: messageEntries - len(at.items)}
	for item, err := range p.log.Read(ctx, r) {
		if err != nil {
			return nil, err
		}
		if item.Index >= shown {
			break
		}
		at.items = append(at.items, item)
		at.bytes += len(item.Entry) + len(item.Event)
	}
	if len(at.items) > 0 {
		p.keep(at)
	}
	return at, nil
}

func (p *pages) held(key pageKey) *page {
	p.mu.Lock()
	defer p.mu.Unlock()
	e := p.by[key]
	if e == nil {
		return nil
	}
	p.recent.MoveToFront(e)
	return e.Value.(*page)
}

func (p *pages) keep(at *page) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if e := p.by[at.key]; e != nil {
		if held := e.Value.(*page); held.shown < at.shown {
			p.bytes += at.bytes - held.bytes
			e.Value = at
		}
	} else {
		p.by[at.key] = p.recent.PushFront(at)
		p.bytes += at.bytes
	}
	for p.bytes > maxKept {
		last := p.recent.Remove(p.recent.Back()).(*page)
		delete(p.by, last.key)
		p.bytes -= last.bytes
	}
}
