package server

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// CodeLife is how long a join code works.
	CodeLife = 15 * time.Minute

	// codeAlphabet leaves out I, L, O and U, which are misread or misheard.
	codeAlphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
	codeLetters  = 12 // 60 bits
	codeGroup    = 4

	maxName = 100
)

// invitation is what lies under a code key.
type invitation struct {
	Shop    string       `json:"shop"`
	Role    eventv1.Role `json:"role"`
	Expires time.Time    `json:"expires"`
}

// newCode is twelve random letters in groups: 'K3QX-09ZM-7HTA'.
func newCode() string {
	var b strings.Builder
	for i, r := range random(codeLetters) {
		if i > 0 && i%codeGroup == 0 {
			b.WriteByte('-')
		}
		b.WriteByte(codeAlphabet[r%32])
	}
	return b.String()
}

// parseCode reads a code as people type it: small letters, spaces or hyphens
// anywhere, O for 0, I or L for 1.
func parseCode(typed string) (string, bool) {
	if len(typed) > 64 {
		return "", false
	}
	var b strings.Builder
	for _, r := range strings.ToUpper(typed) {
		switch r {
		case ' ', '-':
			continue
		case 'O':
			r = '0'
		case 'I', 'L':
			r = '1'
		}
		if !strings.ContainsRune(codeAlphabet, r) {
			return "", false
		}
		b.WriteRune(r)
	}
	return b.String(), b.Len() == codeLetters
}

func codeKey(code string) string {
	h := sha256.Sum256([]byte(strings.ReplaceAll(code, "-", "")))
	return prefixCode + string(h[:])
}

// invite makes a code within a batch and clears away those that have expired,
// and, with replace, those that the shop gave out before for the same role.
func (b *batch) invite(shop string, role eventv1.Role, replace bool) (code string, expires time.Time, err error) {
	err = b.invitations(func(key string, i invitation) {
		if !b.now().Before(i.Expires) || replace && i.Shop == shop && i.Role == role {
			b.set(key, nil)
		}
	})
	if err != nil {
		return "", time.Time{}, err
	}
	code, expires = newCode(), b.now().Add(CodeLife)
	v, err := json.Marshal(invitation{shop, role, expires})
	if err != nil {
		return "", time.Time{}, fmt.Errorf("the invitation cannot be kept: %w", err)
	}
	b.set(codeKey(code), v)
	return code, expires, nil
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
		var i invitation
		if err := json.Unmarshal(w.Value, &i); err != nil {
			return fmt.Errorf("an invitation cannot be read: %w", err)
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

// Join turns a code into a person, a device and a token. From is the address the
// request came from: too many tries from one are refused for a while.
func (s *Server) Join(ctx context.Context, from string, req *boardv1.JoinRequest) (*boardv1.JoinResponse, error) {
	if !mayCall(boardv1.RegisterService_Join_FullMethodName, stranger, nowhere) {
		return nil, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "nobody may join here")
	}
	if !s.tries.allow(from, s.now()) {
		return nil, refuse(boardv1.Reason_REASON_LIMIT, "too many tries to join; wait a minute")
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
	code, ok := parseCode(req.GetCode())
	if !ok {
		return nil, badCode()
	}
	token := base64.RawURLEncoding.EncodeToString(random(32))
	var out *boardv1.JoinResponse
	err := s.committer.do(ctx, 1024, func(b *batch) error {
		if b.register.device(req.GetDevice()) != nil || b.claimed[req.GetDevice()] != "" {
			return refuse(boardv1.Reason_REASON_DEVICE, "device: %s is known here already; a device joins with an id of its own", req.GetDevice())
		}
		i, err := b.redeem(codeKey(code))
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
			e.Kind = &eventv1.Event_DeviceAdded{DeviceAdded: &eventv1.DeviceAdded{Device: req.GetDevice(), PublicKey: req.GetPublicKey(), Person: person}}
		}); err != nil {
			return err
		}
		b.set(personKey(person), []byte(name))
		b.set(tokenKey(token), []byte(req.GetDevice()))
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

// Invite makes a join code for the caller's shop. It works once, for CodeLife.
func (s *Server) Invite(ctx context.Context, c Caller, req *boardv1.InviteRequest) (*boardv1.InviteResponse, error) {
	c, err := s.admit(c, boardv1.RegisterService_Invite_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	switch req.GetRole() {
	case owner, technician, guest:
	default:
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "role: say owner, technician or guest specialist")
	}
	out := &boardv1.InviteResponse{}
	err = s.committer.do(ctx, 256, func(b *batch) error {
		code, expires, err := b.invite(c.Shop, req.GetRole(), false)
		out.Code, out.Expires = code, moment(expires)
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
	unknown := refuse(boardv1.Reason_REASON_WHO_ARE_YOU, "no token, or one that is not known here: join first")
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
	out := &Opening{}
	err := s.committer.do(ctx, 1024, func(b *batch) error {
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
		if b.register.hasOwner(id) {
			return nil
		}
		var err error
		out.Code, out.Expires, err = b.invite(id, owner, true)
		return err
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}
