package server

import "sync"

// wakes lets watchers sleep until something was added to what they watch, so
// that an entry wakes those it concerns and nobody else.
type wakes struct {
	mu      sync.Mutex
	waiting map[string]chan struct{}
}

// on returns a channel that is closed when something is added under the name.
// Ask before reading, and nothing is missed.
func (w *wakes) on(name string) <-chan struct{} {
	w.mu.Lock()
	defer w.mu.Unlock()
	c := w.waiting[name]
	if c == nil {
		if w.waiting == nil {
			w.waiting = map[string]chan struct{}{}
		}
		c = make(chan struct{})
		w.waiting[name] = c
	}
	return c
}

// wake those who wait for one of the names.
func (w *wakes) wake(names map[string]bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for name := range names {
		if c := w.waiting[name]; c != nil {
			close(c)
			delete(w.waiting, name)
		}
	}
}

// wakeAll has everybody look again whether they may stay.
func (w *wakes) wakeAll() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.waiting {
		close(c)
	}
	clear(w.waiting)
}
