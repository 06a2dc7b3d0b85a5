package server

import (
	"net"
	"sync"
	"time"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Limits of what one device or one address may ask for. They are generous: no shop
// meets them by working, and one that runs wild does not keep the others waiting.
// A figure of 0 is the one in brackets.
type Limits struct {
	// JoinTries with join codes from one address in a minute (20).
	JoinTries int
	// Calls of one device, or with no token that is known from one address, in a
	// minute (6,000), and bytes that its calls bring (256 MiB; files
	// are not counted, of which there is one to a stream).
	Calls, Bytes int
	// Streams of one device at once (64): what watches, and what is being read.
	Streams int
	// FromAddress is how many connections one address may have at once (1,024).
	FromAddress int
}

func (l Limits) filled() Limits {
	def := func(n *int, v int) {
		if *n == 0 {
			*n = v
		}
	}
	def(&l.JoinTries, 20)
	def(&l.Calls, 6000)
	def(&l.Bytes, 256<<20)
	def(&l.Streams, 64)
	def(&l.FromAddress, 1024)
	return l
}

// limits counts what is limited.
type limits struct {
	tries, calls, bytes *quota
	streams             *atOnce
}

func newLimits(l Limits) *limits {
	return &limits{
		tries: newQuota(l.JoinTries), calls: newQuota(l.Calls), bytes: newQuota(l.Bytes), streams: newAtOnce(l.Streams),
	}
}

// call counts one more call of somebody that brings so many bytes.
func (l *limits) call(who string, bytes int, now time.Time) error {
	switch {
	case !l.calls.take(who, 1, now):
		return refuse(boardv1.Reason_REASON_LIMIT, "more than %d calls in a minute; wait a minute", l.calls.most)
	case !l.bytes.take(who, bytes, now):
		return refuse(boardv1.Reason_REASON_LIMIT, "more than %d MiB in a minute; wait a minute", l.bytes.most>>20)
	}
	return nil
}

// quota counts what may be done only so often in a minute by one address or device.
type quota struct {
	most int

	mu   sync.Mutex
	from map[string]*used
}

type used struct {
	times int
	since time.Time
}

// More than so many are not remembered: the oldest counts go first.
const maxRemembered = 10_000

func newQuota(most int) *quota { return &quota{most: most, from: map[string]*used{}} }

// take counts n more for somebody and reports whether it may be.
func (q *quota) take(who string, n int, now time.Time) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	at := q.from[who]
	if at == nil || now.Sub(at.since) >= time.Minute || now.Before(at.since) {
		if at == nil && len(q.from) >= maxRemembered {
			q.forget(now)
		}
		at = &used{since: now}
		q.from[who] = at
	}
	at.times += n
	return at.times <= q.most
}

// forget drops the counts that have run out; when none has, all of them.
func (q *quota) forget(now time.Time) {
	before := len(q.from)
	for who, at := range q.from {
		if now.Sub(at.since) >= time.Minute {
			delete(q.from, who)
		}
	}
	if len(q.from) == before {
		clear(q.from)
	}
}

// atOnce counts what somebody may have only so many of at the same time.
type atOnce struct {
	most int

	mu sync.Mutex
	of map[string]int
}

func newAtOnce(most int) *atOnce { return &atOnce{most: most, of: map[string]int{}} }

// enter counts one more, unless there are too many. What it returns ends it, once.
func (a *atOnce) enter(who string) (leave func(), ok bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.of[who] >= a.most {
		return nil, false
	}
	a.of[who]++
	return sync.OnceFunc(func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		if a.of[who]--; a.of[who] == 0 {
			delete(a.of, who)
		}
	}), true
}

// fairListener closes connections from an address that has too many: otherwise one
// machine could take all that there are.
type fairListener struct {
	net.Listener
	each *atOnce
	// tooMany hears of it.
	tooMany func(address string)
}

func (l *fairListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := hostOf(c.RemoteAddr())
		if leave, ok := l.each.enter(from); ok {
			return &countedConn{c, leave}, nil
		}
		l.tooMany(from)
		c.Close() //nolint:errcheck // it is refused
	}
}

type countedConn struct {
	net.Conn
	leave func()
}

func (c *countedConn) Close() error {
	c.leave()
	return c.Conn.Close()
}

// hostOf an address, without its port.
func hostOf(a net.Addr) string {
	host, _, err := net.SplitHostPort(a.String())
	if err != nil {
		return a.String()
	}
	return host
}
