package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const taken = boardv1.Reason_REASON_UNSPECIFIED

func entryOf(t testing.TB, h *boardv1.Held) *eventv1.Entry {
	t.Helper()
	e := new(eventv1.Entry)
	require.NoError(t, proto.Unmarshal(h.GetEntry(), e))
	return e
}

func TestOneBadEventBlocksNoOther(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := newID()
	first := m.write(stream, opening(m.shop))
	good := m.write(stream, noted("good"))
	after := m.write(stream, noted("after the bad ones"))
	forged := proto.Clone(good).(*eventv1.Signed)
	forged.Signature[0] ^= 1
	results := m.send(first, forged, &eventv1.Signed{Event: []byte("no event")}, good, after)
	var reasons []boardv1.Reason
	var seqs []uint64
	for _, r := range results {
		reasons, seqs = append(reasons, r.GetReason()), append(seqs, r.GetSeq())
	}
	require.Equal(t, []boardv1.Reason{taken, boardv1.Reason_REASON_SIGNATURE, boardv1.Reason_REASON_MALFORMED, taken, taken}, reasons)
	require.Equal(t, []uint64{1, 0, 0, 2, 3}, seqs)
	require.Empty(t, results[3].GetRemarks(), "it saw the one before it in the same request")
}

func TestTheSameEventKeepsItsFirstPlace(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	e := m.event(stream, noted("once"))
	s := m.sign(e)
	twice := m.send(s, s)
	require.EqualValues(t, 2, twice[0].GetSeq())
	require.False(t, twice[0].GetHeldAlready())
	require.EqualValues(t, 2, twice[1].GetSeq())
	require.True(t, twice[1].GetHeldAlready())
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			r, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{s}})
			if err != nil || r.GetResults()[0].GetSeq() != 2 || !r.GetResults()[0].GetHeldAlready() {
				t.Errorf("%v %v", r, err)
			}
		})
	}
	wg.Wait()
	require.Len(t, m.entries(stream), 2)

	// The same id with other bytes.
	other := m.event(stream, noted("twice"))
	other.Id = e.Id
	r := m.send(m.sign(other))[0]
	require.Equal(t, boardv1.Reason_REASON_ID_TAKEN, r.GetReason())
	require.Len(t, m.entries(stream), 2)
	// In another case the id is free.
	elsewhere := m.opens()
	free := m.event(elsewhere, noted("elsewhere"))
	free.Id = e.Id
	require.Equal(t, taken, m.send(m.sign(free))[0].GetReason())
}

func TestNumbersOfADevice(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens() // number 1
	two := m.write(stream, noted("two"))
	three := m.write(stream, noted("three"))
	four := m.write(stream, noted("four"))

	r := m.send(four)[0]
	require.Equal(t, taken, r.GetReason(), "a hole is reported, not fatal")
	require.Equal(t, []string{"number 3 of this device is not here"}, r.GetRemarks())

	again := m.event(stream, noted("another one with four's number"))
	again.DeviceSeq, again.Prev = 4, envelope.Hash(three.GetEvent())
	r = m.send(m.sign(again))[0]
	require.Equal(t, boardv1.Reason_REASON_DEVICE_NUMBER, r.GetReason())
	require.Contains(t, r.GetText(), "number 4")

	wrong := m.event(stream, noted("two, after something else"))
	wrong.DeviceSeq, wrong.Prev = 2, envelope.Hash([]byte("something else"))
	require.Equal(t, boardv1.Reason_REASON_DEVICE_NUMBER, m.send(m.sign(wrong))[0].GetReason())

	other := m.event(stream, noted("a three that four does not name"))
	other.DeviceSeq, other.Prev = 3, envelope.Hash(two.GetEvent())
	require.Equal(t, boardv1.Reason_REASON_DEVICE_NUMBER, m.send(m.sign(other))[0].GetReason())

	late := m.send(two, three)
	require.Equal(t, taken, late[0].GetReason())
	require.Empty(t, late[0].GetRemarks())
	require.Equal(t, taken, late[1].GetReason(), "the hole is filled by what belongs there")
	require.EqualValues(t, 4, late[1].GetSeq())
}

func TestWhoMayHaveWrittenIt(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	mate := boss.invite(technician, "mate")
	rival := w.shopOwner("Two (invented)")
	stream := boss.opens()

	t.Run("a mate's event passed on", func(t *testing.T) {
		s := mate.write(stream, noted("written on the tablet in the bay"))
		require.Equal(t, taken, boss.send(s)[0].GetReason())
		held := boss.entries(stream)
		e := entryOf(t, held[len(held)-1])
		require.Equal(t, boss.person, e.GetPerson())
		require.Equal(t, mate.device, e.GetDevice())
	})
	t.Run("another device's number, forged", func(t *testing.T) {
		e := mate.event(stream, noted("not the mate's"))
		s, err := envelope.Sign(e, boss.key)
		require.NoError(t, err)
		require.Equal(t, boardv1.Reason_REASON_SIGNATURE, boss.send(s)[0].GetReason())
	})
	t.Run("another shop's device", func(t *testing.T) {
		s := rival.write(stream, noted("rival's"))
		r := boss.send(s)[0]
		require.Equal(t, boardv1.Reason_REASON_DEVICE, r.GetReason())
		require.Contains(t, r.GetText(), "another shop's")
	})
	t.Run("a device nobody knows", func(t *testing.T) {
		public, key, err := ed25519.GenerateKey(nil)
		require.NoError(t, err)
		require.Len(t, public, 32)
		e := boss.event(stream, noted("unknown"))
		e.Device, e.DeviceSeq, e.Prev = newID(), 1, nil
		s, err := envelope.Sign(e, key)
		require.NoError(t, err)
		require.Equal(t, boardv1.Reason_REASON_DEVICE, boss.send(s)[0].GetReason())
	})
	t.Run("written down in somebody else's name", func(t *testing.T) {
		e := boss.event(stream, noted("I am the mate"))
		e.RecordedBy = mate.person
		s, err := envelope.Sign(e, boss.key)
		require.NoError(t, err)
		require.Equal(t, boardv1.Reason_REASON_DEVICE, boss.send(s)[0].GetReason())
	})
	t.Run("the server's own device", func(t *testing.T) {
		e := boss.event(stream, noted("I am the server"))
		e.Device, e.RecordedBy, e.DeviceSeq, e.Prev = w.identity.device, w.identity.device, 1, nil
		s, err := envelope.Sign(e, w.identity.key)
		require.NoError(t, err)
		require.Equal(t, boardv1.Reason_REASON_DEVICE, boss.send(s)[0].GetReason())
	})
	t.Run("a withdrawn device's late event", func(t *testing.T) {
		s := mate.write(stream, noted("written before the tablet was lost"))
		_, err := boss.register.WithdrawDevice(boss.ctx(), &boardv1.WithdrawDeviceRequest{Device: mate.device})
		require.NoError(t, err)
		require.Equal(t, boardv1.Reason_REASON_DEVICE, boss.send(s)[0].GetReason())
		tray, err := w.Refused(t.Context(), boss.caller())
		require.NoError(t, err)
		found := false
		for _, r := range tray {
			found = found || bytes.Equal(r.Event, s.GetEvent()) && bytes.Equal(r.Signature, s.GetSignature())
		}
		require.True(t, found, "its bytes are kept")
	})
}

func TestPlacesThatAreDemanded(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	demand := func(place uint64) *boardv1.AppendResult {
		e := m.event(stream, noted("demands a place"))
		e.Expect = &place
		return m.send(m.sign(e))[0]
	}
	require.EqualValues(t, 2, demand(2).GetSeq())
	r := demand(2)
	require.Equal(t, boardv1.Reason_REASON_PLACE_TAKEN, r.GetReason())
	require.EqualValues(t, 2, r.GetHead())
	require.Equal(t, boardv1.Reason_REASON_PLACE_TAKEN, demand(9).GetReason(), "no place is left free")
	// It holds for kinds from the future too.
	e := m.event(stream, &eventv1.Event{})
	place := uint64(1)
	e.Expect = &place
	require.Equal(t, boardv1.Reason_REASON_PLACE_TAKEN, m.send(m.signBytes(kindOnly(e, 9999)))[0].GetReason())
}

func TestOversize(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	big := func(size int) *eventv1.Signed {
		b := kindOnly(m.event(stream, &eventv1.Event{}), 9999)
		b = protowire.AppendTag(b, 99, protowire.BytesType)
		b = protowire.AppendBytes(b, bytes.Repeat([]byte("x"), size-len(b)-3))
		return m.signBytes(b[:min(len(b), size)])
	}
	require.Equal(t, taken, m.send(big(envelope.MaxEvent))[0].GetReason())
	require.Equal(t, boardv1.Reason_REASON_TOO_BIG, m.send(&eventv1.Signed{Event: make([]byte, envelope.MaxEvent+1)})[0].GetReason())
	_, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: make([]*eventv1.Signed, MaxEvents+1)})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	var many []*eventv1.Signed
	for range 9 {
		many = append(many, &eventv1.Signed{Event: make([]byte, 60<<10)})
	}
	_, err = m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: many})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	_, err = m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{{Event: make([]byte, 2<<20)}}})
	require.Equal(t, codes.ResourceExhausted, status.Code(err))
}

// fromTheFuture is an event of a kind, and with a field, that this build does not
// know, in an order that it would not write itself.
func fromTheFuture(m *member, stream string, kind protowire.Number) []byte {
	b := protowire.AppendBytes(protowire.AppendTag(nil, kind, protowire.BytesType), []byte("\x0a\x03new"))
	b = protowire.AppendVarint(protowire.AppendTag(b, 77, protowire.VarintType), 7)
	own, err := proto.Marshal(m.event(stream, &eventv1.Event{}))
	if err != nil {
		panic(err)
	}
	b = append(b, own...)
	return protowire.AppendFixed32(protowire.AppendTag(b, 78, protowire.Fixed32Type), 78)
}

func TestTheFutureSurvivesByteForByte(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	var want [][]byte
	for _, kind := range []protowire.Number{9999, 130} { // unknown; a note with a field a note does not have
		s := m.signBytes(fromTheFuture(m, stream, kind))
		r := m.send(s)[0]
		require.Equal(t, taken, r.GetReason(), r.GetText())
		m.chain[stream] = link{m.chain[stream].n + 1, envelope.Hash(s.GetEvent())}
		want = append(want, s.GetEvent())
	}
	for _, held := range [][]*boardv1.Held{m.entries(stream), m.watched(stream, 3), m.watched("", 3)} {
		require.Len(t, held, 3)
		for i, b := range want {
			require.Equal(t, b, held[i+1].GetEvent())
			e := entryOf(t, held[i+1])
			require.NoError(t, envelope.Verify(m.key.Public().(ed25519.PublicKey), e.GetEventHash(), e.GetSignature()))
		}
	}
	// Two kinds in one event.
	b := protowire.AppendBytes(protowire.AppendTag(fromTheFuture(m, stream, 130), 131, protowire.BytesType), nil)
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, m.send(m.signBytes(b))[0].GetReason())
	tray, err := w.Refused(t.Context(), m.caller())
	require.NoError(t, err)
	require.Len(t, tray, 1, "signed by the caller's own device, so it is kept")
	require.Equal(t, b, tray[0].Event)
}

// watched reads n entries by watching.
func (m *member) watched(stream string, n int) []*boardv1.Held {
	ctx, cancel := context.WithTimeout(m.ctx(), 10*time.Second)
	defer cancel()
	ss, err := m.board.Watch(ctx, &boardv1.WatchRequest{Stream: stream})
	require.NoError(m.t, err)
	var out []*boardv1.Held
	for len(out) < n {
		r, err := ss.Recv()
		require.NoError(m.t, err)
		out = append(out, r.GetEntries()...)
	}
	return out
}

func TestTheTray(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	help := ben.invite(guest, "guest")
	stream := anna.opens()
	s := ben.write(stream, noted("before anybody asked"))
	for range 3 {
		require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, ben.send(s)[0].GetReason())
	}
	forged := proto.Clone(s).(*eventv1.Signed)
	forged.Event = bytes.ToUpper(forged.Event)
	require.NotEqual(t, taken, ben.send(forged)[0].GetReason())
	see := func(m *member) []Refused {
		tray, err := w.Refused(t.Context(), m.caller())
		require.NoError(t, err)
		return tray
	}
	require.Len(t, see(ben), 1)
	require.Equal(t, s.GetEvent(), see(ben)[0].Event)
	require.Equal(t, "REASON_NOT_FOUND", see(ben)[0].Reason)
	require.Empty(t, see(anna), "another shop's tray")
	require.Empty(t, see(help), "a guest sees only what the guest sent")

	// Given access, the very same bytes are taken, and leave the tray.
	anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 2))
	require.EqualValues(t, 4, ben.send(s)[0].GetSeq())
	require.Empty(t, see(ben))
}

func TestClocksDoNotOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	var want []string
	for i, years := range []int{10, -10, 0, 10, -10} {
		w.clock.set(noon.AddDate(years, 0, 0))
		e := noted("tick")
		e.Happened = moment(noon.AddDate(-years, 0, i))
		want = append(want, m.put(stream, e).GetId())
	}
	var got []string
	for _, h := range m.entries(stream)[1:] {
		got = append(got, entryOf(t, h).GetId())
	}
	require.Equal(t, want, got)
}

func TestEntriesWithProofs(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	stream := m.opens()
	for range 150 {
		m.send(m.write(stream, noted("one of many")))
	}
	ss, err := m.board.Entries(m.ctx(), &boardv1.EntriesRequest{Stream: stream, From: 3, Through: 140, Proofs: true})
	require.NoError(t, err)
	var held []*boardv1.Held
	var proofs [][]byte
	var signed []byte
	for {
		r, err := ss.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		require.Nil(t, signed, "the checkpoint comes last")
		require.LessOrEqual(t, len(r.GetEntries()), 64)
		held, proofs, signed = append(held, r.GetEntries()...), append(proofs, r.GetProofs()...), r.GetCheckpoint()
		m.put(stream, noted("meanwhile"))
	}
	require.Len(t, held, 138)
	require.Len(t, proofs, 138)
	c, err := log.OpenCheckpoint(signed, w.tree.Verifier())
	require.NoError(t, err)
	for i, h := range held {
		e := entryOf(t, h)
		require.EqualValues(t, i+3, e.GetSeq())
		require.EqualValues(t, i+3, h.GetPosition())
		require.NoError(t, log.VerifyRecord(c, e.GetIndex(), h.GetEntry(), hashes(proofs[i])))
	}
	_, err = m.tryEntries(&boardv1.EntriesRequest{Stream: stream, From: 5, Through: 4})
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err))
	none, err := m.tryEntries(&boardv1.EntriesRequest{Stream: stream, From: 100_000})
	require.NoError(t, err)
	require.Empty(t, none)
}
