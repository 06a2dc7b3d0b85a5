package server

import (
	"context"
	"errors"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// tablet joins the member's shop over the page.
func (m *member) tablet(role eventv1.Role, name string) (Caller, string) {
	m.t.Helper()
	r, err := m.register.Invite(m.ctx(), &boardv1.InviteRequest{Role: role})
	require.NoError(m.t, err)
	token, err := m.w.JoinTablet(context.Background(), "192.0.2.7", r.GetCode(), name)
	require.NoError(m.t, err)
	c, err := m.w.Known(context.Background(), token, "192.0.2.7", 0)
	require.NoError(m.t, err)
	return c, token
}

func reasonIn(t testing.TB, err error) boardv1.Reason {
	t.Helper()
	var r *Refusal
	require.ErrorAs(t, err, &r)
	return r.Reason
}

// TestTabletWrites: what a tablet records is signed by a key that lies here, is in the
// log like anybody's, with numbers that follow on, and everybody is told whose key it is.
func TestTabletWrites(t *testing.T) {
	ctx := context.Background()
	w := newWorld(t, Options{})
	boss := w.shopOwner("Tin Kettle Garage")
	stream := boss.opens()
	bay, _ := boss.tablet(technician, "Timo")
	require.Equal(t, technician, bay.Role)

	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 5 {
				e := noted("wrote it in the bay")
				e.Stream = stream
				if _, err := w.Record(ctx, bay, e); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	require.NoError(t, w.With(ctx, bay, stream, func(c *cases.Case) error {
		require.EqualValues(t, 41, c.Head())
		for i, s := range c.Steps()[1:] {
			require.EqualValues(t, i+1, s.Entry.GetDeviceSeq())
			require.Equal(t, bay.Device, s.Entry.GetDevice())
			require.Equal(t, bay.Person, s.RecordedBy)
		}
		return nil
	}))
	r, err := boss.register.People(boss.ctx(), &boardv1.PeopleRequest{})
	require.NoError(t, err)
	held := map[string]bool{}
	for _, d := range r.GetDevices() {
		held[d.GetDevice()] = d.GetHeldByServer()
	}
	require.True(t, held[bay.Device])
	require.False(t, held[boss.device], "a device that has its own key is not said to be the server's")
}

// TestTabletSendsAgain: what was sent and not heard back is sent again, and stands once.
func TestTabletSendsAgain(t *testing.T) {
	ctx := context.Background()
	w := newWorld(t, Options{})
	boss := w.shopOwner("Tin Kettle Garage")
	stream := boss.opens()
	bay, _ := boss.tablet(technician, "Timo")
	other, _ := boss.tablet(technician, "Ola")

	e := noted("once")
	e.Id, e.Stream = newID(), stream
	first, err := w.Record(ctx, bay, e)
	require.NoError(t, err)
	again := noted("once")
	again.Id, again.Stream = e.Id, stream
	second, err := w.Record(ctx, bay, again)
	require.NoError(t, err)
	require.True(t, second.GetHeldAlready())
	require.Equal(t, first.GetSeq(), second.GetSeq())
	_, err = w.Record(ctx, other, again)
	require.Equal(t, boardv1.Reason_REASON_ID_TAKEN, reasonIn(t, err))
}

// TestTabletMay: a tablet may what its person may, and a case that is not theirs and one
// that does not exist answer alike; a refused entry leaves no hole that it could not
// write on behind.
func TestTabletMay(t *testing.T) {
	ctx := context.Background()
	w := newWorld(t, Options{})
	boss, stranger := w.shopOwner("Tin Kettle Garage"), w.shopOwner("Lantern Lane Diagnostics")
	stream := boss.opens()
	bay, token := boss.tablet(technician, "Timo")
	foreign, _ := stranger.tablet(technician, "Ines")
	guest, _ := boss.tablet(eventv1.Role_ROLE_GUEST_SPECIALIST, "Rosa")

	for _, c := range []Caller{foreign, guest} {
		for _, s := range []string{stream, newID()} {
			e := noted("no")
			e.Stream = s
			_, err := w.Record(ctx, c, e)
			require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonIn(t, err))
			err = w.With(ctx, c, s, func(*cases.Case) error { return errors.New("shown") })
			require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonIn(t, err))
		}
	}
	err := w.With(ctx, bay, boss.shop, func(*cases.Case) error { return errors.New("shown") })
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonIn(t, err), "a register is no case")
	e := noted("with its own key it signs by itself")
	e.Stream = stream
	_, err = w.Record(ctx, boss.caller(), e)
	require.Equal(t, boardv1.Reason_REASON_DEVICE, reasonIn(t, err))

	_, err = w.Record(ctx, bay, &eventv1.Event{Stream: stream, Kind: &eventv1.Event_Note{Note: &eventv1.Note{}}})
	require.Error(t, err, "an empty note says nothing")
	e = noted("goes on")
	e.Stream = stream
	r, err := w.Record(ctx, bay, e)
	require.NoError(t, err)
	require.EqualValues(t, 2, r.GetSeq())

	_, err = w.WithdrawDevice(ctx, boss.caller(), &boardv1.WithdrawDeviceRequest{Device: bay.Device, Why: "tablet lost"})
	require.NoError(t, err)
	_, err = w.Known(ctx, token, "192.0.2.7", 0)
	require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonIn(t, err))
	e = noted("too late")
	e.Stream = stream
	_, err = w.Record(ctx, bay, e)
	require.Error(t, err)
}
