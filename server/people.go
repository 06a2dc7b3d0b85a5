package server

import (
	"cmp"
	"context"
	"slices"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// WhoAmI says whom the caller's token stands for.
func (s *Server) WhoAmI(ctx context.Context, c Caller) (*boardv1.WhoAmIResponse, error) {
	c, err := s.admit(c, boardv1.RegisterService_WhoAmI_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	name, err := s.log.Get(ctx, personKey(c.Person))
	if err != nil {
		return nil, err
	}
	at := s.register.shop(c.Shop)
	return &boardv1.WhoAmIResponse{
		Person: c.Person, Name: string(name), Shop: c.Shop, ShopName: at.name, Role: c.Role, Device: c.Device,
		LogKey: s.logKey, Currency: at.currency,
	}, nil
}

// People lists every shop here, so that a case can be handed to one by its name;
// and the people and the keys of the caller's own shop and of those the caller
// shares a case with, or ever did: a key that wrote must still be told.
func (s *Server) People(ctx context.Context, c Caller) (*boardv1.PeopleResponse, error) {
	c, err := s.admit(c, boardv1.RegisterService_People_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	shops, people, devices := s.register.company(c, s.register.visible(c, s.now()))
	out := &boardv1.PeopleResponse{Shops: shops, Devices: devices}
	for _, p := range people {
		name, err := s.log.Get(ctx, personKey(p.id))
		if err != nil {
			return nil, err
		}
		out.People = append(out.People, &boardv1.Somebody{Person: p.id, Name: string(name), Shop: p.shop, Role: p.role})
	}
	return out, nil
}

// company is who a caller has to do with, in order of their ids.
func (r *register) company(c Caller, cases []string) (shops []*boardv1.Shop, people []*person, devices []*boardv1.DeviceKey) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	with := map[string]bool{c.Shop: true}
	for _, stream := range cases {
		for shop := range r.cases[stream].shops {
			with[shop] = true
		}
	}
	for _, s := range r.shops {
		shops = append(shops, &boardv1.Shop{Shop: s.id, Name: s.name})
	}
	for _, p := range r.people {
		if with[p.shop] {
			people = append(people, p)
		}
	}
	for _, d := range r.devices {
		if d.shop == "" || with[d.shop] {
			devices = append(devices, &boardv1.DeviceKey{Device: d.id, PublicKey: d.key, Person: d.person})
		}
	}
	slices.SortFunc(shops, func(a, b *boardv1.Shop) int { return cmp.Compare(a.Shop, b.Shop) })
	slices.SortFunc(people, func(a, b *person) int { return cmp.Compare(a.id, b.id) })
	slices.SortFunc(devices, func(a, b *boardv1.DeviceKey) int { return cmp.Compare(a.Device, b.Device) })
	return shops, people, devices
}

// WithdrawDevice ends a device's tokens and key at once: one's own, or, for the
// owner, any of the shop.
func (s *Server) WithdrawDevice(ctx context.Context, c Caller, req *boardv1.WithdrawDeviceRequest) (*boardv1.WithdrawDeviceResponse, error) {
	const method = boardv1.RegisterService_WithdrawDevice_FullMethodName
	c, err := s.admit(c, method, "")
	if err != nil {
		return nil, err
	}
	d := s.register.device(req.GetDevice())
	in := nowhere
	switch {
	case d == nil || d.shop != c.Shop:
	case d.person == c.Person:
		in = self
	default:
		in = shopmate
	}
	if !mayCall(method, c.Role, in) {
		if in == nowhere {
			return nil, refuse(boardv1.Reason_REASON_NOT_FOUND, "device: your shop has none with the id %q", clip(req.GetDevice()))
		}
		return nil, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "device: only an owner withdraws the device of somebody else")
	}
	if len(req.GetWhy()) > maxWhy {
		return nil, refuse(boardv1.Reason_REASON_TOO_BIG, "why: %d bytes; at most %d", len(req.GetWhy()), maxWhy)
	}
	err = s.committer.do(ctx, 1024, func(b *batch) error {
		if b.register.device(d.id).withdrawn {
			return nil
		}
		for w, err := range b.log.Scan(context.Background(), prefixToken) {
			if err != nil {
				return err
			}
			if string(w.Value) == d.id {
				b.set(w.Key, nil)
			}
		}
		return b.say(c.Shop, c.Person, c.Shop, func(e *eventv1.Event) {
			e.Kind = &eventv1.Event_DeviceWithdrawn{DeviceWithdrawn: &eventv1.DeviceWithdrawn{Device: d.id, Why: req.GetWhy()}}
		})
	})
	if err != nil {
		return nil, err
	}
	return &boardv1.WithdrawDeviceResponse{}, nil
}

const maxWhy = 2000
