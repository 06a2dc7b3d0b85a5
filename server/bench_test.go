package server

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Figures are ratios to what the machine does at the same time without this
// server: run with -benchtime 1x. Each measures for some seconds, in turns, and
// takes the middle of three.

const (
	benchTurn = time.Second
	turns     = 3
)

// onLoopback serves a server with its log on disk over TCP.
func onLoopback(b testing.TB, s *grpc.Server, creds grpc.DialOption) func() *grpc.ClientConn {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	go s.Serve(l) //nolint:errcheck // ends with Stop
	b.Cleanup(s.Stop)
	return func() *grpc.ClientConn {
		conn, err := grpc.NewClient(l.Addr().String(), creds,
			grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)))
		require.NoError(b, err)
		b.Cleanup(func() { conn.Close() }) //nolint:errcheck // the benchmark is over
		return conn
	}
}

// kept is a server on disk with one member, dialled as often as wanted.
func kept(b testing.TB) (*member, func() *grpc.ClientConn) {
	s, err := Open(b.TempDir(), Options{Limits: roomy()})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, s.Stop(context.Background())) })
	dial := onLoopback(b, s.grpc, trusting(s.identity.authority.certificate.Raw))
	w := &world{Server: s, t: b, clock: &clock{}, dial: dial}
	return w.shopOwner("Bench shop (invented)"), dial
}

// rate runs op on so many workers for the time of a turn and returns how many
// calls a second came back.
func rate(workers int, op func(worker int) error) (float64, error) {
	var done atomic.Int64
	var failed atomic.Pointer[error]
	var wg sync.WaitGroup
	began := time.Now()
	for w := range workers {
		wg.Go(func() {
			for time.Since(began) < benchTurn && failed.Load() == nil {
				if err := op(w); err != nil {
					failed.Store(&err)
					return
				}
				done.Add(1)
			}
		})
	}
	wg.Wait()
	if err := failed.Load(); err != nil {
		return 0, *err
	}
	return float64(done.Load()) / time.Since(began).Seconds(), nil
}

type echoServer struct {
	boardv1.UnimplementedBoardServiceServer
	answer *boardv1.AppendResponse
	stream []*boardv1.EntriesResponse
}

func (e *echoServer) Append(context.Context, *boardv1.AppendRequest) (*boardv1.AppendResponse, error) {
	return e.answer, nil
}

func (e *echoServer) Entries(_ *boardv1.EntriesRequest, ss grpc.ServerStreamingServer[boardv1.EntriesResponse]) error {
	for _, m := range e.stream {
		if err := ss.Send(m); err != nil {
			return err
		}
	}
	return nil
}

func echo(b testing.TB, e *echoServer) func() *grpc.ClientConn {
	s := grpc.NewServer(grpc.MaxSendMsgSize(maxAnswer))
	boardv1.RegisterBoardServiceServer(s, e)
	return onLoopback(b, s, grpc.WithTransportCredentials(insecure.NewCredentials()))
}

// reading is a usual event.
func reading(i int) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_Reading{Reading: &eventv1.Reading{
		Value: &eventv1.Quantity{Digits: fmt.Sprintf("12.%02d", i%100), Unit: "V"}, Red: "fan C1-2", Black: "batt- post",
		Conditions: &eventv1.Conditions{Key: eventv1.KeyPosition_KEY_POSITION_RUNNING}, Concern: eventv1.Presence_PRESENCE_PRESENT,
		Instrument: &eventv1.Instrument{Kind: eventv1.InstrumentKind_INSTRUMENT_KIND_METER, Name: "meter 1"},
	}}}
}

func BenchmarkAppend(b *testing.B) {
	for _, c := range []struct {
		inFlight, each int
	}{{1, 1}, {64, 1}, {1024, 1}, {16, 16}, {64, 16}} {
		b.Run(fmt.Sprintf("in_flight=%d/events=%d", c.inFlight, c.each), func(b *testing.B) {
			for range b.N {
				benchAppend(b, c.inFlight, c.each)
			}
		})
	}
}

func benchAppend(b *testing.B, inFlight, each int) {
	m, dial := kept(b)
	conns := make([]boardv1.BoardServiceClient, max(1, inFlight/128))
	for i := range conns {
		conns[i] = boardv1.NewBoardServiceClient(dial())
	}
	// A case for each worker: a device counts in each by itself. Signed before the
	// clock runs; what is left over is thrown away.
	perWorker := max(30_000/inFlight/each, 20) * turns
	if inFlight == 1 {
		perWorker = 2500 * turns
	}
	requests := make([][]*boardv1.AppendRequest, inFlight)
	var wg sync.WaitGroup
	for w := range requests {
		stream := m.opens()
		wg.Go(func() {
			for range perWorker {
				r := &boardv1.AppendRequest{}
				for i := range each {
					r.Events = append(r.Events, m.write(stream, reading(i)))
				}
				requests[w] = append(requests[w], r)
			}
		})
	}
	wg.Wait()
	ctx := m.ctx()
	first, err := m.board.Append(ctx, requests[0][0])
	require.NoError(b, err)
	requests[0] = requests[0][1:]
	answer := func(r *boardv1.AppendResponse, err error) error {
		if err != nil {
			return err
		}
		for _, r := range r.GetResults() {
			if r.GetReason() != 0 || r.GetSeq() == 0 || len(r.GetRemarks()) > 0 {
				return fmt.Errorf("not taken: %v", r)
			}
		}
		return nil
	}
	bare := echo(b, &echoServer{answer: first})
	echoes := make([]boardv1.BoardServiceClient, len(conns))
	for i := range echoes {
		echoes[i] = boardv1.NewBoardServiceClient(bare())
	}
	same := requests[0][0]
	var ours, echoed, synced []float64
	for range turns {
		next := make([]int, inFlight)
		r, err := rate(inFlight, func(w int) error {
			if next[w] >= perWorker/turns || len(requests[w]) == 0 {
				return io.EOF
			}
			req := requests[w][0]
			requests[w] = requests[w][1:]
			next[w]++
			return answer(conns[w%len(conns)].Append(ctx, req))
		})
		if errors.Is(err, io.EOF) {
			b.Fatal("too few events were signed beforehand")
		}
		require.NoError(b, err)
		ours = append(ours, r*float64(each))
		r, err = rate(inFlight, func(w int) error { return answer(echoes[w%len(conns)].Append(ctx, same)) })
		require.NoError(b, err)
		echoed = append(echoed, r*float64(each))
		r, err = syncRate(b, same)
		require.NoError(b, err)
		synced = append(synced, r*float64(each))
	}
	b.ReportMetric(middle(ours), "events/s")
	b.ReportMetric(middle(ours)/middle(echoed), "of-echo")
	b.ReportMetric(middle(ours)/middle(synced), "of-fdatasync")
	b.ReportMetric(middle(echoed), "echo/s")
	b.ReportMetric(middle(synced), "fdatasync/s")
	b.ReportMetric(0, "ns/op")
}

// syncRate writes the bytes of a request, one after the other, each with an
// fdatasync of its own.
func syncRate(b testing.TB, r *boardv1.AppendRequest) (float64, error) {
	f, err := os.Create(filepath.Join(b.TempDir(), "raw"))
	require.NoError(b, err)
	defer f.Close() //nolint:errcheck // only measured
	var bytes []byte
	for _, e := range r.GetEvents() {
		bytes = append(append(bytes, e.GetEvent()...), e.GetSignature()...)
	}
	return rate(1, func(int) error {
		if _, err := f.Write(bytes); err != nil {
			return err
		}
		return syscall.Fdatasync(int(f.Fd()))
	})
}

func middle(v []float64) float64 {
	best := append([]float64(nil), v...)
	for i := range best {
		for j := i; j > 0 && best[j] < best[j-1]; j-- {
			best[j], best[j-1] = best[j-1], best[j]
		}
	}
	return best[len(best)/2]
}

// What a signature costs, to see what share of a rate it can be.
func BenchmarkOpenAndVerify(b *testing.B) {
	w := newWorld(b, Options{})
	m := w.shopOwner("Bench shop (invented)")
	s := m.write(newID(), reading(1))
	key := w.register.device(m.device).key
	b.ReportAllocs()
	for b.Loop() {
		o, err := envelope.Open(s.GetEvent())
		if err != nil || envelope.Verify(key, o.Hash[:], s.GetSignature()) != nil {
			b.Fatal("does not fit")
		}
	}
}

// BenchmarkReplay reads a case of many entries, beside a bare stream of the same
// messages: as the second reader does, and, as 'unread', as the first.
func BenchmarkReplay(b *testing.B) {
	const entries = 30_000
	m, _ := kept(b)
	stream := m.opens()
	for n := 1; n < entries; {
		r := &boardv1.AppendRequest{}
		for range min(MaxEvents, entries-n) {
			r.Events = append(r.Events, m.write(stream, reading(n)))
			n++
		}
		_, err := m.board.Append(m.ctx(), r)
		require.NoError(b, err)
	}
	read := func(c boardv1.BoardServiceClient, keep *[]*boardv1.EntriesResponse) error {
		ss, err := c.Entries(m.ctx(), &boardv1.EntriesRequest{Stream: stream})
		if err != nil {
			return err
		}
		for n := 0; ; {
			r, err := ss.Recv()
			if errors.Is(err, io.EOF) && n == entries {
				return nil
			}
			if err != nil {
				return fmt.Errorf("after %d entries: %w", n, err)
			}
			n += len(r.GetEntries())
			if keep != nil {
				*keep = append(*keep, r)
			}
		}
	}
	same := &echoServer{}
	require.NoError(b, read(m.board, &same.stream))
	bare := boardv1.NewBoardServiceClient(echo(b, same)())
	for range b.N {
		var ours, cold, theirs []float64
		for range turns {
			r, err := rate(1, func(int) error { return read(m.board, nil) })
			require.NoError(b, err)
			ours = append(ours, r*entries)
			r, err = rate(1, func(int) error {
				m.w.pages.forget()
				return read(m.board, nil)
			})
			require.NoError(b, err)
			cold = append(cold, r*entries)
			r, err = rate(1, func(int) error { return read(bare, nil) })
			require.NoError(b, err)
			theirs = append(theirs, r*entries)
		}
		b.ReportMetric(middle(ours), "entries/s")
		b.ReportMetric(middle(theirs), "bare/s")
		b.ReportMetric(middle(cold), "unread/s")
		b.ReportMetric(middle(cold)/middle(theirs), "unread-of-bare")
		b.ReportMetric(middle(ours)/middle(theirs), "of-bare")
		b.ReportMetric(0, "ns/op")
	}
}

// BenchmarkIdleSockets appends while a thousand connections each watch a case in
// which nothing happens, and beside it while none does.
func BenchmarkIdleSockets(b *testing.B) {
	const idle, inFlight = 1000, 8
	m, dial := kept(b)
	streams := make([]string, inFlight)
	for i := range streams {
		streams[i] = m.opens()
	}
	quiet := m.opens()
	measure := func() float64 {
		var all []float64
		for range turns {
			r, err := rate(inFlight, func(w int) error {
				_, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{m.write(streams[w], reading(w))}})
				return err
			})
			require.NoError(b, err)
			all = append(all, r)
		}
		return middle(all)
	}
	for range b.N {
		alone := measure()
		for range idle {
			ss, err := boardv1.NewBoardServiceClient(dial()).Watch(m.ctx(), &boardv1.WatchRequest{Stream: quiet})
			require.NoError(b, err)
			_, err = ss.Recv()
			require.NoError(b, err)
		}
		beside := measure()
		b.ReportMetric(alone, "alone/s")
		b.ReportMetric(beside, "beside-idle/s")
		b.ReportMetric(beside/alone, "of-alone")
		b.ReportMetric(0, "ns/op")
	}
}
