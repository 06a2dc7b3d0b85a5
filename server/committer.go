package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

const (
	// A batch is closed when it holds this much; what waits makes the next one.
	maxBatchJobs  = 1024
	maxBatchBytes = 768 << 10
	// The committer forgets the heads of streams, or of devices in them, when it
	// knows so many.
	maxHeads = 50_000
)

// job is something to be committed as a whole or not at all.
type job struct {
	// size in bytes, about.
	size int
	// stage adds to the batch; called by the committer alone, and again when the
	// batch must be split. A Refusal is the answer to this job and stages nothing;
	// any other error means that the log cannot be read.
	stage func(*batch) error
	// err is the answer, set before done is closed.
	err  error
	done chan struct{}
}

// committer gives places. One goroutine drains the channel: while it waits for
// the log to sync one batch, the next gathers. There is no timer.
type committer struct {
	log      log.Log
	tree     *log.Tree
	register *register
	wakes    *wakes
	identity *identity
	now      func() time.Time
	newID    func() string
	logger   *slog.Logger
	// onStop is called once, when appends stop for good.
	onStop func()

	jobs    chan *job
	ended   chan struct{}
	mu      sync.RWMutex // guards closing jobs
	closed  bool
	stopped atomic.Bool
	// shown is the size of the log as far as the register has taken it in. Readers
	// go no further: who may see an entry is only known then.
	shown atomic.Uint64

	// Below: the committing goroutine's own.
	size  uint64            // of the log
	heads map[string]uint64 // last seq of streams, as far as known
	tops  map[string]top    // highest numbers of devices in streams, as far as known
	// refused holds the hashes in the tray, so that an event that is taken in the
	// end leaves it.
	refused map[string]bool
}

// start takes the log's size and the tray and begins to commit.
func (c *committer) start(ctx context.Context) error {
	var err error
	if c.size, err = c.log.Next(ctx, log.Range{}); err != nil {
		return err
	}
	c.shown.Store(c.size)
	c.heads, c.tops, c.refused = map[string]uint64{}, map[string]top{}, map[string]bool{}
	for w, err := range c.log.Scan(ctx, prefixRefused) {
		if err != nil {
			return err
		}
		c.refused[w.Key] = true
	}
	c.jobs, c.ended = make(chan *job, maxBatchJobs), make(chan struct{})
	go c.run()
	return nil
}

// close lets what is under way finish.
func (c *committer) close() {
	c.mu.Lock()
	if !c.closed {
		c.closed = true
		close(c.jobs)
	}
	c.mu.Unlock()
	<-c.ended
}

func stoppedRefusal() *Refusal {
	return refuse(boardv1.Reason_REASON_STOPPED, "the server takes no entries at the moment; nothing that it confirmed is lost; send again later")
}

// do commits what stage adds and returns once it would survive a power cut. When
// ctx ends first, nobody knows yet whether it will be kept.
func (c *committer) do(ctx context.Context, size int, stage func(*batch) error) error {
	j := &job{size: size, stage: stage, done: make(chan struct{})}
	c.mu.RLock()
	if c.closed || c.stopped.Load() {
		c.mu.RUnlock()
		return stoppedRefusal()
	}
	select {
	case c.jobs <- j:
		c.mu.RUnlock()
	case <-ctx.Done():
		c.mu.RUnlock()
		return ctx.Err()
	}
	select {
	case <-j.done:
		return j.err
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (c *committer) run() {
	defer close(c.ended)
	for j := range c.jobs {
		jobs, size := []*job{j}, j.size
	drain:
		for len(jobs) < maxBatchJobs && size < maxBatchBytes {
			select {
			case j, ok := <-c.jobs:
				if !ok {
					break drain
				}
				jobs, size = append(jobs, j), size+j.size
			default:
				break drain
			}
		}
		c.commit(jobs)
	}
}

// commit makes one batch of the jobs and answers each.
func (c *committer) commit(jobs []*job) {
	if c.stopped.Load() {
		answer(jobs, stoppedRefusal())
		return
	}
	b := &batch{committer: c, heads: map[string]uint64{}, tops: map[string]top{}, index: map[string][]byte{}, cases: map[string]*access{}, claimed: map[string]string{}}
	for _, j := range jobs {
		var r *Refusal
		switch err := j.stage(b); {
		case errors.As(err, &r):
			j.err = r
		case err != nil:
			c.stop(fmt.Errorf("the log cannot be read: %w", err))
			answer(jobs, stoppedRefusal())
			return
		default:
			j.err = nil
		}
	}
	if err := c.append(b); err != nil {
		if errors.Is(err, log.ErrTooBig) && len(jobs) > 1 {
			c.commit(jobs[:len(jobs)/2])
			c.commit(jobs[len(jobs)/2:])
			return
		}
		answer(jobs, c.why(err))
		return
	}
	for _, j := range jobs {
		close(j.done)
	}
}

func answer(jobs []*job, err error) {
	for _, j := range jobs {
		j.err = err
		close(j.done)
	}
}

// append commits the batch and then, and only then, lets it be seen.
func (c *committer) append(b *batch) error {
	if len(b.records) == 0 && len(b.writes) == 0 {
		return nil
	}
	if _, err := c.tree.Append(context.Background(), log.Batch{Records: b.records, Index: b.writes}); err != nil {
		return err
	}
	c.size += uint64(len(b.records))
	if len(c.heads) > maxHeads {
		clear(c.heads)
	}
	if len(c.tops) > maxHeads {
		clear(c.tops)
	}
	maps.Copy(c.heads, b.heads)
	maps.Copy(c.tops, b.tops)
	for _, w := range b.writes {
		if strings.HasPrefix(w.Key, prefixRefused) {
			if w.Value != nil {
				c.refused[w.Key] = true
			} else {
				delete(c.refused, w.Key)
			}
		}
	}
	for _, e := range b.telling {
		c.register.apply(e)
	}
	c.shown.Store(c.size)
	if b.withdraws() {
		c.wakes.wakeAll()
	} else {
		c.wakes.wake(b.woken())
	}
	return nil
}

// why turns an error of the log into the answer, and stops appends for good when
// nobody can know what was kept.
func (c *committer) why(err error) error {
	switch {
	case errors.Is(err, log.ErrFull):
		c.logger.Warn("no room for appends", "error", err)
		return refuse(boardv1.Reason_REASON_NO_ROOM, "the server has no room left for entries; what was sent is not kept there")
	case errors.Is(err, log.ErrTooBig):
		return refuse(boardv1.Reason_REASON_LIMIT, "that is too much for one request; send fewer events at once")
	}
	c.stop(err)
	return stoppedRefusal()
}

// stop ends appends until the server is started again and has looked at the log.
func (c *committer) stop(err error) {
	if c.stopped.Swap(true) {
		return
	}
	c.logger.Error("appends have stopped; start the server again to have the log looked at", "error", err)
	c.onStop()
}
