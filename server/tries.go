package server

import (
	"sync"
	"time"
)

// tries counts what may be tried only so often from one address.
type tries struct {
	most int
	in   time.Duration

	mu   sync.Mutex
	from map[string]*tried
}

type tried struct {
	times int
	since time.Time
}

// More addresses than this are not remembered: the oldest counts go first.
const maxAddresses = 10_000

func newTries(most int, in time.Duration) *tries {
	return &tries{most: most, in: in, from: map[string]*tried{}}
}

// allow counts one more try from the address and reports whether it may be made.
func (t *tries) allow(address string, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.from) >= maxAddresses {
		t.forget(now)
	}
	at := t.from[address]
	if at == nil || now.Sub(at.since) >= t.in || now.Before(at.since) {
		at = &tried{since: now}
		t.from[address] = at
	}
	at.times++
	return at.times <= t.most
}

// forget drops the counts that have run out; when none has, all of them.
func (t *tries) forget(now time.Time) {
	before := len(t.from)
	for address, at := range t.from {
		if now.Sub(at.since) >= t.in {
			delete(t.from, address)
		}
	}
	if len(t.from) == before {
		clear(t.from)
	}
}
