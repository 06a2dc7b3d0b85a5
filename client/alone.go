package client

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Alone stands for the person and the shop of a home that has joined none yet. A
// server gives both their ids when a home joins, and an event names them; until
// then what is recorded waits under these, and is signed anew when it is known
// whose it is.
type Alone struct {
	Person string `json:"person"`
	Shop   string `json:"shop"`
}

const nobodysShop = "no shop yet"

// Writer is whoever records here: the identity, or, in a home that has joined no
// shop yet, somebody who stands for it. Such a one is made if make says so;
// otherwise ErrNobody when there is none.
func (h *Home) Writer(make bool) (*Identity, error) {
	id, err := h.Identity()
	if !errors.Is(err, ErrNobody) {
		return id, err
	}
	err = h.locked("lock", func() error {
		id = new(Identity)
		if err := h.load("identity.json", id); err != nil {
			return err
		}
		if id.Alone != nil && len(id.Key) > 0 {
			return nil
		}
		if !make {
			return fmt.Errorf("nothing is recorded here yet: 'knowngood open' begins a case, with or without a server; to see a shop's cases, join it: %w", ErrNobody)
		}
		if err := h.newKey(id); err != nil {
			return err
		}
		id.Alone = &Alone{Person: h.newID(), Shop: h.newID()}
		return h.store("identity.json", id)
	})
	if err != nil {
		return nil, err
	}
	id.Person, id.Shop, id.ShopName, id.Name = id.Alone.Person, id.Alone.Shop, nobodysShop, "you"
	return id, nil
}

// Joined reports whether the identity is of a shop.
func (id *Identity) Joined() bool { return id.Token != "" }

// stillAlone refuses to record for a home that joined a shop since it was looked at.
// The lock must be held.
func (h *Home) stillAlone(who *Identity) error {
	if who.Joined() || who.Alone == nil {
		return nil
	}
	now := new(Identity)
	if err := h.load("identity.json", now); err != nil || !now.Joined() {
		return err
	}
	return fmt.Errorf("this home has joined %s meanwhile: run the command again", now.ShopName)
}

// named adds whoever stands for a home that has not joined yet.
func (h *Home) named(n *Names) error {
	id := new(Identity)
	if err := h.load("identity.json", id); err != nil || id.Joined() || id.Alone == nil {
		return err
	}
	n.Shops = append(n.Shops, export.Shop{Shop: id.Alone.Shop, Name: nobodysShop})
	n.People = append(n.People, export.Person{Person: id.Alone.Person, Name: "you", Shop: id.Alone.Shop})
	return nil
}

// adopt signs what waits since before the home joined anew, as the person it joined
// as. Ids, words and moments stay. It may be interrupted and done again: what was
// signed anew already is left as it is. The lock must be held.
func (h *Home) adopt(ctx context.Context, who *Identity) error {
	if who.Alone == nil || !who.Joined() {
		return nil
	}
	l := h.ledger()
	ends := make(map[chainKey]link)
	var b log.Batch
	size := 0
	flush := func() error {
		for of, end := range ends {
			w, err := chainWrite(of.device, of.stream, end)
			if err != nil {
				return err
			}
			b.Index = append(b.Index, w)
		}
		if len(b.Index) == 0 {
			return nil
		}
		err := l.log.Append(ctx, b)
		b, size = log.Batch{}, 0
		return err
	}
	for w, err := range l.waiting(ctx) {
		if err != nil {
			return err
		}
		// The ids that stand in lie wherever somebody or a shop is named, also in what a
		// correction carries; all ids have one length, so nothing else moves.
		text := bytes.ReplaceAll(w.GetEvent(), []byte(who.Alone.Person), []byte(who.Person))
		text = bytes.ReplaceAll(text, []byte(who.Alone.Shop), []byte(who.Shop))
		if bytes.Equal(text, w.GetEvent()) {
			continue
		}
		e := new(eventv1.Event)
		if err := proto.Unmarshal(text, e); err != nil {
			return fmt.Errorf("an entry from before this home joined: %w", err)
		}
		of := chainKey{who.Device, e.GetStream()}
		end, seen := ends[of]
		if !seen {
			if end, err = l.chain(ctx, of.device, of.stream); err != nil {
				return err
			}
		}
		e.Device, e.DeviceSeq, e.Prev = who.Device, end.Seq+1, bytes.Clone(end.Hash)
		s, err := envelope.Sign(e, who.Key)
		if err != nil {
			return fmt.Errorf("an entry from before this home joined: %w", err)
		}
		value, err := frameEvents(s)
		if err != nil {
			return err
		}
		ends[of] = link{e.GetDeviceSeq(), envelope.Hash(s.GetEvent())}
		b.Index = append(b.Index, log.Write{Key: w.key, Value: value})
		if size += len(value); size > maxLedgerBytes || len(b.Index) > maxLedgerWrites {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	if err := flush(); err != nil {
		return err
	}
	who.Alone = nil
	return h.store("identity.json", who)
}
