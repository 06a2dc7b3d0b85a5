package server

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func grantedTo(shop, person string, in eventv1.Access, until *eventv1.Moment) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{Shop: shop, Person: person, Access: in, Until: until}}}
}

func withdrawnFrom(shop, person string, left eventv1.Access) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_AccessWithdrawn{AccessWithdrawn: &eventv1.AccessWithdrawn{Shop: shop, Person: person, Left: left}}}
}

// accessOf folds events behind the opening of a case by the shop 'home'.
func accessOf(events ...*eventv1.Event) *access {
	var a *access
	a = a.after(&eventv1.Event{Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{Shop: "home"}}})
	for _, e := range events {
		a = a.after(e)
	}
	return a
}

const (
	mayRead  = eventv1.Access_ACCESS_READ
	mayWrite = eventv1.Access_ACCESS_WRITE
)

func TestAccessEndsOnTheSecond(t *testing.T) {
	t.Parallel()
	a := accessOf(grantedTo("away", "", mayWrite, moment(noon)))
	by := Caller{Shop: "away", Person: "ann", Role: owner}
	require.Equal(t, writes, a.standing(by, noon.Add(-time.Nanosecond)))
	require.Equal(t, nowhere, a.standing(by, noon))
	require.Equal(t, []string{"away", "home"}, a.readers(noon.Add(-time.Nanosecond)))
	require.Equal(t, []string{"home"}, a.readers(noon), "nothing joins the feed of a shop whose access has run out")
}

func TestWithdrawingNeverRaises(t *testing.T) {
	t.Parallel()
	by := Caller{Shop: "away", Person: "ann", Role: owner}
	for name, c := range map[string]struct {
		events []*eventv1.Event
		want   standing
	}{
		"write, reading left":           {[]*eventv1.Event{grantedTo("away", "", mayWrite, nil), withdrawnFrom("away", "", mayRead)}, reads},
		"write, nothing left":           {[]*eventv1.Event{grantedTo("away", "", mayWrite, nil), withdrawnFrom("away", "", 0)}, nowhere},
		"read, writing 'left'":          {[]*eventv1.Event{grantedTo("away", "", mayRead, nil), withdrawnFrom("away", "", mayWrite)}, reads},
		"another person's":              {[]*eventv1.Event{grantedTo("away", "", mayWrite, nil), withdrawnFrom("away", "bob", 0)}, writes},
		"the shop's, with everybody's":  {[]*eventv1.Event{grantedTo("away", "ann", mayWrite, nil), withdrawnFrom("away", "", 0)}, nowhere},
		"another shop's":                {[]*eventv1.Event{grantedTo("away", "", mayWrite, nil), withdrawnFrom("third", "", 0)}, writes},
		"the better of two":             {[]*eventv1.Event{grantedTo("away", "", mayRead, nil), grantedTo("away", "ann", mayWrite, nil)}, writes},
		"granted again after it was":    {[]*eventv1.Event{grantedTo("away", "", mayWrite, nil), withdrawnFrom("away", "", 0), grantedTo("away", "", mayRead, nil)}, reads},
		"withdrawn before it was given": {[]*eventv1.Event{withdrawnFrom("away", "", 0), grantedTo("away", "", mayRead, nil)}, reads},
	} {
		require.Equal(t, c.want, accessOf(c.events...).standing(by, noon), name)
	}
}

func TestAHandOffIsForWhomItNames(t *testing.T) {
	t.Parallel()
	off := &eventv1.Event{Id: "off", Kind: &eventv1.Event_HandedOff{HandedOff: &eventv1.HandedOff{ToShop: "away", ToPerson: "ann", Access: mayWrite}}}
	back := &eventv1.Event{Kind: &eventv1.Event_HandedBack{HandedBack: &eventv1.HandedBack{Handoff: "off"}}}
	up := &eventv1.Event{Kind: &eventv1.Event_TakenUp{TakenUp: &eventv1.TakenUp{Handoff: "off"}}}
	a := accessOf(off)
	for _, e := range []*eventv1.Event{up, back} {
		require.Nil(t, a.fits(e, Caller{Shop: "away", Person: "ann"}, newRegister()))
		require.NotNil(t, a.fits(e, Caller{Shop: "away", Person: "bob"}, newRegister()), "another person of that shop")
		require.NotNil(t, a.fits(e, Caller{Shop: "third", Person: "ann"}, newRegister()))
		require.NotNil(t, a.after(back).fits(e, Caller{Shop: "away", Person: "ann"}, newRegister()), "it was handed back already")
	}

	r := newRegister()
	r.shops["home"], r.shops["away"] = &shop{id: "home"}, &shop{id: "away"}
	r.people["ann"], r.people["gone"], r.people["hal"] = &person{id: "ann", shop: "away"}, &person{id: "gone", shop: "away", left: true}, &person{id: "hal", shop: "home"}
	by := Caller{Shop: "home", Person: "hal"}
	for to, fine := range map[grantee]bool{
		{"away", ""}: true, {"away", "ann"}: true, {"home", "hal"}: true,
		{"away", "gone"}: false, {"away", "hal"}: false, {"away", "nobody"}: false, {"nowhere", ""}: false, {"home", ""}: false,
	} {
		e := &eventv1.Event{Kind: &eventv1.Event_HandedOff{HandedOff: &eventv1.HandedOff{ToShop: to.shop, ToPerson: to.person, Access: mayRead}}}
		refusal := a.fits(e, by, r)
		require.Equal(t, fine, refusal == nil, "%v", to)
		if !fine {
			require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, refusal.Reason)
		}
	}
}
