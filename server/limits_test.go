package server

import (
	"context"
	"fmt"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func metadataOf(token string) context.Context {
	return metadata.AppendToOutgoingContext(context.Background(), "authorization", "Bearer "+token)
}

func TestOnlySoManyAreRemembered(t *testing.T) {
	t.Parallel()
	q := newQuota(1)
	for i := range 3 * maxRemembered {
		q.take(fmt.Sprint(i), 1, noon)
	}
	require.LessOrEqual(t, len(q.from), maxRemembered)
	// Who is remembered is not forgotten for it.
	q = newQuota(1)
	require.True(t, q.take("one", 1, noon))
	for i := range maxRemembered - 1 {
		q.take(fmt.Sprint(i), 1, noon)
	}
	require.False(t, q.take("one", 1, noon))
}

// TestLimitsOfADevice: one that asks too much is told so in words, the others are
// served, and a minute later it is as well.
func TestLimitsOfADevice(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{Limits: Limits{JoinTries: 100, Calls: 20, Bytes: 40 << 10, Streams: 2, FromAddress: 1 << 20}})
	boss := w.shopOwner("One (invented)")
	mate := boss.invite(technician, "mate")
	who := func(m *member) error {
		_, err := m.register.WhoAmI(m.ctx(), &boardv1.WhoAmIRequest{})
		return err
	}
	for range 20 {
		require.NoError(t, who(mate))
	}
	err := who(mate)
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	require.Contains(t, textOf(err), "more than 20 calls in a minute; wait a minute")
	require.NoError(t, who(boss))
	w.clock.set(noon.Add(time.Minute))
	require.NoError(t, who(mate))

	// Nobody's token counts by the address.
	guess := func() error {
		_, err := boss.register.WhoAmI(metadataOf("a guess"), &boardv1.WhoAmIRequest{})
		return err
	}
	for range 20 {
		require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, guess()))
	}
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, guess()))
	require.NoError(t, who(boss), "at the same address")

	// Bytes.
	stream := boss.opens()
	long := noted(strings.Repeat("x", 15<<10))
	mate.put(stream, long)
	mate.put(stream, noted(strings.Repeat("x", 15<<10)))
	_, err = mate.board.Append(mate.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{mate.write(stream, noted(strings.Repeat("x", 15<<10)))}})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	require.Contains(t, textOf(err), "MiB in a minute")
	require.Len(t, boss.entries(stream), 3, "nothing of it was kept")

	// Streams at once.
	ctx, cancel := context.WithTimeout(boss.ctx(), 20*time.Second)
	defer cancel()
	watch := func() (grpc.ServerStreamingClient[boardv1.WatchResponse], context.CancelFunc, error) {
		ctx, cancel := context.WithCancel(ctx)
		ss, err := boss.board.Watch(ctx, &boardv1.WatchRequest{Stream: stream})
		require.NoError(t, err)
		_, err = ss.Recv()
		return ss, cancel, err
	}
	w.clock.set(noon.Add(2 * time.Minute))
	_, end, err := watch()
	require.NoError(t, err)
	_, end2, err := watch()
	require.NoError(t, err)
	defer end2()
	_, end3, err := watch()
	end3()
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	require.Contains(t, textOf(err), "2 streams open")
	require.NoError(t, who(mate))
	end()
	require.Eventually(t, func() bool {
		_, end, err := watch()
		end()
		return err == nil
	}, 10*time.Second, 20*time.Millisecond, "one that ended makes room")
}

// TestOversizeAtTheEdge: what is too big is refused at the edge, and the connection lives on.
func TestOversizeAtTheEdge(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	for _, size := range []int{maxRequest, 64 << 20} {
		_, err := boss.board.Append(boss.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{{Event: make([]byte, size)}}})
		require.Equal(t, codes.ResourceExhausted, status.Code(err), "%d bytes", size)
		require.Contains(t, textOf(err), "larger than max")
	}
	_, err := boss.register.WhoAmI(metadata.AppendToOutgoingContext(boss.ctx(), "x", strings.Repeat("x", 64<<10)), &boardv1.WhoAmIRequest{})
	require.Error(t, err, "headers")
	_, err = boss.register.WhoAmI(boss.ctx(), &boardv1.WhoAmIRequest{})
	require.NoError(t, err)
	_, err = boss.register.WhoAmI(metadataOf(strings.Repeat("x", 8<<10)), &boardv1.WhoAmIRequest{})
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err), "a token that is too long is none")
}

// joinOn joins a shop of a server over TCP.
func joinOn(t testing.TB, s *Server, address string) *member {
	t.Helper()
	w := &world{Server: s, t: t, clock: &clock{}, dial: func() *grpc.ClientConn {
		conn, err := grpc.NewClient(address, trusting(s.identity.authority.certificate.Raw))
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
		return conn
	}}
	return w.shopOwner("Shop " + newID())
}

// TestFromOneAddress: one machine does not take all connections there are. Both ends
// are this machine, at two of its addresses.
func TestFromOneAddress(t *testing.T) {
	t.Parallel()
	limits := roomy()
	limits.FromAddress = 8
	s, address := onTCP(t, Options{Connections: 64, Limits: limits}, "127.0.0.1:0")
	from := func(ip string) (net.Conn, error) {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(ip)}, Timeout: 5 * time.Second}
		return d.Dial("tcp", address)
	}
	probe, err := from("127.0.0.2")
	if err != nil {
		t.Skip("this machine has only one loopback address: ", err)
	}
	require.NoError(t, probe.Close())
	var held []net.Conn
	defer func() {
		for _, c := range held {
			c.Close() //nolint:errcheck // the test is over
		}
	}()
	for range 200 { // more than all there are
		c, err := from("127.0.0.2")
		require.NoError(t, err)
		held = append(held, c)
	}
	closed := 0
	for _, c := range held {
		require.NoError(t, c.SetReadDeadline(time.Now().Add(300*time.Millisecond)))
		_, err := c.Read(make([]byte, 1))
		if ne, ok := err.(net.Error); !ok || !ne.Timeout() { //nolint:errorlint // as it comes from the socket
			closed++
		}
		if closed > 180 {
			break
		}
	}
	require.Greater(t, closed, 180, "the ones too many are closed")
	joinOn(t, s, address)
}

// TestIdleSockets: a thousand connections that say nothing, or begin and stop, leave
// the others more than half of the rate they have without them.
func TestIdleSockets(t *testing.T) {
	const idle, turn = 1000, 700 * time.Millisecond
	limits := roomy()
	s, address := onTCP(t, Options{Limits: limits}, "127.0.0.1:0")
	m := joinOn(t, s, address)
	stream := m.opens()
	measure := func() float64 {
		var done atomic.Int64
		var wg sync.WaitGroup
		began := time.Now()
		for range 8 {
			wg.Go(func() {
				for time.Since(began) < turn {
					if _, err := m.register.WhoAmI(m.ctx(), &boardv1.WhoAmIRequest{}); err == nil {
						done.Add(1)
					}
				}
			})
		}
		wg.Go(func() {
			for time.Since(began) < turn {
				m.put(stream, noted("beside it"))
				done.Add(1)
			}
		})
		wg.Wait()
		return float64(done.Load()) / time.Since(began).Seconds()
	}
	measure() // warm
	var best float64
	for range 3 { // the machine is shared: a turn may be disturbed, three in a row are not
		without := measure()
		held := make([]net.Conn, 0, idle)
		for i := range idle {
			c, err := net.Dial("tcp", address)
			require.NoError(t, err)
			held = append(held, c)
			if i%2 == 0 {
				_, err = c.Write([]byte{0x16, 0x03, 0x01, 0x02, 0x00, 0x01}) // the first bytes of a ClientHello
				require.NoError(t, err)
			}
		}
		require.NoError(t, m.trying())
		with := measure()
		for _, c := range held {
			c.Close() //nolint:errcheck // they were idle
		}
		t.Logf("%.0f calls a second without, %.0f with %d idle sockets: %.2f", without, with, idle, with/without)
		if best = max(best, with/without); best > 0.5 {
			break
		}
	}
	require.Greater(t, best, 0.5)
}

// trying makes a connection of its own and calls once.
func (m *member) trying() error {
	ctx, cancel := context.WithTimeout(m.ctx(), 10*time.Second)
	defer cancel()
	_, err := boardv1.NewRegisterServiceClient(m.w.dial()).WhoAmI(ctx, &boardv1.WhoAmIRequest{})
	return err
}
