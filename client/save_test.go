package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// taker stands for a server: it holds each device to its numbers, and can be made
// to fail or refuse.
type taker struct {
	mu     sync.Mutex
	key    ed25519.PublicKey
	last   map[string]link
	ids    map[string]uint64
	held   []*boardv1.Held
	calls  int
	before func(call int) error
	answer func(*eventv1.Event) *boardv1.AppendResult
}

func newTaker(who *Identity) *taker {
	return &taker{key: who.Key.Public().(ed25519.PublicKey), last: make(map[string]link), ids: make(map[string]uint64)}
}

func (s *taker) Append(_ context.Context, req *boardv1.AppendRequest, _ ...grpc.CallOption) (*boardv1.AppendResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.calls++
	if s.before != nil {
		if err := s.before(s.calls); err != nil {
			return nil, err
		}
	}
	if n := len(req.GetEvents()); n > maxBatch {
		return nil, fmt.Errorf("%d events at once", n)
	}
	out := new(boardv1.AppendResponse)
	for _, signed := range req.GetEvents() {
		o, err := envelope.Open(signed.GetEvent())
		if err != nil {
			return nil, err
		}
		if err := envelope.Verify(s.key, o.Hash[:], signed.GetSignature()); err != nil {
			return nil, err
		}
		e := o.Event
		r := &boardv1.AppendResult{Id: e.GetId()}
		out.Results = append(out.Results, r)
		if seq := s.ids[e.GetId()]; seq != 0 {
			r.Seq, r.HeldAlready = seq, true
			continue
		}
		last := s.last[e.GetStream()]
		if e.GetDeviceSeq() <= last.Seq || e.GetDeviceSeq() == last.Seq+1 && last.Seq > 0 && !bytes.Equal(e.GetPrev(), last.Hash) {
			r.Reason, r.Text = boardv1.Reason_REASON_DEVICE_NUMBER, "forked"
			continue
		}
		if s.answer != nil {
			if no := s.answer(e); no != nil {
				no.Id = e.GetId()
				out.Results[len(out.Results)-1] = no
				continue
			}
		}
		s.last[e.GetStream()] = link{e.GetDeviceSeq(), o.Hash[:]}
		r.Seq = uint64(len(s.ids) + 1)
		s.ids[e.GetId()] = r.Seq
		entry, err := proto.Marshal(envelope.NewEntry(o, signed.GetSignature(), "00112233445566aa", r.Seq-1, r.Seq, nil, "", ""))
		if err != nil {
			return nil, err
		}
		s.held = append(s.held, &boardv1.Held{Entry: entry, Event: signed.GetEvent()})
	}
	return out, nil
}

// entries are those that a taker of one stream took.
func (s *taker) entries(t *testing.T, stream string) []*boardv1.Held {
	t.Helper()
	for _, held := range s.held {
		r, err := cases.NewRecord(held.GetEntry(), held.GetEvent())
		require.NoError(t, err)
		require.Equal(t, stream, r.Entry.GetStream())
	}
	return s.held
}

// Consistency proves nothing: no answer of a taker has a checkpoint.
func (s *taker) Consistency(context.Context, *boardv1.ConsistencyRequest, ...grpc.CallOption) (*boardv1.ConsistencyResponse, error) {
	return nil, status.Error(codes.Unimplemented, "no proofs here")
}

// chainHolds checks that the events of each stream number from 1 without a gap and
// name one another.
func chainHolds(t *testing.T, events []*eventv1.Signed) {
	t.Helper()
	ends := make(map[string]link)
	for _, s := range events {
		o, err := envelope.Open(s.GetEvent())
		require.NoError(t, err)
		end := ends[o.Event.GetStream()]
		require.Equal(t, end.Seq+1, o.Event.GetDeviceSeq())
		require.Equal(t, string(end.Hash), string(o.Event.GetPrev()))
		ends[o.Event.GetStream()] = link{o.Event.GetDeviceSeq(), o.Hash[:]}
	}
}

func TestSaveNumbersEachStream(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	a, b := newUUID(), newUUID()
	for _, stream := range []string{a, b, a, a, b} {
		_, err := h.Save(who, Stamp{Seen: 3, At: h.now()}, aNote(stream, "x"))
		require.NoError(t, err)
	}
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(a, "y"), aNote(b, "y"), aNote(a, "z"))
	require.NoError(t, err)
	waiting := pending(t, h)
	require.Len(t, waiting, 8)
	chainHolds(t, waiting)
}

func TestSaveIsAllOrNothing(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	bad := aNote(stream, "bad")
	bad.Because = []string{"not an id"}
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "good"), bad)
	require.ErrorContains(t, err, "event 2 of 2")
	waiting := pending(t, h)
	require.Empty(t, waiting)
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "good"))
	require.NoError(t, err)
	waiting = pending(t, h)
	chainHolds(t, waiting)
}

// TestSaveGroupsOfAnySize: also what does not fit one batch of the engine is saved
// together or not at all.
func TestSaveGroupsOfAnySize(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	var group []*eventv1.Event
	for range 60 {
		group = append(group, aNote(stream, strings.Repeat("x", 50<<10)))
	}
	// What an interrupted one left behind the last that was saved is no entry.
	left, err := frameEvents(&eventv1.Signed{Event: []byte("left"), Signature: []byte("behind")})
	require.NoError(t, err)
	require.NoError(t, h.replica.Append(t.Context(), log.Batch{Index: []log.Write{{Key: prefixOut + string(numbered(59)) + stream, Value: left}}}))
	require.Empty(t, pending(t, h))
	_, err = h.Save(who, Stamp{At: h.now()}, group...)
	require.NoError(t, err)
	waiting := pending(t, h)
	require.Len(t, waiting, 60)
	chainHolds(t, waiting)
}

// TestSaveWithoutRoom: a failure to write says 'not saved' and leaves nothing behind
// that would be sent.
func TestSaveWithoutRoom(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "first"))
	require.NoError(t, err)
	require.NoError(t, h.Close())
	h.replica = h.newReplica(1 << 60)
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "second"))
	require.ErrorContains(t, err, "not saved")
	require.ErrorIs(t, err, log.ErrFull)
	require.NotContains(t, err.Error(), "nobody knows")
	require.Len(t, pending(t, h), 1, "reading goes on")
	require.NoError(t, h.Close())
	h.replica = h.newReplica(0)
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "third"))
	require.NoError(t, err)
	chainHolds(t, pending(t, h))
	require.Len(t, pending(t, h), 2)
}

func TestPushInOrderAndOnce(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	for range 250 {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "x"))
		require.NoError(t, err)
	}
	s := newTaker(who)
	// The third call is answered and the answer lost.
	s.before = func(call int) error {
		if call == 3 {
			return status.Error(codes.Unavailable, "cut off")
		}
		return nil
	}
	sent, err := h.Push(t.Context(), who, s)
	require.ErrorIs(t, err, ErrOffline)
	require.Equal(t, 50, sent.Waiting)
	require.Len(t, sent.Taken, 200)
	sent, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Zero(t, sent.Waiting)
	require.Len(t, s.ids, 250)
	require.Equal(t, uint64(250), s.last[stream].Seq)
}

func TestRefusedGoesToTheTrayAndLeavesAHole(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream := newUUID()
	s := newTaker(who)
	s.answer = func(e *eventv1.Event) *boardv1.AppendResult {
		if e.GetNote().GetText() == "late" {
			return &boardv1.AppendResult{Reason: boardv1.Reason_REASON_PLACE_TAKEN, Text: "place 2 is taken", Head: 2}
		}
		return nil
	}
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "a"), aNote(stream, "late"), aNote(stream, "b"))
	require.NoError(t, err)
	sent, err := h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Len(t, sent.Taken, 2)
	require.Len(t, sent.Refused, 1)
	tray, err := h.Tray()
	require.NoError(t, err)
	require.Len(t, tray, 1)
	require.Equal(t, "place taken", tray[0].Reason)
	require.Equal(t, envelope.Hash(tray[0].Event), tray[0].Hash)
	require.NoError(t, envelope.Verify(s.key, tray[0].Hash, tray[0].Signature))
	require.Equal(t, uint64(3), s.last[stream].Seq)

	require.NoError(t, h.Settled(tray[0].ID, newUUID()))
	tray, err = h.Tray()
	require.NoError(t, err)
	require.Empty(t, tray)
}

// TestNotNowIsNoRefusal: what a server cannot take today stays waiting.
func TestNotNowIsNoRefusal(t *testing.T) {
	t.Parallel()
	for _, reason := range []boardv1.Reason{boardv1.Reason_REASON_NO_ROOM, boardv1.Reason_REASON_STOPPED, boardv1.Reason_REASON_LIMIT, boardv1.Reason_REASON_WHO_ARE_YOU} {
		h, who := testHome(t), testIdentity(t)
		s := newTaker(who)
		s.answer = func(*eventv1.Event) *boardv1.AppendResult {
			return &boardv1.AppendResult{Reason: reason, Text: "not now"}
		}
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(newUUID(), "a"))
		require.NoError(t, err)
		sent, err := h.Push(t.Context(), who, s)
		var no *Refusal
		require.ErrorAs(t, err, &no)
		require.Equal(t, reason, no.Reason)
		require.Equal(t, 1, sent.Waiting)
	}
}

// TestCrashBetweenAnswerAndSettling: what was answered and is still in the outbox is
// sent again, and changes nothing.
func TestCrashBetweenAnswerAndSettling(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream, s := newUUID(), newTaker(who)
	save := func() {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "x"))
		require.NoError(t, err)
	}
	save()
	save()
	_, err := s.Append(t.Context(), &boardv1.AppendRequest{Events: pending(t, h)}) // and the process ends here
	require.NoError(t, err)
	h = h.reopened(t)
	save()
	sent, err := h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Empty(t, sent.Refused)
	require.Len(t, sent.Taken, 3)
	require.Equal(t, uint64(3), s.last[stream].Seq)
	require.Empty(t, pending(t, h))
}

// TestOlderCopyOfTheFolder: numbers used since the copy was made are refused, the
// words are kept, and it goes on behind them once entries of the device came back.
func TestOlderCopyOfTheFolder(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream, s := newUUID(), newTaker(who)
	save := func(h *Home, text string) *Sent {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, text))
		require.NoError(t, err)
		sent, err := h.Push(t.Context(), who, s)
		require.NoError(t, err)
		return sent
	}
	require.NoError(t, h.Close())
	old := t.TempDir()
	h = h.reopened(t)
	save(h, "one")
	require.NoError(t, h.Close())
	require.NoError(t, os.CopyFS(old, os.DirFS(h.dir)))
	h = h.reopened(t)
	save(h, "two")
	save(h, "three")

	copied := Open(old, old+"/settings")
	t.Cleanup(func() { require.NoError(t, copied.Close()) })
	require.Len(t, save(copied, "again").Refused, 1)
	tray, err := copied.Tray()
	require.NoError(t, err)
	require.Equal(t, "device number", tray[0].Reason)
	require.Contains(t, string(tray[0].View), "again")
	require.NoError(t, copied.take(t.Context(), who, s.entries(t, stream), nil))
	require.Empty(t, save(copied, "four").Refused)
}

// TestTwoCommandsAtOnce runs this test's program as several processes that record
// and send in one home at the same time.
func TestTwoCommandsAtOnce(t *testing.T) {
	if dir := os.Getenv("KNOWNGOOD_TEST_SAVER"); dir != "" {
		saver(t, dir)
		return
	}
	h, who := testHome(t), testIdentity(t)
	require.NoError(t, h.store("identity.json", who))
	stream := newUUID()
	var wg sync.WaitGroup
	outputs := make([][]byte, 3)
	errs := make([]error, 3)
	for i := range outputs {
		wg.Go(func() {
			cmd := exec.Command(os.Args[0], "-test.run=^TestTwoCommandsAtOnce$")
			cmd.Env = append(os.Environ(), "KNOWNGOOD_TEST_SAVER="+h.dir, "KNOWNGOOD_TEST_STREAM="+stream)
			outputs[i], errs[i] = cmd.CombinedOutput()
		})
	}
	s := newTaker(who)
	done := make(chan struct{})
	go func() { wg.Wait(); close(done) }()
	for running := true; running; {
		select {
		case <-done:
			running = false
		default:
		}
		sent, err := h.Push(t.Context(), who, s)
		require.NoError(t, err)
		require.Empty(t, sent.Refused)
	}
	for i := range outputs {
		require.NoError(t, errs[i], string(outputs[i]))
	}
	_, err := h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Equal(t, uint64(3*saves), s.last[stream].Seq)
	require.Len(t, s.ids, 3*saves)
}

const saves = 40

func saver(t *testing.T, dir string) {
	h := Open(dir, dir+"/settings")
	defer h.Close()
	who, err := h.Identity()
	require.NoError(t, err)
	for range saves {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), "x"))
		require.NoError(t, err)
	}
}

func TestBatchesStayUnderTheLimits(t *testing.T) {
	t.Parallel()
	small := make([]out, 250)
	for i := range small {
		small[i] = out{Signed: &eventv1.Signed{Event: make([]byte, 100), Signature: make([]byte, 64)}}
	}
	require.Equal(t, 100, batchLen(small))
	big := make([]out, 20)
	for i := range big {
		big[i] = out{Signed: &eventv1.Signed{Event: make([]byte, 60<<10), Signature: make([]byte, 64)}}
	}
	require.Equal(t, 8, batchLen(big))
	require.Equal(t, 1, batchLen(big[:1]))
	require.Zero(t, batchLen(nil))
}
