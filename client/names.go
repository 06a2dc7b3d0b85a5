package client

import (
	"context"
	"fmt"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/export"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Names are the shops, people and device keys this home has heard of.
type Names struct {
	Shops   []export.Shop   `json:"shops"`
	People  []export.Person `json:"people"`
	Devices []export.Device `json:"devices"`
}

// Names as last heard.
func (h *Home) Names() (*Names, error) {
	n := new(Names)
	if err := h.load("names.json", n); err != nil {
		return n, err
	}
	return n, h.named(n)
}

// HearNames asks the server for names and keeps them.
func (h *Home) HearNames(ctx context.Context, c *Conn) (*Names, error) {
	r, err := c.People(ctx, &boardv1.PeopleRequest{})
	if err != nil {
		return nil, Explain(err)
	}
	if err := h.heardTwice(r); err != nil {
		return nil, err
	}
	n := new(Names)
	n.Heard(r)
	old, err := h.Names()
	if err != nil {
		return nil, err
	}
	if fmt.Sprint(*old) == fmt.Sprint(*n) {
		return n, nil
	}
	return n, h.locked("lock", func() error { return h.store("names.json", n) })
}

// Heard takes over the names that a server told.
func (n *Names) Heard(r *boardv1.PeopleResponse) {
	for _, s := range r.GetShops() {
		n.Shops = append(n.Shops, export.Shop{Shop: s.GetShop(), Name: s.GetName()})
	}
	for _, p := range r.GetPeople() {
		n.People = append(n.People, export.Person{Person: p.GetPerson(), Name: p.GetName(), Shop: p.GetShop(), Role: roleName(p.GetRole()), Left: p.GetLeft()})
	}
	for _, d := range r.GetDevices() {
		n.Devices = append(n.Devices, export.Device{Device: d.GetDevice(), Key: d.GetPublicKey(), Person: d.GetPerson(), Held: d.GetHeldByServer()})
	}
}

// heardTwice tells that this home's key writes in two places, when the server has
// noticed it. Nobody can tell from here which of the two is meant to go on.
func (h *Home) heardTwice(r *boardv1.PeopleResponse) error {
	id := new(Identity)
	if err := h.load("identity.json", id); err != nil {
		return err
	}
	for _, d := range r.GetDevices() {
		if at := d.GetTwice(); at != nil && d.GetDevice() == id.Device {
			h.Warn(fmt.Sprintf("this home's key wrote in two places (noticed %s): its folder was copied, or put back from an older copy. "+
				"What both wrote under one number was taken once; 'knowngood sync' lists what was refused, and --again records it anew. "+
				"Go on in one of the two only, and let the other join with a code of its own", time.Unix(at.GetUnixSeconds(), 0).UTC().Format(time.RFC3339)))
		}
	}
	return nil
}

// Of maps ids to names. A device of nobody's is the server's own, which writes
// under its id.
func (n *Names) Of() cases.Names {
	out := make(cases.Names)
	for _, d := range n.Devices {
		if d.Person == "" {
			out[d.Device] = "the server"
		}
	}
	for _, s := range n.Shops {
		out[s.Shop] = s.Name
	}
	for _, p := range n.People {
		out[p.Person] = p.Name
	}
	return out
}

// Person finds a person's id by name or id; false when there is no such person.
// More than one of that name is an error, unless all but one have left.
func (n *Names) Person(said string) (id string, ok bool, err error) {
	left := true
	for _, p := range n.People {
		switch {
		case p.Person == said:
			return said, true, nil
		case !strings.EqualFold(p.Name, said):
		case ok && p.Left && !left: // somebody of that name works there
		case ok && left && !p.Left:
			id, left = p.Person, false
		case ok && id != p.Person:
			return "", false, fmt.Errorf("%q is the name of two people: give the id, %s or %s", said, id, p.Person)
		default:
			id, ok, left = p.Person, true, p.Left
		}
	}
	return id, ok, nil
}

// Shop finds a shop's id by name or id.
func (n *Names) Shop(said string) (string, error) {
	var id string
	var known []string
	for _, s := range n.Shops {
		known = append(known, s.Name)
		switch {
		case s.Shop == said:
			return said, nil
		case !strings.EqualFold(s.Name, said):
		case id != "" && id != s.Shop:
			return "", fmt.Errorf("%q is the name of two shops: give the id, %s or %s", said, id, s.Shop)
		default:
			id = s.Shop
		}
	}
	if id == "" {
		return "", fmt.Errorf("%w: no shop called %q; known here: %s", ErrNotFound, said, strings.Join(known, ", "))
	}
	return id, nil
}
