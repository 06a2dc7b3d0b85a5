package main

import (
	"context"
	"errors"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/join"
	"knowngood.example/cases/log"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
	"knowngood.example/server"
)

// road is the way between a home and a server. It can be cut, which ends what is
// under way in the middle, and opened again.
type road struct {
	t    testing.TB
	to   string
	l    net.Listener
	mu   sync.Mutex
	open bool
	on   map[net.Conn]bool
	// after, when above 0, cuts the road by itself behind so many bytes.
	after int64
}

func newRoad(t testing.TB, to string) *road {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r := &road{t: t, to: to, l: l, open: true, on: map[net.Conn]bool{}}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go r.carry(c)
		}
	}()
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		r.set(false, 0)
	})
	return r
}

func (r *road) address() string { return r.l.Addr().String() }

// set opens or cuts the road; with after it is cut again behind so many bytes.
func (r *road) set(open bool, after int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.open, r.after = open, after; !open {
		r.cut()
	}
}

func (r *road) isOpen() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.open
}

// passes counts bytes and reports whether they may go on.
func (r *road) passes(n int) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.open && r.after > 0 {
		if r.after -= int64(n); r.after <= 0 {
			r.cut()
		}
	}
	return r.open
}

// cut ends what is on the road. The lock must be held.
func (r *road) cut() {
	r.open, r.after = false, 0
	for c := range r.on {
		c.Close()
	}
	clear(r.on)
}

// leads says to which server the road goes from now on.
func (r *road) leads(to string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cut()
	r.to, r.open = to, true
}

func (r *road) carry(from net.Conn) {
	defer from.Close()
	r.mu.Lock()
	where := r.to
	r.mu.Unlock()
	to, err := net.Dial("tcp", where)
	if err != nil {
		return
	}
	defer to.Close()
	r.mu.Lock()
	if !r.open {
		r.mu.Unlock()
		return
	}
	r.on[from], r.on[to] = true, true
	r.mu.Unlock()
	var both sync.WaitGroup
	for _, way := range [][2]net.Conn{{from, to}, {to, from}} {
		both.Go(func() {
			b := make([]byte, 4096)
			for {
				n, err := way[0].Read(b)
				if n > 0 && r.passes(n) {
					_, err2 := way[1].Write(b[:n])
					err = firstError(err, err2)
				}
				if err != nil || n == 0 {
					way[0].Close()
					way[1].Close()
					return
				}
			}
		})
	}
	both.Wait()
	r.mu.Lock()
	delete(r.on, from)
	delete(r.on, to)
	r.mu.Unlock()
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// shopServer is a running server and the codes of its shops' owners.
type shopServer struct {
	*server.Server
	address string
	shops   []*server.Opening
}

// serveShops runs a server in this process.
func serveShops(t testing.TB, dir string, shops ...string) *shopServer {
	s, err := server.Open(dir, server.Options{})
	for end := time.Now().Add(10 * time.Second); errors.Is(err, log.ErrHeld) && time.Now().Before(end); {
		// A process that another test starts holds what is open here until it has become
		// the other program.
		time.Sleep(20 * time.Millisecond)
		s, err = server.Open(dir, server.Options{})
	}
	require.NoError(t, err)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	out := &shopServer{Server: s, address: l.Addr().String()}
	for _, name := range shops {
		o, err := s.OpenShop(t.Context(), name, "EUR", true)
		require.NoError(t, err)
		out.shops = append(out.shops, o)
	}
	served := make(chan error, 1)
	go func() { served <- s.Serve(context.Background(), l) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		require.NoError(t, s.Stop(ctx))
		require.NoError(t, <-served)
	})
	return out
}

// through is what somebody types who was read a code aloud.
func through(address, code string) join.Link {
	return join.Link{Code: code, Addresses: []string{address}}
}

// member is a home that has joined.
type member struct {
	*client.Home
	who  *client.Identity
	dir  string
	road *road
}

// joins makes a home that reaches the server over a road of its own.
func joins(t testing.TB, s *shopServer, code, name string) *member {
	dir := t.TempDir()
	m := &member{Home: client.Open(dir, dir+"/settings"), dir: dir, road: newRoad(t, s.address)}
	m.Warn = func(text string) { t.Log(name+":", text) }
	t.Cleanup(func() { require.NoError(t, m.Close()) })
	var err error
	m.who, err = m.Join(t.Context(), through(m.road.address(), code), name)
	require.NoError(t, err)
	return m
}

// ends and begins again, as the next command does.
func (m *member) again(t testing.TB) {
	require.NoError(t, m.Close())
	m.Home = client.Open(m.dir, m.dir+"/settings")
	t.Cleanup(func() { require.NoError(t, m.Close()) })
}

func (m *member) save(t testing.TB, events ...*eventv1.Event) []*eventv1.Signed {
	saved, err := m.Save(m.who, client.Stamp{At: time.Now()}, events...)
	require.NoError(t, err)
	return saved
}

// sync sends and fetches over a connection of its own.
func (m *member) sync(ctx context.Context, patience time.Duration) error {
	_, conn, err := m.ConnectWithin(patience)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := m.Push(ctx, m.who, conn); err != nil {
		return err
	}
	_, err = m.Pull(ctx, m.who, conn)
	return err
}

// waits is how many events wait.
func (m *member) waits(t testing.TB) (n int) {
	for _, err := range m.Waiting(t.Context()) {
		require.NoError(t, err)
		n++
	}
	return n
}

func note(stream, text string) *eventv1.Event {
	return &eventv1.Event{Stream: stream, Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: text}}}
}

func notesOf(stream string, texts []string) []*eventv1.Event {
	list := make([]*eventv1.Event, len(texts))
	for i, text := range texts {
		list[i] = note(stream, text)
	}
	return list
}

func opens(m *member, stream string) *eventv1.Event {
	return &eventv1.Event{Stream: stream, Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{
		Shop: m.who.Shop, Invented: true,
		Vehicle: &eventv1.Vehicle{Make: "Quillon", Model: "Tarn", SystemVolts: 12},
		Concern: &eventv1.Concern{Statement: "the fan does not run"},
	}}}
}

func handsTo(to string, expect uint64, stream string) *eventv1.Event {
	return &eventv1.Event{Stream: stream, Expect: &expect, Kind: &eventv1.Event_HandedOff{HandedOff: &eventv1.HandedOff{
		ToShop: to, Question: "why?", Access: eventv1.Access_ACCESS_WRITE,
	}}}
}
