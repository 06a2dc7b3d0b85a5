package server

import (
	"cmp"
	"context"
	"slices"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
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
	for _, d := range devices {
		if d.Twice, err = s.twice(ctx, c, d.GetDevice()); err != nil {
			return nil, err
		}
	}
	out := &boardv1.PeopleResponse{Shops: shops, Devices: devices}
	if c.Role == owner {
		if out.Codes, err = s.openCodes(ctx, c.Shop); err != nil {
			return nil, err
		}
	}
	for _, p := range people {
		name, err := s.log.Get(ctx, personKey(p.id))
		if err != nil {
			return nil, err
		}
		out.People = append(out.People, &boardv1.Somebody{Person: p.id, Name: string(name), Shop: p.shop, Role: p.role, Left: p.left})
	}
	return out, nil
}

// openCodes of a shop, those that end first first.
func (s *Server) openCodes(ctx context.Context, shop string) ([]*boardv1.OpenCode, error) {
	var open []invitation
	for w, err := range s.log.Scan(ctx, prefixCode) {
		if err != nil {
			return nil, err
		}
		i, err := readInvitation(w)
		if err != nil {
			return nil, err
		}
		if i.Shop == shop && s.now().Before(i.Expires) {
			open = append(open, i)
		}
	}
	slices.SortFunc(open, func(a, b invitation) int { return cmp.Or(a.Expires.Compare(b.Expires), cmp.Compare(a.ID, b.ID)) })
	out := make([]*boardv1.OpenCode, len(open))
	for n, i := range open {
		out[n] = &boardv1.OpenCode{Id: i.ID, Role: i.Role, Case: i.Case, By: i.By, Expires: moment(i.Expires)}
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
			devices = append(devices, &boardv1.DeviceKey{Device: d.id, PublicKey: d.key, Person: d.person, Withdrawn: d.withdrawn, HeldByServer: d.held})
		}
	}
	slices.SortFunc(shops, func(a, b *boardv1.Shop) int { return cmp.Compare(a.Shop, b.Shop) })
	slices.SortFunc(people, func(a, b *person) int { return cmp.Compare(a.id, b.id) })
	slices.SortFunc(devices, func(a, b *boardv1.DeviceKey) int { return cmp.Compare(a.Device, b.Device) })
	return shops, people, devices
}
