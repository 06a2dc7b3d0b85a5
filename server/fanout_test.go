package server

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// bareFan is the least that can fan out over gRPC: who watches waits for a channel
// to be closed and sends bytes that lie in memory, marshalled.
type bareFan struct {
	boardv1.UnimplementedBoardServiceServer
	mu   sync.Mutex
	next chan struct{}
	said rawMessage
}

func (f *bareFan) waiting() <-chan struct{} {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.next
}

// say sends the bytes to all who watch.
func (f *bareFan) say(b []byte) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.said = b
	close(f.next)
	f.next = make(chan struct{})
}

func (f *bareFan) Watch(_ *boardv1.WatchRequest, ss grpc.ServerStreamingServer[boardv1.WatchResponse]) error {
	next := f.waiting()
	if err := ss.SendMsg(rawMessage{}); err != nil { // from now on nothing is missed
		return err
	}
	for {
		select {
		case <-next:
		case <-ss.Context().Done():
			return nil
		}
		next = f.waiting()
		f.mu.Lock()
		said := f.said
		f.mu.Unlock()
		if err := ss.SendMsg(said); err != nil {
			return err
		}
	}
}

// crowd is many streams of Watch over a few connections.
type crowd struct {
	size int64
	// missing is how many have not had the message that is under way; whoever is the
	// last to get it tells.
	missing atomic.Int64
	all     chan []byte
}

// gather opens so many streams over so many connections. Each has had its first
// message when it returns.
func gather(b testing.TB, ctx context.Context, dial func() *grpc.ClientConn, streams, conns int, req *boardv1.WatchRequest) *crowd {
	c := &crowd{size: int64(streams), all: make(chan []byte, 1)}
	clients := make([]boardv1.BoardServiceClient, conns)
	for i := range clients {
		clients[i] = boardv1.NewBoardServiceClient(dial())
	}
	var wg sync.WaitGroup
	ctx, cancel := context.WithCancel(ctx)
	for i := range streams {
		ss, err := clients[i%conns].Watch(ctx, req)
		require.NoError(b, err)
		_, err = ss.Recv()
		require.NoError(b, err)
		wg.Go(func() {
			for {
				m, err := ss.Recv()
				if err != nil {
					return
				}
				// A message that only says that this is the head has no entries.
				if len(m.GetEntries()) > 0 && c.missing.Add(-1) == 0 {
					said, err := proto.Marshal(m)
					if err == nil {
						c.all <- said
					}
				}
			}
		})
	}
	b.Cleanup(func() {
		cancel()
		wg.Wait()
	})
	return c
}

// reached measures until the last of the crowd has what say sends them, and returns
// that message as well.
func (c *crowd) reached(b testing.TB, say func()) (time.Duration, []byte) {
	c.missing.Store(c.size)
	began := time.Now()
	say()
	select {
	case said := <-c.all:
		return time.Since(began), said
	case <-time.After(time.Minute):
		b.Fatalf("%d of %d watchers were not told within a minute", c.missing.Load(), c.size)
		return 0, nil
	}
}

// BenchmarkFanOut measures until an entry has reached the last of a thousand who
// watch a shop over eight connections, from the moment it is sent to be appended;
// and in turns with it, a bare stream of the same bytes to as many.
func BenchmarkFanOut(b *testing.B) {
	const watchers, conns, entries = 1000, 8, 300
	m, dial := kept(b)
	stream := m.opens()
	ours := gather(b, m.ctx(), dial, watchers, conns, &boardv1.WatchRequest{FromNow: true})

	bare := &bareFan{next: make(chan struct{})}
	g := grpc.NewServer(grpc.ForceServerCodecV2(newCodec()),
		grpc.MaxConcurrentStreams(maxStreams), grpc.Creds(credentials.NewTLS(m.w.secure.config())))
	boardv1.RegisterBoardServiceServer(g, bare)
	theirs := gather(b, context.Background(), onLoopback(b, g, trusting(m.w.identity.authority.certificate.Raw)), watchers, conns, &boardv1.WatchRequest{})

	for range b.N {
		var told, echoed []float64
		for i := range entries {
			e := m.write(stream, reading(i))
			full, said := ours.reached(b, func() { m.send(e) })
			alone, again := theirs.reached(b, func() { bare.say(said) })
			require.Equal(b, said, again)
			told, echoed = append(told, full.Seconds()*1e3), append(echoed, alone.Seconds()*1e3)
		}
		b.ReportMetric(middle(told), "ms/last-watcher")
		b.ReportMetric(middle(echoed), "ms/bare")
		b.ReportMetric(middle(told)/middle(echoed), "of-bare")
		b.ReportMetric(0, "ns/op")
	}
}
