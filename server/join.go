package server

import (
	"context"
	"crypto/ed25519"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"knowngood.example/cases/join"
	"knowngood.example/cases/log"
	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// CodeLife is how long a join code works.
	CodeLife = 15 * time.Minute

	// MaxCodes of one shop that are open at once.
	MaxCodes = 100

	maxName = 100
)

// invitation is what lies under a code key.
type invitation struct {
	ID   string       `json:"id"`
	Shop string       `json:"shop"`
	Role eventv1.Role `json:"role"`
	// Case that whoever joins may write in; empty: none.
	Case string `json:"case,omitempty"`
	// By is the person who asked for it; empty: whoever runs the server.
	By      string    `json:"by,omitempty"`
	Expires time.Time `json:"expires"`
}

// readInvitation reads what lies under a code key.
func readInvitation(w log.Write) (i invitation, err error) {
	if err := json.Unmarshal(w.Value, &i); err != nil {
		return i, fmt.Errorf("an invitation cannot be read: %w", err)
	}
	return i, nil
}

// codeKey of a code in groups. Working it out takes milliseconds: not in the
// committer's turn.
func codeKey(code string) (string, error) {
	k, err := join.KeyOf(code)
	return prefixCode + string(k), err
}

// newCode draws a code.
func newCode() (code, key string, err error) {
	code = join.NewCode([join.CodeLetters]byte(random(join.CodeLetters)))
	key, err = codeKey(code)
	return code, key, err
}

// invite makes a code within a batch and clears away those that have expired, and,
// with replace, those that the shop gave out before for the same role. Its id and
// when it ends are set here.
func (b *batch) invite(key string, i invitation, replace bool) (expires time.Time, err error) {
	open := 0
	err = b.invitations(func(key string, other invitation) {
		switch {
		case !b.now().Before(other.Expires), replace && other.Shop == i.Shop && other.Role == i.Role:
			b.set(key, nil)
		case other.Shop == i.Shop:
			open++
		}
	})
	if err != nil {
		return time.Time{}, err
	}
	if open >= MaxCodes {
		return time.Time{}, refuse(boardv1.Reason_REASON_LIMIT, "%d join codes of this shop are open; withdraw some, or wait until they expire", open)
	}
	i.ID, i.Expires = b.newID(), b.now().Add(CodeLife)
	v, err := json.Marshal(i)
	if err != nil {
		return time.Time{}, fmt.Errorf("the invitation cannot be kept: %w", err)
	}
	b.set(key, v)
	return i.Expires, nil
}

// invitations that have not been used, those of this batch not counted.
func (b *batch) invitations(each func(key string, i invitation)) error {
	for w, err := range b.log.Scan(context.Background(), prefixCode) {
		if err != nil {
			return err
		}
		if v, staged := b.index[w.Key]; staged && v == nil {
			continue
		}
		i, err := readInvitation(w)
		if err != nil {
			return err
		}
		each(w.Key, i)
	}
	return nil
}

// redeem finds the invitation of a code and uses it up. All that wait are
// compared, each in the same time.
func (b *batch) redeem(key string) (invitation, error) {
	found, ok := invitation{}, false
	err := b.invitations(func(k string, i invitation) {
		if subtle.ConstantTimeCompare([]byte(k), []byte(key)) == 1 && b.now().Before(i.Expires) {
			found, ok = i, true
		}
	})
	if err != nil {
		return found, err
	}
	if !ok {
		return found, badCode()
	}
	b.set(key, nil)
	return found, nil
}

func badCode() *Refusal {
	return refuse(boardv1.Reason_REASON_JOIN_CODE, "the join code is wrong, used or expired; ask for a new one")
}

// mayTry counts a try with a join code from an address: too many from one are refused
// for a while.
func (s *Server) mayTry(from string) error {
	if !s.limits.tries.take(from, 1, s.now()) {
		return refuse(boardv1.Reason_REASON_LIMIT, "too many tries to join from your address; wait a minute")
	}
	return nil
}

// Join turns a code into a person, a device and a token. From is the address the
// request came from.
func (s *Server) Join(ctx context.Context, from string, req *boardv1.JoinRequest) (*boardv1.JoinResponse, error) {
	return s.join(ctx, from, req, nil)
}

// join is Join; a seed is that of a key which stays here.
func (s *Server) join(ctx context.Context, from string, req *boardv1.JoinRequest, seed []byte) (*boardv1.JoinResponse, error) {
	if !mayCall(boardv1.RegisterService_Join_FullMethodName, stranger, nowhere) {
		return nil, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "nobody may join here")
	}
	if err := s.mayTry(from); err != nil {
		return nil, err
	}
	name, refusal := cleanName("person_name", req.GetPersonName())
	if refusal != nil {
		return nil, refusal
	}
	if err := notation.CheckID(req.GetDevice()); err != nil {
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "device: %v", err)
	}
	if n := len(req.GetPublicKey()); n != ed25519.PublicKeySize {
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "public_key: %d bytes; an Ed25519 key has %d", n, ed25519.PublicKeySize)
	}
	code, err := join.ParseCode(req.GetCode())
	if err != nil {
		return nil, refuse(boardv1.Reason_REASON_JOIN_CODE, "code: %v", err)
	}
	key, err := codeKey(code)
	if err != nil {
		return nil, err
	}
	token := base64.RawURLEncoding.EncodeToString(random(32))
	var out *boardv1.JoinResponse
	err = s.committer.do(ctx, 1024, func(b *batch) error {
		if b.register.device(req.GetDevice()) != nil || b.claimed[req.GetDevice()] != "" {
			return refuse(boardv1.Reason_REASON_DEVICE, "device: %s is known here already; a device joins with an id of its own", req.GetDevice())
		}
		i, err := b.redeem(key)
		if err != nil {
			return err
		}
		person := b.newID()
		b.claimed[req.GetDevice()] = person
		if err := b.say(i.Shop, "", i.Shop, func(e *eventv1.Event) {
			e.Kind = &eventv1.Event_PersonAdded{PersonAdded: &eventv1.PersonAdded{Person: person, Role: i.Role}}
		}); err != nil {
			return err
		}
		if err := b.say(i.Shop, "", i.Shop, func(e *eventv1.Event) {
			e.Kind = &eventv1.Event_DeviceAdded{DeviceAdded: &eventv1.DeviceAdded{Device: req.GetDevice(), PublicKey: req.GetPublicKey(), Person: person, HeldByServer: seed != nil}}
		}); err != nil {
			return err
		}
		if i.Case != "" {
			if err := b.say(i.Case, i.By, i.Shop, func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{Shop: i.Shop, Person: person, Access: eventv1.Access_ACCESS_WRITE}}
			}); err != nil {
				return err
			}
		}
		b.set(personKey(person), []byte(name))
		b.set(tokenKey(token), []byte(req.GetDevice()))
		if seed != nil {
			b.set(tabletKey(req.GetDevice()), seed)
		}
		at := b.register.shop(i.Shop)
		out = &boardv1.JoinResponse{
			Token: token, Person: person, Shop: i.Shop, ShopName: at.name, Role: i.Role, Currency: at.currency, LogKey: s.logKey,
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// cleanName is a name as typed, single spaces, nothing that cannot be shown.
func cleanName(field, typed string) (string, *Refusal) {
	name := strings.Join(strings.Fields(typed), " ")
	switch {
	case name == "":
		return "", refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%s: empty; say what the others call it", field)
	case len(name) > maxName:
		return "", refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%s: %d bytes; at most %d", field, len(name), maxName)
	case !utf8.ValidString(name) || strings.ContainsFunc(name, func(r rune) bool { return !unicode.IsGraphic(r) }):
		return "", refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%s: it has signs that cannot be shown", field)
	}
	return name, nil
}

// Invite makes a join code for the caller's shop, or for one case of it. It works
// once, for CodeLife.
func (s *Server) Invite(ctx context.Context, c Caller, req *boardv1.InviteRequest) (*boardv1.InviteResponse, error) {
	c, err := s.admit(c, boardv1.RegisterService_Invite_FullMethodName, req.GetCase())
	if err != nil {
		return nil, err
	}
	switch req.GetRole() {
	case owner, technician, guest:
	default:
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "role: say owner, technician or guest specialist")
	}
	if req.GetCase() != "" && req.GetRole() != guest {
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "case: only a guest specialist is invited for one case; others of the shop see all of its cases")
	}
	code, key, err := newCode()
	if err != nil {
		return nil, err
	}
	out := &boardv1.InviteResponse{Code: code, Addresses: s.reached()}
	err = s.committer.do(ctx, 256, func(b *batch) error {
		expires, err := b.invite(key, invitation{Shop: c.Shop, Role: req.GetRole(), Case: req.GetCase(), By: c.Person}, false)
		out.Expires = moment(expires)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Identify says whom a token stands for. It is looked up each time, so a token
// that was withdrawn is no token at once.
func (s *Server) Identify(ctx context.Context, token string) (Caller, error) {
	unknown := refuse(boardv1.Reason_REASON_WHO_ARE_YOU, "this device is not known here, or was withdrawn: join first")
	if token == "" || len(token) > 128 {
		return Caller{}, unknown
	}
	device, err := s.log.Get(ctx, tokenKey(token))
	if err != nil {
		return Caller{}, err
	}
	c, ok := s.register.caller(string(device))
	if !ok {
		return Caller{}, unknown
	}
	return c, nil
}

// Opening is what OpenShop gives back.
type Opening struct {
	Shop string
	// Code with which the owner joins; empty when an owner has joined already.
	Code    string
	Expires time.Time
}

// InviteOwner gives a code for another owner of a shop, for when the device of the one
// there is was lost. It is for whoever runs the server.
func (s *Server) InviteOwner(ctx context.Context, name string) (*Opening, error) {
	name, refusal := cleanName("shop", name)
	if refusal != nil {
		return nil, refusal
	}
	at := s.register.named(name)
	if at == nil {
		return nil, refuse(boardv1.Reason_REASON_NOT_FOUND, "shop: there is none called %q here", clip(name))
	}
	code, key, err := newCode()
	if err != nil {
		return nil, err
	}
	out := &Opening{Shop: at.id, Code: code}
	err = s.committer.do(ctx, 256, func(b *batch) error {
		var err error
		out.Expires, err = b.invite(key, invitation{Shop: at.id, Role: owner}, false)
		return err
	})
	return out, err
}

// OpenShop opens a shop, or finds the one of that name, and gives a code for its
// owner until one has joined. A code given before for that no longer works.
// Currency is an ISO 4217 code.
func (s *Server) OpenShop(ctx context.Context, name, currency string, invented bool) (*Opening, error) {
	name, refusal := cleanName("shop", name)
	if refusal != nil {
		return nil, refusal
	}
	if _, err := notation.MinorDigits(currency); err != nil {
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "currency: %v", err)
	}
	code, key, err := newCode()
	if err != nil {
		return nil, err
	}
	out := &Opening{}
	err = s.committer.do(ctx, 1024, func(b *batch) error {
		id := b.claimed[name]
		if at := b.register.named(name); at != nil {
			id = at.id
		}
		if id == "" {
			id = b.newID()
			b.claimed[name] = id
			if err := b.say(id, "", id, func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_ShopOpened{ShopOpened: &eventv1.ShopOpened{Name: name, Currency: currency, Invented: invented}}
			}); err != nil {
				return err
			}
			if err := b.say(id, "", id, func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_DeviceAdded{DeviceAdded: &eventv1.DeviceAdded{Device: b.identity.device, PublicKey: b.identity.public(), HeldByServer: true}}
			}); err != nil {
				return err
			}
		}
		out.Shop = id
		if b.register.owned(id) {
			return nil
		}
		out.Code = code
		var err error
		out.Expires, err = b.invite(key, invitation{Shop: id, Role: owner}, true)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
