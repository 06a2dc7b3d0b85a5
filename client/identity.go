package client

import (
	"crypto/ed25519"
	"errors"
	"fmt"

	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/join"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Identity is who writes from this home.
type Identity struct {
	Device string             `json:"device"`
	Key    ed25519.PrivateKey `json:"key"`
	Person string             `json:"person"`
	Name   string             `json:"name"`
	Shop   string             `json:"shop"`
	// ShopName as others see it.
	ShopName string `json:"shop_name"`
	Role     string `json:"role"`
	// Token is sent with each call.
	Token string `json:"token"`
	// Server is host:port; Others are further addresses of it, tried after that.
	Server string   `json:"server"`
	Others []string `json:"others,omitempty"`
	// Pin is what the server's certificate authority is known by. None: this home
	// joined before connections were encrypted.
	Pin join.Pin `json:"pin"`
	// LogKey checks the server's checkpoints (golang.org/x/mod/sumdb/note).
	LogKey string `json:"log_key"`
	// Currency the shop counts in, ISO 4217.
	Currency string `json:"currency"`
	// Alone is set until what was recorded before joining is this identity's.
	Alone *Alone `json:"alone,omitempty"`
}

// ErrNobody: this home has not joined a shop.
var ErrNobody = errors.New("this home has not joined a shop yet: ask for a join code and run 'knowngood join LINK', or 'knowngood join CODE --server HOST:PORT'")

// Identity reads who writes from this home; ErrNobody when nobody does.
func (h *Home) Identity() (*Identity, error) {
	id := new(Identity)
	if err := h.load("identity.json", id); err != nil {
		return nil, err
	}
	if id.Token == "" {
		return nil, ErrNobody
	}
	if len(id.Key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("%s holds no usable key: put the file back from a copy, or join anew in another home", h.path("identity.json"))
	}
	return id, nil
}

// newDevice returns the device and key this home will write with. They are kept
// before anybody hears of them, so that a join whose answer is lost can be
// looked into.
func (h *Home) newDevice() (*Identity, error) {
	id := new(Identity)
	if err := h.load("identity.json", id); err != nil {
		return nil, err
	}
	if id.Joined() { // meanwhile
		return nil, fmt.Errorf("this home already writes for %s: choose another folder with --home", id.ShopName)
	}
	if err := h.newKey(id); err != nil {
		return nil, err
	}
	return id, h.store("identity.json", id)
}

// newKey gives the identity a device id and a key that nobody has heard of.
func (h *Home) newKey(id *Identity) error {
	_, key, err := ed25519.GenerateKey(h.random)
	if err != nil {
		return fmt.Errorf("cannot make a key: %w", err)
	}
	id.Device, id.Key = h.newID(), key
	return h.make()
}

// Memory is what carries over from one command to the next.
type Memory struct {
	// Case is the stream of the case in use.
	Case string `json:"case,omitempty"`
	// Last is the id of the last event recorded here, by case.
	Last map[string]string `json:"last,omitempty"`
	// Red and Black are the last leads, by case, for 'same leads'.
	Red   map[string]string `json:"red,omitempty"`
	Black map[string]string `json:"black,omitempty"`
	At    map[string]string `json:"at,omitempty"`
	// Conditions holds the last conditions as protojson, by case, for 'same
	// state'.
	Conditions map[string]string `json:"conditions,omitempty"`
}

// Memory reads what the last command left.
func (h *Home) Memory() (*Memory, error) {
	m := new(Memory)
	if err := h.load("memory.json", m); err != nil {
		return nil, err
	}
	for _, p := range []*map[string]string{&m.Last, &m.Red, &m.Black, &m.At, &m.Conditions} {
		if *p == nil {
			*p = make(map[string]string)
		}
	}
	return m, nil
}

// Remember changes what the next command finds.
func (h *Home) Remember(change func(*Memory)) error {
	return h.locked("lock", func() error {
		m, err := h.Memory()
		if err != nil {
			return err
		}
		change(m)
		return h.store("memory.json", m)
	})
}

// Carry keeps what 'last', 'same leads' and 'same state' mean behind an event.
func (m *Memory) Carry(e *eventv1.Event) {
	stream := e.GetStream()
	m.Last[stream] = e.GetId()
	conditions := e.GetTest().GetConditions()
	if r := e.GetReading(); r != nil {
		conditions = r.GetConditions()
		if r.GetRed() != "" || r.GetBlack() != "" || r.GetAt() != "" {
			m.Red[stream], m.Black[stream], m.At[stream] = r.GetRed(), r.GetBlack(), r.GetAt()
		}
	}
	if conditions == nil {
		return
	}
	if b, err := protojson.Marshal(conditions); err == nil {
		m.Conditions[stream] = string(b)
	}
}
