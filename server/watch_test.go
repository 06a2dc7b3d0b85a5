package server

import (
	"context"
	"flag"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var reconnects = flag.Int("reconnects", 150, "how often a watcher is cut off and resumes; 10000 before a release")

// watching receives until n entries are there.
func (m *member) watch(ctx context.Context, req *boardv1.WatchRequest) boardv1.BoardService_WatchClient {
	m.t.Helper()
	ss, err := m.board.Watch(m.with(ctx), req)
	require.NoError(m.t, err)
	return ss
}

// A watcher that is cut off again and again, wherever it happens to be, sees every
// entry once and in order, while two people write.
func TestWatchResumes(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	mate := m.invite(technician, "mate")
	stream := m.opens()
	other := m.opens()
	stop := make(chan struct{})
	var writers sync.WaitGroup
	for _, writer := range []*member{m, mate} {
		writers.Go(func() {
			for i := 0; ; i++ {
				select {
				case <-stop:
					return
				case <-time.After(time.Millisecond):
				}
				to := []string{stream, other}[i%2]
				writer.send(writer.write(to, noted("meanwhile")), writer.write(to, noted("and again")))
			}
		})
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	entries := uint64(0)
	for name, of := range map[string]string{"case": stream, "shop": ""} {
		rnd := rand.New(rand.NewPCG(seed, 1))
		cursor, next := "", uint64(1)
		seqs := map[string]uint64{}
		for range *reconnects / 2 {
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			ss := m.watch(ctx, &boardv1.WatchRequest{Stream: of, Cursor: cursor})
			for range 1 + rnd.IntN(4) {
				r, err := ss.Recv()
				require.NoError(t, err)
				for _, h := range r.GetEntries() {
					require.Equal(t, next, h.GetPosition(), name)
					next++
					e := entryOf(t, h)
					require.Equal(t, seqs[e.GetStream()]+1, e.GetSeq(), name)
					seqs[e.GetStream()]++
				}
				cursor = r.GetCursor()
			}
			cancel() // what was sent and not read is sent again
		}
		require.Greater(t, next, uint64(*reconnects/4), name)
		entries += next - 1
	}
	t.Logf("%d reconnects, %d entries, each once and in order", *reconnects/2*2, entries)
	close(stop)
	writers.Wait()
}

func TestWatchFromNow(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	ss := m.watch(ctx, &boardv1.WatchRequest{Stream: stream, FromNow: true})
	r, err := ss.Recv()
	require.NoError(t, err)
	require.Empty(t, r.GetEntries())
	require.NotEmpty(t, r.GetCursor(), "there is a cursor to resume at before anything comes")
	require.NotEmpty(t, r.GetCheckpoint())
	m.put(stream, noted("now"))
	r, err = ss.Recv()
	require.NoError(t, err)
	require.EqualValues(t, 2, r.GetEntries()[0].GetPosition())
	_, err = m.watch(ctx, &boardv1.WatchRequest{Stream: stream, FromNow: true, Cursor: r.GetCursor()}).Recv()
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err))
}

func TestCursorsOfOthers(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream, second := m.opens(), m.opens()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	good, err := m.watch(ctx, &boardv1.WatchRequest{Stream: stream}).Recv()
	require.NoError(t, err)
	id := w.identity.log
	for name, c := range map[string]string{
		"garbage":            "garbage",
		"garbage as long":    strings.Repeat("A", len(good.GetCursor())),
		"one letter changed": "B" + good.GetCursor()[1:],
		"another log":        cursor{"0123456789abcdef", 1, 2, stream}.String(),
		"another case":       cursor{id, 1, 2, second}.String(),
		"another epoch":      cursor{id, 2, 2, stream}.String(),
		"position 0":         cursor{id, 1, 0, stream}.String(),
		"beyond the head":    cursor{id, 1, 3, stream}.String(),
	} {
		_, err := m.watch(ctx, &boardv1.WatchRequest{Stream: stream, Cursor: c}).Recv()
		require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err), name)
	}
	_, err = m.watch(ctx, &boardv1.WatchRequest{Cursor: good.GetCursor()}).Recv()
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err), "a case's cursor for the shop")
	r, err := m.watch(ctx, &boardv1.WatchRequest{Stream: stream, Cursor: good.GetCursor()}).Recv()
	require.NoError(t, err)
	require.Empty(t, r.GetEntries())
}

func FuzzCursor(f *testing.F) {
	const log, name = "0123456789abcdef", "shop/1"
	f.Add(cursor{log, 1, 7, name}.String())
	f.Add("")
	f.Add("AQEjRWeJq83v")
	f.Fuzz(func(t *testing.T, text string) {
		c, refusal := parseCursor(text, log, 1, name)
		if refusal == nil {
			require.Equal(t, text, c.String(), "one text for one cursor")
			require.Equal(t, cursor{log, 1, c.position, name}, c)
			return
		}
		require.Equal(t, boardv1.Reason_REASON_MALFORMED, refusal.Reason)
	})
}

func TestWhatTheGrantBringsAndTheWithdrawalEnds(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	help := ben.invite(guest, "guest")
	stream := anna.opens()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	shop := ben.watch(ctx, &boardv1.WatchRequest{})
	guests := help.watch(ctx, &boardv1.WatchRequest{})
	next := func(ss boardv1.BoardService_WatchClient) *boardv1.WatchResponse {
		t.Helper()
		for {
			r, err := ss.Recv()
			require.NoError(t, err)
			if len(r.GetEntries()) > 0 {
				return r
			}
		}
	}
	off := anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 2))
	r := next(shop)
	require.Len(t, r.GetEntries(), 1)
	e := entryOf(t, r.GetEntries()[0])
	require.EqualValues(t, kindAccessGranted, e.GetKind(), "the grant is the first that the shop hears of")
	require.EqualValues(t, 3, e.GetSeq())
	require.Equal(t, w.identity.device, e.GetDevice())
	granted := new(eventv1.Event)
	require.NoError(t, protoUnmarshal(r.GetEntries()[0].GetEvent(), granted))
	require.Equal(t, off.GetId(), granted.GetAccessGranted().GetHandoff())
	require.Len(t, ben.entries(stream), 3, "the rest is read from the case")

	whole := ben.watch(ctx, &boardv1.WatchRequest{Stream: stream})
	require.Len(t, next(whole).GetEntries(), 3)
	anna.put(stream, noted("while ben is here"))
	require.EqualValues(t, 4, entryOf(t, next(whole).GetEntries()[0]).GetSeq())
	require.EqualValues(t, 4, entryOf(t, next(shop).GetEntries()[0]).GetSeq())

	anna.put(stream, withdrawal(ben.shop, 5))
	_, err := whole.Recv()
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err), "a watch of the case ends, and says what it would of no case")
	for range 20 {
		anna.put(stream, noted("not for ben"))
	}
	// A case that is granted later comes next: nothing in between does.
	second := anna.opens()
	anna.put(second, handOff(ben.shop, "", eventv1.Access_ACCESS_READ, 2))
	e = entryOf(t, next(shop).GetEntries()[0])
	require.Equal(t, second, e.GetStream())

	// From the start again: what may not be seen any more is left out.
	again := ben.watched("", 1)
	require.Len(t, again, 1)
	require.Equal(t, second, entryOf(t, again[0]).GetStream())

	// The guest of that shop has heard nothing at all until a case is given by name.
	third := anna.opens()
	anna.put(third, handOff(ben.shop, help.person, eventv1.Access_ACCESS_READ, 2))
	e = entryOf(t, next(guests).GetEntries()[0])
	require.Equal(t, third, e.GetStream())
	require.EqualValues(t, 3, e.GetSeq())
}

func TestAWithdrawnDeviceHearsNothingMore(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	mate := boss.invite(technician, "mate")
	stream := boss.opens()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	for _, of := range []string{stream, ""} {
		require.NoError(t, func() error { _, err := mate.watch(ctx, &boardv1.WatchRequest{Stream: of}).Recv(); return err }())
	}
	ss := mate.watch(ctx, &boardv1.WatchRequest{})
	_, err := ss.Recv()
	require.NoError(t, err)
	_, err = boss.register.WithdrawDevice(boss.ctx(), &boardv1.WithdrawDeviceRequest{Device: mate.device})
	require.NoError(t, err)
	// At once: the token, the key, and the watch that was going on.
	_, err = mate.register.WhoAmI(mate.ctx(), &boardv1.WhoAmIRequest{})
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err))
	kept, err := w.log.Get(ctx, tokenKey(mate.token))
	require.NoError(t, err)
	require.Nil(t, kept)
	_, err = ss.Recv()
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err))
}

func TestASlowReaderIsCutOffAndResumes(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{SlowAfter: 200 * time.Millisecond})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	long := strings.Repeat("the fan does not run. ", 150)
	var batch []*eventv1.Signed
	for i := range 1500 {
		if batch = append(batch, m.write(stream, noted(long))); len(batch) == 100 || i == 1499 {
			m.send(batch...)
			batch = nil
		}
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	ss := m.watch(ctx, &boardv1.WatchRequest{Stream: stream})
	time.Sleep(600 * time.Millisecond) // reads nothing
	cursor, next, cutOff := "", uint64(1), 0
	read := func(r *boardv1.WatchResponse) {
		for _, h := range r.GetEntries() {
			require.Equal(t, next, h.GetPosition())
			next++
		}
		cursor = r.GetCursor()
	}
	for next <= 1501 {
		r, err := ss.Recv()
		if err == nil {
			read(r)
			continue
		}
		require.Equal(t, codes.Aborted, status.Code(err))
		require.Equal(t, boardv1.Reason_REASON_TOO_SLOW, reasonOf(t, err))
		cutOff++
		require.Greater(t, next, uint64(1), "what was on its way arrives")
		ss = m.watch(ctx, &boardv1.WatchRequest{Stream: stream, Cursor: cursor})
	}
	require.Positive(t, cutOff)

	// Whoever is slow keeps nobody else waiting.
	idle := m.watch(ctx, &boardv1.WatchRequest{Stream: stream})
	began := time.Now()
	m.put(stream, noted("meanwhile"))
	require.Less(t, time.Since(began), time.Second)
	require.NotNil(t, idle)
}

func TestStopEndsWatchers(t *testing.T) {
	t.Parallel()
	s, err := Open("", Options{Limits: roomy()})
	require.NoError(t, err)
	w := serveWorld(t, s, &clock{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	ss := m.watch(ctx, &boardv1.WatchRequest{Stream: stream})
	_, err = ss.Recv()
	require.NoError(t, err)
	require.NoError(t, s.Stop(ctx))
	_, err = ss.Recv()
	require.Equal(t, boardv1.Reason_REASON_STOPPED, reasonOf(t, err))
	_, err = s.Append(ctx, m.caller(), []*eventv1.Signed{m.write(stream, noted("too late"))})
	require.ErrorContains(t, err, "takes no entries")
	require.NoError(t, s.Stop(ctx), "a second Stop does nothing")
}
