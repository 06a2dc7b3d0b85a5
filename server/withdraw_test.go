package server

import (
	"context"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestWithdrawnIsAtOnce: who is withdrawn is told nothing more, watching or asking,
// and writes nothing more; what they wrote stays.
func TestWithdrawnIsAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	timo := boss.invite(technician, "Timo (invented)")
	stream := boss.opens()
	timo.put(stream, noted("written before"))
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	watching := timo.watch(ctx, &boardv1.WatchRequest{Stream: stream})
	_, err := watching.Recv()
	require.NoError(t, err)
	_, err = boss.register.WithdrawPerson(boss.ctx(), &boardv1.WithdrawPersonRequest{Person: timo.person, Why: "left the shop"})
	require.NoError(t, err)
	_, err = watching.Recv()
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err), "the watch ends by itself")
	_, err = timo.board.Append(timo.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{timo.write(stream, noted("too late"))}})
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err))
	// Nor does somebody else of the shop pass it on.
	r := boss.send(timo.write(stream, noted("passed on")))[0]
	require.Equal(t, boardv1.Reason_REASON_DEVICE, r.GetReason())
	require.Len(t, boss.entries(stream), 2)

	said, err := boss.register.People(boss.ctx(), &boardv1.PeopleRequest{})
	require.NoError(t, err)
	left := 0
	for _, p := range said.GetPeople() {
		if p.GetLeft() {
			require.Equal(t, timo.person, p.GetPerson())
			left++
		}
	}
	for _, d := range said.GetDevices() {
		require.Equal(t, d.GetDevice() == timo.device, d.GetWithdrawn())
	}
	require.Equal(t, 1, left)
	// A second time changes nothing.
	before, _ := w.tree.Checkpoint()
	_, err = boss.register.WithdrawPerson(boss.ctx(), &boardv1.WithdrawPersonRequest{Person: timo.person})
	require.NoError(t, err)
	after, _ := w.tree.Checkpoint()
	require.Equal(t, before.Size, after.Size)
	_, err = boss.register.WithdrawPerson(boss.ctx(), &boardv1.WithdrawPersonRequest{Person: boss.person, Why: string(make([]byte, maxWhy+1))})
	require.Equal(t, boardv1.Reason_REASON_TOO_BIG, reasonOf(t, err))
}

// TestAShopKeepsAnOwner: also when all owners withdraw each other at once.
func TestAShopKeepsAnOwner(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	for range 10 {
		boss := w.shopOwner("Shop " + newID())
		_, err := boss.register.WithdrawPerson(boss.ctx(), &boardv1.WithdrawPersonRequest{Person: boss.person})
		require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, reasonOf(t, err))
		owners := []*member{boss, boss.invite(owner, "second"), boss.invite(owner, "third")}
		var done atomic.Int32
		var wg sync.WaitGroup
		for i, by := range owners {
			wg.Go(func() {
				if _, err := by.register.WithdrawPerson(by.ctx(), &boardv1.WithdrawPersonRequest{Person: owners[(i+1)%3].person}); err == nil {
					done.Add(1)
				}
			})
		}
		wg.Wait()
		require.LessOrEqual(t, done.Load(), int32(2))
		require.True(t, w.register.owned(boss.shop))
	}
}

func TestOpenCodes(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss, other := w.shopOwner("One (invented)"), w.shopOwner("Two (invented)")
	stream := boss.opens()
	invite := func(m *member, req *boardv1.InviteRequest) string {
		r, err := m.register.Invite(m.ctx(), req)
		require.NoError(t, err)
		return r.GetCode()
	}
	listed := func(m *member) []*boardv1.OpenCode {
		r, err := m.register.People(m.ctx(), &boardv1.PeopleRequest{})
		require.NoError(t, err)
		return r.GetCodes()
	}
	require.Empty(t, listed(boss))
	first := invite(boss, &boardv1.InviteRequest{Role: guest, Case: stream})
	w.clock.set(noon.Add(time.Minute))
	second := invite(boss, &boardv1.InviteRequest{Role: technician})
	third := invite(other, &boardv1.InviteRequest{Role: owner})
	codes := listed(boss)
	require.Len(t, codes, 2)
	require.Equal(t, stream, codes[0].GetCase())
	require.Equal(t, guest, codes[0].GetRole())
	require.Equal(t, boss.person, codes[0].GetBy())
	require.Empty(t, listed(boss.w.join(second, "technician")), "for an owner only")
	withdraw := func(m *member, said string) error {
		_, err := m.register.WithdrawCode(m.ctx(), &boardv1.WithdrawCodeRequest{Code: said})
		return err
	}
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, withdraw(boss, second)), "used")
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, withdraw(boss, third)), "another shop's")
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, withdraw(other, codes[0].GetId())), "another shop's, by its id")
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, reasonOf(t, withdraw(boss, "garbled")))
	require.NoError(t, withdraw(boss, codes[0].GetId()))
	require.Empty(t, listed(boss))
	_, err := w.Join(t.Context(), "", joining(first))
	require.Error(t, err)
	require.NoError(t, withdraw(other, third))
	w.clock.set(noon)
	// So many are open at once and no more, and expiring makes room.
	for range MaxCodes { // not by Invite: each takes milliseconds, and more with -race
		require.NoError(t, w.committer.do(t.Context(), 0, func(b *batch) error {
			_, err := b.invite(prefixCode+string(random(32)), invitation{Shop: boss.shop, Role: technician}, false)
			return err
		}))
	}
	_, err = boss.register.Invite(boss.ctx(), &boardv1.InviteRequest{Role: technician})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	invite(other, &boardv1.InviteRequest{Role: technician})
	w.clock.set(noon.Add(CodeLife))
	invite(boss, &boardv1.InviteRequest{Role: technician})
	require.Len(t, listed(boss), 1)
}

// TestATokenOfAnotherShop opens nothing with one's own device, and one's own device
// writes nothing with it.
func TestATokenOfAnotherShop(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss, other := w.shopOwner("One (invented)"), w.shopOwner("Two (invented)")
	stream := boss.opens()
	with := metadataOf(other.token)
	r, err := boss.board.Append(with, &boardv1.AppendRequest{Events: []*eventv1.Signed{boss.write(stream, noted("with a stranger's token"))}})
	require.NoError(t, err)
	require.Equal(t, boardv1.Reason_REASON_DEVICE, r.GetResults()[0].GetReason())
	_, err = boss.board.Timeline(with, &boardv1.TimelineRequest{Stream: stream})
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))
	me, err := boss.register.WhoAmI(with, &boardv1.WhoAmIRequest{})
	require.NoError(t, err)
	require.Equal(t, other.person, me.GetPerson())
	_, err = boss.register.WhoAmI(metadataOf(newWorld(t, Options{}).shopOwner("Elsewhere (invented)").token), &boardv1.WhoAmIRequest{})
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err), "of another server")
}

// TestTwice: two events under one number of a device are noticed, told to its shop
// for some time, and to nobody else.
func TestTwice(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss, other := w.shopOwner("One (invented)"), w.shopOwner("Two (invented)")
	mate := boss.invite(technician, "mate")
	stream := boss.opens()
	boss.put(stream, handOff(other.shop, "", eventv1.Access_ACCESS_WRITE, 2))
	twice := func(m *member) map[string]bool {
		r, err := m.register.People(m.ctx(), &boardv1.PeopleRequest{})
		require.NoError(t, err)
		out := map[string]bool{}
		for _, d := range r.GetDevices() {
			if d.GetTwice() != nil {
				out[d.GetDevice()] = true
			}
		}
		return out
	}
	before := mate.chain[stream]
	mate.put(stream, noted("here"))
	mate.put(stream, noted("and here"))
	require.Empty(t, twice(mate))
	mate.chain[stream] = before // as a copy of the home knows it
	require.Equal(t, boardv1.Reason_REASON_DEVICE_NUMBER, mate.tried(stream, noted("there")))
	only := map[string]bool{mate.device: true}
	require.Equal(t, only, twice(mate))
	require.Equal(t, only, twice(boss))
	require.Empty(t, twice(other), "nobody else's business")
	w.clock.set(noon.Add(twiceTold))
	require.Equal(t, only, twice(mate))
	w.clock.set(noon.Add(twiceTold + time.Second))
	require.Empty(t, twice(mate), "not for ever")
	w.clock.set(noon)
	_, err := boss.register.WithdrawDevice(boss.ctx(), &boardv1.WithdrawDeviceRequest{Device: mate.device})
	require.NoError(t, err)
	require.Empty(t, twice(boss), "withdrawn: settled")
	// A refusal for anything else is none.
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, boss.tried(newID(), noted("in a case that nobody opened")))
	require.Empty(t, twice(boss))
}
