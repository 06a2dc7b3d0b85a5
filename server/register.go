package server

import (
	"crypto/ed25519"
	"slices"
	"sync"
	"time"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Caller is whom a token stands for.
type Caller struct {
	Person, Shop, Device string
	Role                 eventv1.Role
}

// shop as its register opened it.
type shop struct {
	id, name, currency string
	invented           bool
}

// person of a shop. Names are not here: they lie in the erasable table.
type person struct {
	id, shop string
	role     eventv1.Role
	left     bool
}

// device whose key may sign; the server's own has no person and no shop.
type device struct {
	id, person, shop string
	key              ed25519.PublicKey
	withdrawn        bool
	// held: its key lies here, for a tablet.
	held bool
}

// register is the fold of the shops' registers and of what the cases say of
// access. It is read by everybody; only the committer changes it, and only after
// the entries that say so are in the log. What the maps point to is never
// changed, only replaced.
type register struct {
	mu      sync.RWMutex
	shops   map[string]*shop
	people  map[string]*person
	devices map[string]*device
	cases   map[string]*access
}

func newRegister() *register {
	return &register{shops: map[string]*shop{}, people: map[string]*person{}, devices: map[string]*device{}, cases: map[string]*access{}}
}

// apply takes in one event of the access feed.
func (r *register) apply(e *eventv1.Event) {
	r.mu.Lock()
	defer r.mu.Unlock()
	stream := e.GetStream()
	switch k := e.GetKind().(type) {
	case *eventv1.Event_ShopOpened:
		r.shops[stream] = &shop{id: stream, name: k.ShopOpened.GetName(), currency: k.ShopOpened.GetCurrency(), invented: k.ShopOpened.GetInvented()}
	case *eventv1.Event_PersonAdded:
		r.people[k.PersonAdded.GetPerson()] = &person{id: k.PersonAdded.GetPerson(), shop: stream, role: k.PersonAdded.GetRole()}
	case *eventv1.Event_RoleGiven:
		if p := r.people[k.RoleGiven.GetPerson()]; p != nil && p.shop == stream {
			next := *p
			next.left = k.RoleGiven.GetLeft()
			if !next.left {
				next.role = k.RoleGiven.GetRole()
			}
			r.people[p.id] = &next
		}
	case *eventv1.Event_DeviceAdded:
		d := &device{id: k.DeviceAdded.GetDevice(), person: k.DeviceAdded.GetPerson(), key: k.DeviceAdded.GetPublicKey(), held: k.DeviceAdded.GetHeldByServer()}
		if d.person != "" {
			d.shop = stream
		}
		r.devices[d.id] = d
	case *eventv1.Event_DeviceWithdrawn:
		if d := r.devices[k.DeviceWithdrawn.GetDevice()]; d != nil && d.shop == stream {
			next := *d
			next.withdrawn = true
			r.devices[d.id] = &next
		}
	default:
		if next := r.cases[stream].after(e); next != nil {
			r.cases[stream] = next
		}
	}
}

func (r *register) device(id string) *device {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.devices[id]
}

func (r *register) shop(id string) *shop {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.shops[id]
}

func (r *register) person(id string) *person {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.people[id]
}

func (r *register) access(stream string) *access {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return r.cases[stream]
}

// caller is whom the device speaks for now; false when it may not speak: it is
// not known or was withdrawn, or its person has left.
func (r *register) caller(id string) (Caller, bool) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	d := r.devices[id]
	if d == nil || d.withdrawn || d.person == "" {
		return Caller{}, false
	}
	p := r.people[d.person]
	if p == nil || p.left {
		return Caller{}, false
	}
	return Caller{Person: p.id, Shop: p.shop, Device: id, Role: p.role}, true
}

// owned reports whether the shop has an owner, some people not counted.
func (r *register) owned(shop string, but ...string) bool {
	r.mu.RLock()
	defer r.mu.RUnlock()
	for _, p := range r.people {
		if p.shop == shop && p.role == owner && !p.left && !slices.Contains(but, p.id) {
			return true
		}
	}
	return false
}

// devicesOf a person, in order of their ids.
func (r *register) devicesOf(person string) (ids []string) {
	r.mu.RLock()
	defer r.mu.RUnlock()
	for _, d := range r.devices {
		if d.person == person {
			ids = append(ids, d.id)
		}
	}
	slices.Sort(ids)
	return ids
}

// named finds a shop by its name, nil when there is none.
func (r *register) named(name string) *shop {
	r.mu.RLock()
	defer r.mu.RUnlock()
	for _, s := range r.shops {
		if s.name == name {
			return s
		}
	}
	return nil
}

// standing of somebody to a stream at a moment.
func (r *register) standing(c Caller, stream string, now time.Time) standing {
	if stream == c.Shop {
		return house
	}
	return r.access(stream).standing(c, now)
}

// visible lists the cases that somebody may see, in no order.
func (r *register) visible(c Caller, now time.Time) []string {
	r.mu.RLock()
	defer r.mu.RUnlock()
	var out []string
	for stream, a := range r.cases {
		if mayCall(boardv1.BoardService_Entries_FullMethodName, c.Role, a.standing(c, now)) {
			out = append(out, stream)
		}
	}
	return out
}
