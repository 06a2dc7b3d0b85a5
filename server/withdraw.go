package server

import (
	"context"

	"knowngood.example/cases/join"
	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const maxWhy = 2000

// WithdrawDevice ends a device's tokens and key at once: one's own, or, for the
// owner, any of the shop.
func (s *Server) WithdrawDevice(ctx context.Context, c Caller, req *boardv1.WithdrawDeviceRequest) (*boardv1.WithdrawDeviceResponse, error) {
	const method = boardv1.RegisterService_WithdrawDevice_FullMethodName
	c, err := s.admit(c, method, "")
	if err != nil {
		return nil, err
	}
	d := s.register.device(req.GetDevice())
	shop, person := "", ""
	if d != nil {
		shop, person = d.shop, d.person
	}
	if r := mayWithdraw(method, c, shop, person, "device", req.GetDevice(), req.GetWhy()); r != nil {
		return nil, r
	}
	err = s.committer.do(ctx, 1024, func(b *batch) error { return b.withdrawDevice(c, d.id, req.GetWhy()) })
	if err != nil {
		return nil, err
	}
	return &boardv1.WithdrawDeviceResponse{}, nil
}

// mayWithdraw holds what is to be withdrawn, somebody's of some shop, against who
// wants to. What is of another shop and what does not exist answer alike.
func mayWithdraw(method string, c Caller, shop, person, what, id, why string) *Refusal {
	in := nowhere
	switch {
	case shop == "" || shop != c.Shop:
	case person == c.Person:
		in = self
	default:
		in = shopmate
	}
	switch {
	case len(why) > maxWhy:
		return refuse(boardv1.Reason_REASON_TOO_BIG, "why: %d bytes; at most %d", len(why), maxWhy)
	case mayCall(method, c.Role, in):
		return nil
	case in == nowhere:
		return refuse(boardv1.Reason_REASON_NOT_FOUND, "%s: your shop has none with the id %q", what, clip(id))
	}
	return refuse(boardv1.Reason_REASON_NOT_ALLOWED, "%s: only an owner withdraws what is somebody else's", what)
}

// withdrawDevice ends a device within a batch; one that is withdrawn already stays so.
func (b *batch) withdrawDevice(c Caller, device, why string) error {
	if b.register.device(device).withdrawn {
		return nil
	}
	for w, err := range b.log.Scan(context.Background(), prefixToken) {
		if err != nil {
			return err
		}
		if string(w.Value) == device {
			b.set(w.Key, nil)
		}
	}
	return b.say(c.Shop, c.Person, c.Shop, func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_DeviceWithdrawn{DeviceWithdrawn: &eventv1.DeviceWithdrawn{Device: device, Why: why}}
	})
}

// WithdrawPerson ends a person's part in the shop, and all their devices with it:
// one's own, or, for the owner, anybody's. A shop keeps an owner.
func (s *Server) WithdrawPerson(ctx context.Context, c Caller, req *boardv1.WithdrawPersonRequest) (*boardv1.WithdrawPersonResponse, error) {
	const method = boardv1.RegisterService_WithdrawPerson_FullMethodName
	c, err := s.admit(c, method, "")
	if err != nil {
		return nil, err
	}
	p := s.register.person(req.GetPerson())
	shop, id := "", ""
	if p != nil {
		shop, id = p.shop, p.id
	}
	if r := mayWithdraw(method, c, shop, id, "person", req.GetPerson(), req.GetWhy()); r != nil {
		return nil, r
	}
	err = s.committer.do(ctx, 1024, func(b *batch) error {
		if b.register.person(id).left {
			return nil
		}
		// Those who leave in this batch are gone too: of two owners who withdraw each
		// other one stays.
		if !b.register.owned(shop, append(b.leaving(), id)...) {
			return refuse(boardv1.Reason_REASON_IMPOSSIBLE, "person: the only owner of the shop; invite another owner first")
		}
		if err := b.say(shop, c.Person, shop, func(e *eventv1.Event) {
			e.Kind = &eventv1.Event_RoleGiven{RoleGiven: &eventv1.RoleGiven{Person: id, Left: true}}
		}); err != nil {
			return err
		}
		for _, device := range b.register.devicesOf(id) {
			if err := b.withdrawDevice(c, device, req.GetWhy()); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &boardv1.WithdrawPersonResponse{}, nil
}

// leaving are those who leave in this batch.
func (b *batch) leaving() (people []string) {
	for _, e := range b.telling {
		if r := e.GetRoleGiven(); r.GetLeft() {
			people = append(people, r.GetPerson())
		}
	}
	return people
}

// WithdrawCode makes a join code of the caller's shop work no more.
func (s *Server) WithdrawCode(ctx context.Context, c Caller, req *boardv1.WithdrawCodeRequest) (*boardv1.WithdrawCodeResponse, error) {
	c, err := s.admit(c, boardv1.RegisterService_WithdrawCode_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	said := req.GetCode()
	var key string
	if notation.CheckID(said) != nil {
		code, err := join.ParseCode(said)
		if err != nil {
			return nil, refuse(boardv1.Reason_REASON_JOIN_CODE, "code: %v", err)
		}
		if key, err = codeKey(code); err != nil {
			return nil, err
		}
	}
	err = s.committer.do(ctx, 64, func(b *batch) error {
		found := ""
		if err := b.invitations(func(k string, i invitation) {
			if i.Shop == c.Shop && (k == key || i.ID == said) {
				found = k
			}
		}); err != nil {
			return err
		}
		if found == "" {
			return refuse(boardv1.Reason_REASON_NOT_FOUND, "code: your shop has none like that open: it was used, expired or withdrawn")
		}
		b.set(found, nil)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &boardv1.WithdrawCodeResponse{}, nil
}
