package server

import (
	"maps"
	"slices"
	"time"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// access is who may do what in one case, folded from its own entries. A value is
// never changed: after makes another.
type access struct {
	owner string
	// grants by whom they are for.
	grants map[grantee]grant
	// handoffs that were not handed back, by id.
	handoffs map[string]grantee
	// shops that may read or ever could: whose keys a reader needs.
	shops map[string]bool
	// Of the vehicle as the case was opened, for checks on the way in.
	systemVolts uint32
	highVoltage bool
}

// grantee is a shop, or one person of it.
type grantee struct{ shop, person string }

type grant struct {
	access  eventv1.Access
	until   time.Time // zero: until withdrawn
	handoff string
}

func (g grant) standing(now time.Time) standing {
	switch {
	case !g.until.IsZero() && !now.Before(g.until):
		return nowhere
	case g.access == eventv1.Access_ACCESS_WRITE:
		return writes
	case g.access == eventv1.Access_ACCESS_READ:
		return reads
	}
	return nowhere
}

// touchesAccess reports whether a kind belongs into the access feed.
func touchesAccess(kind uint32) bool {
	switch kind {
	case kindCaseOpened, kindHandedOff, kindHandedBack, kindAccessGranted, kindAccessWithdrawn,
		kindShopOpened, kindPersonAdded, kindDeviceAdded, kindDeviceWithdrawn, kindRoleGiven:
		return true
	}
	return false
}

// after is the access once the event is in the case; the same value when it
// changes nothing. A hand-off gives nothing by itself: the server writes the
// grant behind it.
func (a *access) after(e *eventv1.Event) *access {
	if k, ok := e.GetKind().(*eventv1.Event_CaseOpened); ok {
		if a != nil {
			return a
		}
		v := k.CaseOpened.GetVehicle()
		return &access{
			owner: k.CaseOpened.GetShop(), shops: map[string]bool{k.CaseOpened.GetShop(): true},
			systemVolts: v.GetSystemVolts(), highVoltage: v.GetHighVoltage() == eventv1.Answer_ANSWER_YES,
		}
	}
	if a == nil || !touchesAccess(envelope.KindOf(e)) {
		return a
	}
	copied := *a
	next := &copied
	next.grants, next.handoffs, next.shops = maps.Clone(a.grants), maps.Clone(a.handoffs), maps.Clone(a.shops)
	if next.grants == nil {
		next.grants, next.handoffs = map[grantee]grant{}, map[string]grantee{}
	}
	switch k := e.GetKind().(type) {
	case *eventv1.Event_HandedOff:
		next.handoffs[e.GetId()] = grantee{k.HandedOff.GetToShop(), k.HandedOff.GetToPerson()}
	case *eventv1.Event_HandedBack:
		delete(next.handoffs, k.HandedBack.GetHandoff())
	case *eventv1.Event_AccessGranted:
		g := grant{access: k.AccessGranted.GetAccess(), handoff: k.AccessGranted.GetHandoff()}
		if u := k.AccessGranted.GetUntil(); u != nil {
			g.until = time.Unix(u.GetUnixSeconds(), int64(u.GetNanos()))
		}
		next.grants[grantee{k.AccessGranted.GetShop(), k.AccessGranted.GetPerson()}] = g
		next.shops[k.AccessGranted.GetShop()] = true
	case *eventv1.Event_AccessWithdrawn:
		next.withdraw(k.AccessWithdrawn)
	}
	return next
}

// withdraw ends or lowers the grants that w names: one person's, or, with no
// person, those of the shop and of everybody in it. It never raises one.
func (a *access) withdraw(w *eventv1.AccessWithdrawn) {
	for to, g := range a.grants {
		if to.shop != w.GetShop() || w.GetPerson() != "" && to.person != w.GetPerson() {
			continue
		}
		if left := w.GetLeft(); left != eventv1.Access_ACCESS_UNSPECIFIED {
			g.access = min(g.access, left)
			a.grants[to] = g
		} else {
			delete(a.grants, to)
		}
	}
}

// standing of somebody in the case. A guest has no part in what the shop may do,
// only in what was handed to the guest by name.
func (a *access) standing(c Caller, now time.Time) standing {
	if a == nil || c.Shop == "" {
		return nowhere
	}
	if a.owner == c.Shop && c.Role != guest {
		return owns
	}
	in := a.grants[grantee{c.Shop, c.Person}].standing(now)
	if c.Role != guest {
		in = max(in, a.grants[grantee{c.Shop, ""}].standing(now))
	}
	return in
}

// readers lists the shops whose feed an entry of the case joins now, in order.
func (a *access) readers(now time.Time) []string {
	if a == nil {
		return nil
	}
	shops := []string{a.owner}
	for to, g := range a.grants {
		if g.standing(now) != nowhere && !slices.Contains(shops, to.shop) {
			shops = append(shops, to.shop)
		}
	}
	slices.Sort(shops)
	return shops
}

// fits holds what an event says about access against the register and the case
// as they stand; a is nil for the opening.
func (a *access) fits(e *eventv1.Event, by Caller, r *register) *Refusal {
	impossible := func(format string, args ...any) *Refusal {
		return refuse(boardv1.Reason_REASON_IMPOSSIBLE, format, args...)
	}
	switch k := e.GetKind().(type) {
	case *eventv1.Event_CaseOpened:
		if shop := k.CaseOpened.GetShop(); shop != by.Shop {
			return refuse(boardv1.Reason_REASON_NOT_ALLOWED, "case_opened.shop: %q; a case is opened for one's own shop, %s", clip(shop), by.Shop)
		}
	case *eventv1.Event_HandedOff:
		to := k.HandedOff
		if r.shop(to.GetToShop()) == nil {
			return impossible("handed_off.to_shop: no shop here has the id %q", clip(to.GetToShop()))
		}
		if p := r.person(to.GetToPerson()); to.GetToPerson() != "" && (p == nil || p.left || p.shop != to.GetToShop()) {
			return impossible("handed_off.to_person: nobody of that shop has the id %q", clip(to.GetToPerson()))
		}
		if to.GetToShop() == by.Shop && to.GetToPerson() == "" {
			return impossible("handed_off.to_shop: the case is this shop's already; name a person, or another shop")
		}
		if to.GetAccess() != eventv1.Access_ACCESS_READ && to.GetAccess() != eventv1.Access_ACCESS_WRITE {
			return impossible("handed_off.access: say whether they may read or also write")
		}
	case *eventv1.Event_TakenUp:
		return a.handedTo(k.TakenUp.GetHandoff(), by, "taken_up.handoff")
	case *eventv1.Event_HandedBack:
		return a.handedTo(k.HandedBack.GetHandoff(), by, "handed_back.handoff")
	case *eventv1.Event_AccessWithdrawn:
		w := k.AccessWithdrawn
		for to := range a.grants {
			if to.shop == w.GetShop() && (w.GetPerson() == "" || to.person == w.GetPerson()) {
				return nil
			}
		}
		return impossible("access_withdrawn.shop: %q has no access to withdraw", clip(w.GetShop()))
	}
	return nil
}

// handedTo refuses a hand-off that is not open or went to somebody else.
func (a *access) handedTo(handoff string, by Caller, field string) *Refusal {
	to, open := a.handoffs[handoff]
	if !open || to.shop != by.Shop || to.person != "" && to.person != by.Person {
		return refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%s: %q is no open hand-off to you", field, clip(handoff))
	}
	return nil
}
