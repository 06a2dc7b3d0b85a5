package server

import (
	"cmp"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/anishathalye/porcupine"
	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var (
	histories   = flag.Int("histories", 4, "how many histories of concurrent appends are checked; 200 before a release")
	historySeed = flag.Uint64("history-seed", 0, "seed of the first history; 0: the time")
)

// asked is one operation on a case.
type asked struct {
	// expect demands a place, again sends an event a second time, read counts the
	// entries. With none of them it is a plain append.
	expect uint64
	again  uint64 // its first place
	read   bool
}

type answered struct {
	seq, head uint64
	taken     bool
}

// place by place: what one case does, one operation after the other. The state is
// the last seq.
var placeModel = porcupine.Model{
	Init: func() any { return uint64(1) },
	Step: func(state, input, output any) (bool, any) {
		head, in, out := state.(uint64), input.(asked), output.(answered)
		switch {
		case in.read:
			return out.head == head, head
		case in.again > 0:
			return out.taken && out.seq == in.again && in.again <= head, head
		case in.expect > 0 && in.expect != head+1:
			return !out.taken && out.head == head, head
		}
		return out.taken && out.seq == head+1, head + 1
	},
	DescribeOperation: func(in, out any) string { return fmt.Sprintf("%+v -> %+v", in, out) },
}

func TestHistoriesAreLinear(t *testing.T) {
	t.Parallel()
	seed := *historySeed
	if seed == 0 {
		seed = uint64(time.Now().UnixNano())
	}
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	people := []*member{boss}
	for len(people) < 8 {
		people = append(people, boss.invite(technician, "somebody"))
	}
	for h := range *histories {
		ops := history(t, boss.opens(), people, seed+uint64(h))
		// A checker that runs out of time has not shown anything.
		require.Equal(t, porcupine.Ok, porcupine.CheckOperationsTimeout(placeModel, ops, 30*time.Second), "seed %d", seed+uint64(h))
	}
	t.Logf("%d histories of 8 people with 40 operations each, from seed %d, are linear", *histories, seed)
	// The checker can tell: an answer that is wrong is found.
	ops := history(t, boss.opens(), people, seed)
	for i, op := range ops {
		if out := op.Output.(answered); out.taken && op.Input.(asked).again == 0 {
			out.seq++
			ops[i].Output = out
			break
		}
	}
	require.Equal(t, porcupine.Illegal, porcupine.CheckOperationsTimeout(placeModel, ops, 30*time.Second))
}

// history lets 8 people do 40 things each in one case at once.
func history(t *testing.T, stream string, people []*member, seed uint64) []porcupine.Operation {
	began := time.Now()
	var mu sync.Mutex
	var ops []porcupine.Operation
	var wg sync.WaitGroup
	for id, m := range people {
		wg.Go(func() {
			rnd := rand.New(rand.NewPCG(seed, uint64(id)))
			var last *eventv1.Signed
			var place, head uint64 = 0, 1
			for range 40 {
				var in asked
				s := last
				switch r := rnd.IntN(10); {
				case r < 1:
					in.read = true
				case r < 2 && last != nil:
					in.again = place
				case r < 6:
					in.expect = head + 1
					e := m.event(stream, noted("demands"))
					e.Expect = &in.expect
					s = m.sign(e)
				default:
					s = m.write(stream, noted("plain"))
				}
				call := time.Since(began).Nanoseconds()
				var out answered
				if in.read {
					held, err := m.tryEntries(&boardv1.EntriesRequest{Stream: stream})
					if err != nil {
						t.Error(err)
						return
					}
					out.head = uint64(len(held))
				} else {
					r, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{s}})
					if err != nil {
						t.Error(err)
						return
					}
					a := r.GetResults()[0]
					out = answered{seq: a.GetSeq(), head: a.GetHead(), taken: a.GetReason() == taken}
					if !out.taken && a.GetReason() != boardv1.Reason_REASON_PLACE_TAKEN {
						t.Errorf("refused: %v", a)
						return
					}
				}
				back := time.Since(began).Nanoseconds()
				if out.taken && in.again == 0 {
					last, place = s, out.seq
				}
				if !out.taken && out.head > 0 {
					head = out.head
				} else {
					head = max(head, out.seq)
				}
				if out.taken {
					out.head = 0
				}
				mu.Lock()
				ops = append(ops, porcupine.Operation{ClientId: id, Input: in, Output: out, Call: call, Return: back})
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return ops
}

// Places are 1 to n, each given once, and whoever began after another was
// answered stands behind it.
func TestPlacesAreLinear(t *testing.T) {
	t.Parallel()
	const clients, each = 8, 500
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	stream := boss.opens()
	type op struct {
		call, back time.Duration
		seq        uint64
	}
	began := time.Now()
	all := make([][]op, clients)
	var wg sync.WaitGroup
	for i := range clients {
		m := boss
		if i > 0 {
			m = boss.invite(technician, "somebody")
		}
		wg.Go(func() {
			for range each {
				s := m.write(stream, noted("one of many"))
				call := time.Since(began)
				r, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{s}})
				if err != nil || r.GetResults()[0].GetReason() != taken {
					t.Errorf("%v %v", r, err)
					return
				}
				all[i] = append(all[i], op{call, time.Since(began), r.GetResults()[0].GetSeq()})
			}
		})
	}
	wg.Wait()
	ops := slices.Concat(all...)
	require.Len(t, ops, clients*each)
	slices.SortFunc(ops, func(a, b op) int { return cmp.Compare(a.seq, b.seq) })
	latest := time.Duration(0) // call of any op before in places
	for i, o := range ops {
		require.EqualValues(t, i+2, o.seq, "no hole, no place twice")
		require.Greater(t, o.back, latest, "place %d was answered before one in front of it was asked for", o.seq)
		latest = max(latest, o.call)
	}
	for i, h := range boss.entries(stream) {
		require.EqualValues(t, i+1, entryOf(t, h).GetSeq())
	}
	t.Logf("%d places of %d clients, in order, no hole", len(ops), clients)
}
