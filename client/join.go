package client

import (
	"context"
	"crypto/hmac"
	"encoding/base64"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"

	"knowngood.example/cases/join"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Join turns a join code into an identity and keeps it. A link without a pin, made of
// a code and the addresses somebody was told, is met first. In a home that has joined
// already it only says anew where the server is and what it is known by; the code is
// not used up.
func (h *Home) Join(ctx context.Context, l join.Link, name string) (*Identity, error) {
	id := new(Identity)
	if err := h.load("identity.json", id); err != nil {
		return nil, err
	}
	var err error
	if l.Pin.IsZero() {
		if l.Pin, err = h.meet(ctx, l); err != nil {
			return nil, err
		}
	}
	if id.Joined() {
		return h.joinAgain(ctx, l)
	}
	err = h.locked("push.lock", func() (err error) {
		if id, err = h.newDevice(); err != nil {
			return err
		}
		c, err := dialTo(l.Addresses, &trust{pin: l.Pin}, "", Patience)
		if err != nil {
			return err
		}
		defer c.Close() //nolint:errcheck // nothing was written that a failed close could lose
		public := id.Key[32:]
		r, err := c.Join(ctx, &boardv1.JoinRequest{Code: l.Code, PublicKey: public, Device: id.Device, PersonName: name})
		if err != nil {
			return Explain(err)
		}
		id.Token, id.Person, id.Name = r.GetToken(), r.GetPerson(), name
		id.Shop, id.ShopName, id.Role = r.GetShop(), r.GetShopName(), roleName(r.GetRole())
		id.LogKey, id.Currency = r.GetLogKey(), r.GetCurrency()
		id.reach(l)
		return h.locked("lock", func() error {
			if err := h.store("identity.json", id); err != nil {
				return err
			}
			return h.adopt(context.WithoutCancel(ctx), id)
		})
	})
	return id, err
}

// reach takes over from a link where the server is and what it is known by.
func (id *Identity) reach(l join.Link) {
	id.Server, id.Others, id.Pin = l.Addresses[0], l.Addresses[1:], l.Pin
}

// joinAgain takes over where the home's server is and its pin, once it has shown that
// it has the key of the log that the home knows. No token is sent before.
func (h *Home) joinAgain(ctx context.Context, l join.Link) (*Identity, error) {
	id, err := h.Identity()
	if err != nil {
		return nil, err
	}
	c, err := dialTo(l.Addresses, &trust{pin: l.Pin}, "", Patience)
	if err != nil {
		return nil, err
	}
	defer c.Close() //nolint:errcheck // nothing was written
	var at peer.Peer
	r, err := c.Meet(ctx, &boardv1.MeetRequest{}, grpc.Peer(&at))
	if err != nil {
		return nil, Explain(err)
	}
	channel, err := channelOf(at.AuthInfo)
	if err != nil {
		return nil, err
	}
	logKey, err := note.NewVerifier(id.LogKey)
	if err != nil {
		return nil, fmt.Errorf("the key of the log in %s: %w", h.path("identity.json"), err)
	}
	if !logKey.Verify(join.LogClaim(channel), r.GetLogSignature()) {
		return nil, fmt.Errorf("this home already writes for %s, and that server does not have the key of its log: it is another one; choose another folder with --home", id.ShopName)
	}
	err = h.locked("lock", func() error {
		if id, err = h.Identity(); err != nil {
			return err
		}
		id.reach(l)
		return h.store("identity.json", id)
	})
	if err != nil {
		return nil, err
	}
	return id, stillIn(ctx, id)
}

// stillIn asks whether the home may still write for its shop.
func stillIn(ctx context.Context, id *Identity) error {
	c, err := Dial(id)
	if err != nil {
		return err
	}
	defer c.Close() //nolint:errcheck // nothing was written
	_, err = c.WhoAmI(ctx, &boardv1.WhoAmIRequest{})
	var no *Refusal
	if err = Explain(err); errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_WHO_ARE_YOU {
		return fmt.Errorf("this home was withdrawn from %s and writes for it no more: join with another folder, by --home; what was recorded here stays here, and the code is not used up (%w)", id.ShopName, err)
	}
	return err
}

// meet finds out the pin of a server with nothing but a join code in common, as
// package join has it step by step. The addresses are tried in turn.
func (h *Home) meet(ctx context.Context, l join.Link) (pin join.Pin, err error) {
	key, err := join.KeyOf(l.Code)
	if err != nil {
		return pin, err
	}
	c, err := dialTo(l.Addresses, &trust{meeting: true}, "", Patience, grpc.WithPerRPCCredentials(introduction{key}))
	if err != nil {
		return pin, err
	}
	defer c.Close() //nolint:errcheck // nothing was written
	var at peer.Peer
	r, err := c.Meet(ctx, &boardv1.MeetRequest{}, grpc.Peer(&at))
	var no *Refusal
	switch err = Explain(err); {
	case errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_JOIN_CODE:
		return pin, fmt.Errorf("%w. If it is right, what answers is not the server that it came from", err)
	case err != nil:
		return pin, err
	}
	channel, err := channelOf(at.AuthInfo)
	if err != nil {
		return pin, err
	}
	if !hmac.Equal(key.ServerProof(channel), r.GetProof()) {
		return pin, impostor("what answers at %s does not know the join code: it is not the server that the code came from, or somebody stands between. Nothing was sent to it, and the code is not used up. Ask whoever gave you the code for the address, or for the link", at.Addr)
	}
	return pinOf(at.AuthInfo.(credentials.TLSInfo).State) // channelOf looked
}

// introduction shows over each connection that its holder knows a join code.
type introduction struct{ key join.Key }

func (i introduction) GetRequestMetadata(ctx context.Context, _ ...string) (map[string]string, error) {
	info, _ := credentials.RequestInfoFromContext(ctx)
	channel, err := channelOf(info.AuthInfo)
	if err != nil {
		return nil, err
	}
	return map[string]string{"authorization": "Join " + base64.RawURLEncoding.EncodeToString(i.key.DeviceProof(channel))}, nil
}

func (introduction) RequireTransportSecurity() bool { return true }

// channelOf is what two prove over that are connected.
func channelOf(info credentials.AuthInfo) ([]byte, error) {
	with, ok := info.(credentials.TLSInfo)
	if !ok {
		return nil, errors.New("the connection is not encrypted")
	}
	channel, err := with.State.ExportKeyingMaterial(join.ChannelLabel, nil, join.ChannelSize)
	if err != nil {
		return nil, fmt.Errorf("nothing can be proven over the connection: %w", err)
	}
	return channel, nil
}
