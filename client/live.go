package client

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Live keeps a home in touch with its server for as long as it runs: what is recorded
// goes at once, what others record comes at once, and where nobody answers it tries
// again. Several may wait for what changes.
type Live struct {
	home *Home
	// wake says that something was recorded.
	wake chan struct{}

	mu      sync.Mutex
	waiting int
	files   int
	off     error
	changed chan struct{}
}

const (
	// What other commands of the home recorded is looked for so often, and whether the
	// server is there.
	liveLook  = 2 * time.Second
	liveSpeak = 15 * time.Second
	// Between tries: from the first to the second.
	liveSoon, liveLate = 500 * time.Millisecond, 8 * time.Second
)

// Live of this home; it does nothing before Run.
func (h *Home) Live() *Live {
	return &Live{home: h, wake: make(chan struct{}, 1), changed: make(chan struct{}), off: ErrOffline}
}

// State is how a home stands with its server.
type State struct {
	// Waiting entries, to be sent, and files that the entries name.
	Waiting, Files int
	// Off says why the server is not reached; nil: it is.
	Off error
	// Changed is closed once anything changes, entries that came included.
	Changed <-chan struct{}
}

// State as it is now.
func (l *Live) State() State {
	l.mu.Lock()
	defer l.mu.Unlock()
	return State{l.waiting, l.files, l.off, l.changed}
}

// Recorded says that one more event was saved in the home.
func (l *Live) Recorded() {
	l.tell(func() { l.waiting++ })
	select {
	case l.wake <- struct{}{}:
	default:
	}
}

func (l *Live) tell(change func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	change()
	close(l.changed)
	l.changed = make(chan struct{})
}

// count looks how much waits, and tells when it is another number.
func (l *Live) count(ctx context.Context) {
	n, err := l.home.ledger().countWaiting(ctx)
	if err != nil {
		return // whoever reads the home is told
	}
	files, err := l.home.FilesWaiting(ctx)
	if err != nil {
		return
	}
	l.mu.Lock()
	same := n == l.waiting && len(files) == l.files
	l.mu.Unlock()
	if !same {
		l.tell(func() { l.waiting, l.files = n, len(files) })
	}
}

// Run stays in touch until ctx ends.
func (l *Live) Run(ctx context.Context) {
	pause := liveSoon
	for ctx.Err() == nil {
		l.count(ctx)
		reached, err := l.stay(ctx)
		if ctx.Err() != nil {
			return
		}
		if reached {
			pause = liveSoon
		}
		l.tell(func() { l.off = err })
		l.count(ctx)
		select {
		case <-ctx.Done():
		case <-time.After(pause):
		}
		pause = min(2*pause, liveLate)
	}
}

// stay brings both sides up to date, says that the server is there, and goes on until
// an error ends it.
func (l *Live) stay(ctx context.Context) (reached bool, err error) {
	h := l.home
	who, c, err := h.ConnectWithin(Haste)
	if err != nil {
		return false, err
	}
	defer c.Close() //nolint:errcheck // nothing was written that a failed close could lose
	if _, err := h.Push(ctx, who, c); err != nil {
		return false, err
	}
	if _, err := h.Pull(ctx, who, c); err != nil {
		return false, err
	}
	if _, err := h.HearNames(ctx, c); err != nil {
		return false, err
	}
	l.count(ctx)
	l.tell(func() { l.off = nil })
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var sending sync.WaitGroup
	defer sending.Wait()
	defer cancel(nil)
	sending.Go(func() { cancel(l.send(ctx, who, c)) })
	sending.Go(func() { cancel(l.sendFiles(ctx, c)) })
	err = l.receive(ctx, who, c)
	if cause := context.Cause(ctx); cause != nil && errors.Is(err, context.Canceled) {
		err = cause
	}
	return true, err
}

// send sends what is recorded, and asks now and then whether the server is there.
func (l *Live) send(ctx context.Context, who *Identity, c *Conn) error {
	look, speak := time.NewTicker(liveLook), time.NewTicker(liveSpeak)
	defer look.Stop()
	defer speak.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-l.wake:
			l.count(ctx)
		case <-look.C:
			l.count(ctx)
		case <-speak.C:
			if _, err := c.WhoAmI(ctx, &boardv1.WhoAmIRequest{}); err != nil {
				return Explain(err)
			}
		}
		if l.State().Waiting == 0 {
			continue
		}
		_, err := l.home.Push(ctx, who, c)
		l.count(ctx)
		l.tell(func() {}) // refused entries went elsewhere
		if err != nil {
			return err
		}
	}
}

// sendFiles sends the files that wait, beside the entries, which a large one must not
// hold up.
func (l *Live) sendFiles(ctx context.Context, c *Conn) error {
	look := time.NewTicker(liveLook)
	defer look.Stop()
	for {
		_, err := l.home.SendFiles(ctx, c)
		var no *Refusal
		if errors.As(err, &no) {
			err = nil // for now: it goes on waiting
		}
		if err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-look.C:
		}
	}
}

// receive takes what others record as it comes.
func (l *Live) receive(ctx context.Context, who *Identity, c *Conn) error {
	h := l.home
	heed, err := h.heeder(who.LogKey, c)
	if err != nil {
		return err
	}
	cursor, err := h.replica.Get(ctx, keyCursor)
	if err != nil {
		return err
	}
	in, err := c.Watch(ctx, &boardv1.WatchRequest{Cursor: string(cursor)})
	if err != nil {
		return Explain(err)
	}
	for {
		m, err := in.Recv()
		if err != nil {
			return Explain(err)
		}
		if err := h.takeMessage(ctx, who, c, m); err != nil {
			return err
		}
		if len(m.GetEntries()) > 0 {
			if _, err := h.HearNames(ctx, c); err != nil { // perhaps of somebody new
				return err
			}
			l.tell(func() {})
		}
		if err := heed.heed(ctx, m.GetCheckpoint()); err != nil {
			return err
		}
	}
}

// Came is an entry that the home was told of.
type Came struct {
	Stream string
	Seq    uint64
}

// Since lists what the home was told of from a place in its log on, and the place
// behind that. Places of a log that began anew are behind its end, and list nothing.
func (h *Home) Since(ctx context.Context, place uint64) (came []Came, next uint64, err error) {
	generation, err := h.ledger().generation(ctx)
	if err != nil {
		return nil, place, err
	}
	if next, err = h.replica.Next(ctx, log.Range{}); err != nil || place >= next {
		return nil, next, err
	}
	mine := told(generation, "")
	for item, err := range h.replica.Read(ctx, log.Range{From: place, Limit: int(next - place)}) {
		if err != nil {
			return came, next, fmt.Errorf("cannot read what came: %w", err)
		}
		if len(item.Stream) > len(mine) && item.Stream[:len(mine)] == mine {
			came = append(came, Came{item.Stream[len(mine):], item.Seq})
		}
	}
	return came, next, nil
}
