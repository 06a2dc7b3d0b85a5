package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"knowngood.example/cases/envelope"
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
	}
	return out, nil
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
	waiting, err := h.Pending()
	require.NoError(t, err)
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
	waiting, err := h.Pending()
	require.NoError(t, err)
	require.Empty(t, waiting)
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "good"))
	require.NoError(t, err)
	waiting, err = h.Pending()
	require.NoError(t, err)
	chainHolds(t, waiting)
}

// TestSaveWhereNothingCanBeWritten: a failure to write says 'not saved' and leaves
// nothing behind that would be sent.
func TestSaveWhereNothingCanBeWritten(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(newUUID(), "first"))
	require.NoError(t, err)
	require.NoError(t, os.Chmod(h.path("pending"), 0o400))
	if f, err := os.OpenFile(h.path("pending"), os.O_WRONLY, 0); err == nil {
		f.Close()
		t.Skip("this account may write everything")
	}
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(newUUID(), "second"))
	require.ErrorContains(t, err, "not saved")
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

// TestCrashBetweenAnswerAndSettling: the pending file, and chains.json with it, as
// they were before the last answer came, never lead to a number
// used twice.
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
	before, err := os.ReadFile(h.path("pending"))
	require.NoError(t, err)
	_, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)

	// The pending file was not rewritten in time: sent again, held already.
	require.NoError(t, os.WriteFile(h.path("pending"), before, 0o600))
	save()
	sent, err := h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Empty(t, sent.Refused)
	require.Equal(t, uint64(3), s.last[stream].Seq)

	// Neither was written: the pending file still knows the numbers.
	require.NoError(t, os.WriteFile(h.path("pending"), before, 0o600))
	require.NoError(t, os.Remove(h.path("chains.json")))
	require.NoError(t, h.raise(map[string]link{stream: s.last[stream]}))
	save()
	sent, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Empty(t, sent.Refused)
	require.Equal(t, uint64(4), s.last[stream].Seq)
}

// TestOlderCopyOfTheFolder: numbers used since the copy was made are learned from
// the entries; without that, the server refuses and the words are kept.
func TestOlderCopyOfTheFolder(t *testing.T) {
	t.Parallel()
	h, who := testHome(t), testIdentity(t)
	stream, s := newUUID(), newTaker(who)
	_, err := h.Save(who, Stamp{At: h.now()}, aNote(stream, "one"))
	require.NoError(t, err)
	_, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.NoError(t, os.Remove(h.path("chains.json")))

	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "two"))
	require.NoError(t, err)
	sent, err := h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Len(t, sent.Refused, 1)
	tray, err := h.Tray()
	require.NoError(t, err)
	require.Equal(t, "device number", tray[0].Reason)
	require.Contains(t, string(tray[0].View), "two")

	require.NoError(t, h.raise(map[string]link{stream: s.last[stream]}))
	_, err = h.Save(who, Stamp{At: h.now()}, aNote(stream, "three"))
	require.NoError(t, err)
	sent, err = h.Push(t.Context(), who, s)
	require.NoError(t, err)
	require.Empty(t, sent.Refused)
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
	who, err := h.Identity()
	require.NoError(t, err)
	for range saves {
		_, err := h.Save(who, Stamp{At: h.now()}, aNote(os.Getenv("KNOWNGOOD_TEST_STREAM"), "x"))
		require.NoError(t, err)
	}
}

func TestBatchesStayUnderTheLimits(t *testing.T) {
	t.Parallel()
	small := make([]*eventv1.Signed, 250)
	for i := range small {
		small[i] = &eventv1.Signed{Event: make([]byte, 100), Signature: make([]byte, 64)}
	}
	require.Equal(t, 100, batchLen(small))
	big := make([]*eventv1.Signed, 20)
	for i := range big {
		big[i] = &eventv1.Signed{Event: make([]byte, 60<<10), Signature: make([]byte, 64)}
	}
	require.Equal(t, 8, batchLen(big))
	require.Equal(t, 1, batchLen(big[:1]))
	require.Zero(t, batchLen(nil))
}
