package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	healthv1 "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// faulty is a log whose appends fail when it is told to.
type faulty struct {
	*memory.Log
	fail atomic.Pointer[error]
	// most records that it takes at once; 0: all.
	most atomic.Int64
	// after: the batch is kept all the same.
	after atomic.Bool
}

func (f *faulty) Append(ctx context.Context, b log.Batch) error {
	if n := f.most.Load(); n > 0 && int64(len(b.Records)) > n {
		return fmt.Errorf("%w: %d records", log.ErrTooBig, len(b.Records))
	}
	if err := f.fail.Load(); err != nil {
		if f.after.Load() {
			if err := f.Log.Append(ctx, b); err != nil {
				return err
			}
		}
		return *err
	}
	return f.Log.Append(ctx, b)
}

func faultyWorld(t *testing.T) (*world, *faulty) {
	f := &faulty{Log: memory.New()}
	c := &clock{t: noon}
	s, err := open(t.TempDir(), f, Options{Now: c.now, Limits: roomy()}.filled())
	require.NoError(t, err)
	return serveWorld(t, s, c), f
}

func (w *world) wellness() healthv1.HealthCheckResponse_ServingStatus {
	r, err := healthv1.NewHealthClient(w.dial()).Check(context.Background(), &healthv1.HealthCheckRequest{})
	require.NoError(w.t, err)
	return r.GetStatus()
}

func TestNobodyKnowsWhetherItWasKept(t *testing.T) {
	t.Parallel()
	for _, kept := range []bool{false, true} {
		w, f := faultyWorld(t)
		m := w.shopOwner("One (invented)")
		stream := m.opens()
		require.Equal(t, healthv1.HealthCheckResponse_SERVING, w.wellness())
		f.after.Store(kept)
		broken := errors.New("the disk said nothing")
		f.fail.Store(&broken)
		_, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{m.write(stream, noted("lost or not"))}})
		require.Equal(t, boardv1.Reason_REASON_STOPPED, reasonOf(t, err))
		require.Equal(t, codes.Unavailable, status.Code(err))
		require.Equal(t, healthv1.HealthCheckResponse_NOT_SERVING, w.wellness())
		// Also when the disk is well again: the server must look first.
		f.fail.Store(nil)
		_, err = m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{m.write(stream, noted("after"))}})
		require.Equal(t, boardv1.Reason_REASON_STOPPED, reasonOf(t, err))
		// Reading goes on, and shows nothing that was not confirmed.
		require.Len(t, m.entries(stream), 1)
	}
}

func TestNoRoom(t *testing.T) {
	t.Parallel()
	w, f := faultyWorld(t)
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	full := fmt.Errorf("%w: 3 MiB free", log.ErrFull)
	f.fail.Store(&full)
	s := m.write(stream, noted("when there is room"))
	for range 3 {
		_, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{s}})
		require.Equal(t, boardv1.Reason_REASON_NO_ROOM, reasonOf(t, err))
		require.Equal(t, codes.ResourceExhausted, status.Code(err))
	}
	require.Len(t, m.entries(stream), 1)
	_, err := w.OpenShop(t.Context(), "Two (invented)", "EUR", true)
	require.ErrorContains(t, err, "no room")
	require.Nil(t, w.register.named("Two (invented)"), "nothing is known that is not kept")
	f.fail.Store(nil)
	r := m.send(s)[0]
	require.EqualValues(t, 2, r.GetSeq())
	require.False(t, r.GetHeldAlready())
	require.Equal(t, healthv1.HealthCheckResponse_SERVING, w.wellness())
}

func TestABatchThatIsTooBigIsSplit(t *testing.T) {
	t.Parallel()
	w, f := faultyWorld(t)
	m := w.shopOwner("One (invented)")
	streams := make([]string, 32)
	for i := range streams {
		streams[i] = m.opens()
	}
	f.most.Store(3)
	done := make(chan *boardv1.AppendResult, len(streams))
	for _, stream := range streams {
		s := m.write(stream, noted("one of many at once"))
		go func() {
			r, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{s}})
			if err != nil {
				t.Error(err)
			}
			done <- r.GetResults()[0]
		}()
	}
	for range streams {
		require.EqualValues(t, 2, (<-done).GetSeq())
	}
	// One request that is too big by itself is refused, and nothing of it is kept.
	_, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{
		m.write(streams[0], noted("a")), m.write(streams[0], noted("b")), m.write(streams[0], noted("c")), m.write(streams[0], noted("d")),
	}})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	require.Len(t, m.entries(streams[0]), 2)
}

func TestAPanicIsOneCallsTrouble(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	// Nobody should be able to; break something that only a fault could break.
	w.register.mu.Lock()
	held := w.register.shops[m.shop]
	w.register.shops[m.shop] = nil
	w.register.mu.Unlock()
	_, err := m.register.WhoAmI(m.ctx(), &boardv1.WhoAmIRequest{})
	require.Equal(t, codes.Internal, status.Code(err))
	require.NotContains(t, err.Error(), "nil pointer", "what went wrong inside is for the server's own log")
	w.register.mu.Lock()
	w.register.shops[m.shop] = held
	w.register.mu.Unlock()
	require.Len(t, m.entries(stream), 1)
}

// A disk with too little room left, for a log that is really on disk.
func TestTheReserve(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	require.NoError(t, err)
	o, err := s.OpenShop(t.Context(), "One (invented)", "EUR", true)
	require.NoError(t, err)
	require.NoError(t, s.Stop(t.Context()))
	s, err = Open(dir, Options{Reserve: 1 << 60})
	require.NoError(t, err, "a full disk is no reason not to read")
	w := serveWorld(t, s, &clock{t: noon})
	_, err = w.Join(t.Context(), "", joining(o.Code))
	var r *Refusal
	require.ErrorAs(t, err, &r)
	require.Equal(t, boardv1.Reason_REASON_NO_ROOM, r.Reason)
	require.Equal(t, healthv1.HealthCheckResponse_SERVING, w.wellness())
}

// What the server says of itself holds no token, no name and nothing recorded.
func TestItsOwnLogKeepsSecrets(t *testing.T) {
	t.Parallel()
	var said lockedBuffer
	w := newWorld(t, Options{Logger: slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{Level: slog.LevelDebug}))})
	m := w.shopOwner("Unmistakable Shop (invented)")
	stream := m.opens()
	m.put(stream, noted("an unmistakable secret"))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, m.tried(newID(), noted("an unmistakable secret")))
	_, err := m.tryEntries(&boardv1.EntriesRequest{Stream: newID()})
	require.Error(t, err)
	text := said.String()
	require.Contains(t, text, "BoardService/Append")
	require.Contains(t, text, "REASON_NOT_FOUND")
	for _, secret := range []string{m.token, "nmistakable", "owner of"} {
		require.NotContains(t, text, secret)
	}
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
