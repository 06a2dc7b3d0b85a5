package envelope

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// MaxEvent is the most bytes an event may have.
	MaxEvent = 64 << 10
	// FirstKind is the lowest field number of a kind.
	FirstKind = 100
	// SaltSize is the length of the salt in bytes.
	SaltSize = 16

	signingContext = "knowngood/event/1\n"
)

var (
	// ErrMalformed: the bytes break a rule of the envelope.
	ErrMalformed = errors.New("not an event")
	// ErrTooBig: more than MaxEvent bytes.
	ErrTooBig = errors.New("event too big")
	// ErrSignature: the signature does not fit bytes and key.
	ErrSignature = errors.New("signature does not fit")
)

// Opened is an event with what its bytes say of themselves.
type Opened struct {
	// Bytes as received.
	Bytes []byte
	// Hash is SHA-256 of Bytes.
	Hash [sha256.Size]byte
	// Event as far as this build understands it.
	Event *eventv1.Event
	// Kind is the field number of the kind.
	Kind uint32
	// Known: this build has the kind. Strange: it has it, but the event carries
	// fields this build does not know; such an event proves nothing.
	Known, Strange bool
}

// Open reads an event's bytes and refuses those that break a rule of the
// envelope. It does not look at what the kind says.
func Open(b []byte) (*Opened, error) {
	if len(b) > MaxEvent {
		return nil, fmt.Errorf("%w: %d bytes; the limit is %d", ErrTooBig, len(b), MaxEvent)
	}
	kind, err := Scan(b)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	o := &Opened{Bytes: b, Hash: sha256.Sum256(b), Event: new(eventv1.Event), Kind: kind}
	if err := proto.Unmarshal(b, o.Event); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	o.Known = KindName(kind) != ""
	o.Strange = o.Known && Strange(o.Event)
	if err := checkFields(o.Event); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	return o, nil
}

// Scan holds raw bytes of an Event against the rules, without reading its fields,
// and returns the kind's number.
func Scan(b []byte) (uint32, error) {
	fields := (*eventv1.Event)(nil).ProtoReflect().Descriptor().Fields()
	var kind protowire.Number
	var seen [FirstKind]bool
	for at := 0; at < len(b); {
		num, typ, n := protowire.ConsumeField(b[at:])
		if n < 0 {
			return 0, fmt.Errorf("byte %d: %w", at, protowire.ParseError(n))
		}
		switch {
		case num >= FirstKind && kind != 0:
			return 0, fmt.Errorf("byte %d: a second kind (field %d after field %d); an event says one thing", at, num, kind)
		case num >= FirstKind && typ != protowire.BytesType:
			return 0, fmt.Errorf("byte %d: field %d is no message", at, num)
		case num >= FirstKind:
			kind = num
		case fields.ByNumber(num) != nil:
			f := fields.ByNumber(num)
			if typ != wireType(f) {
				return 0, fmt.Errorf("byte %d: field %s has wire type %d; it has %d", at, f.Name(), typ, wireType(f))
			}
			if seen[num] && !f.IsList() {
				return 0, fmt.Errorf("byte %d: field %s twice", at, f.Name())
			}
			seen[num] = true
		}
		at += n
	}
	if kind == 0 {
		return 0, errors.New("it has no kind: one field with a number of 100 or more is needed")
	}
	return uint32(kind), nil
}

// wireType is how a field of the envelope is written: numbers as varints, all
// else length-delimited.
func wireType(f protoreflect.FieldDescriptor) protowire.Type {
	if f.Kind() == protoreflect.Uint64Kind {
		return protowire.VarintType
	}
	return protowire.BytesType
}

// Strange reports whether an event, or a message inside it, has fields or values
// of an enum that this build does not know.
func Strange(e *eventv1.Event) bool { return strange(e.ProtoReflect()) }

func strange(m protoreflect.Message) bool {
	if len(m.GetUnknown()) > 0 {
		return true
	}
	found := false
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		one := func(v protoreflect.Value) bool {
			if f.Enum() != nil {
				return f.Enum().Values().ByNumber(v.Enum()) == nil
			}
			return strange(v.Message())
		}
		switch {
		case f.Message() == nil && f.Enum() == nil:
		case f.IsList():
			for i := 0; i < v.List().Len() && !found; i++ {
				found = one(v.List().Get(i))
			}
		default:
			found = one(v)
		}
		return !found
	})
	return found
}

func checkFields(e *eventv1.Event) error {
	if err := notation.CheckID(e.GetId()); err != nil {
		return fmt.Errorf("id: %w", err)
	}
	if err := notation.CheckID(e.GetStream()); err != nil {
		return fmt.Errorf("stream: %w", err)
	}
	if err := notation.CheckID(e.GetDevice()); err != nil {
		return fmt.Errorf("device: %w", err)
	}
	switch n := len(e.GetPrev()); {
	case e.GetDeviceSeq() == 0:
		return errors.New("device_seq: 0; a device counts its events in a stream from 1")
	case e.GetDeviceSeq() == 1 && n != 0:
		return errors.New("prev: set on the device's first event here; it must be empty")
	case e.GetDeviceSeq() > 1 && n != sha256.Size:
		return fmt.Errorf("prev: %d bytes; the SHA-256 of the device's event before has %d", n, sha256.Size)
	}
	if n := len(e.GetSalt()); n != SaltSize {
		return fmt.Errorf("salt: %d bytes; it has %d", n, SaltSize)
	}
	if e.Expect != nil && e.GetExpect() == 0 {
		return errors.New("expect: 0; places count from 1")
	}
	if err := notation.CheckID(e.GetRecordedBy()); err != nil {
		return fmt.Errorf("recorded_by: %w", err)
	}
	for i, id := range e.GetBecause() {
		if err := notation.CheckID(id); err != nil {
			return fmt.Errorf("because, item %d: %w", i+1, err)
		}
	}
	if p := e.GetPlaced(); p != nil {
		switch w := p.GetWhere().(type) {
		case *eventv1.Placement_After:
			if err := notation.CheckID(w.After); err != nil {
				return fmt.Errorf("placed after: %w", err)
			}
			if w.After == e.GetId() {
				return errors.New("placed after: an event cannot come after itself")
			}
		case *eventv1.Placement_BeforeOpening:
			if !w.BeforeOpening {
				return errors.New("placed: before_opening is false; leave placed out instead")
			}
		default:
			return errors.New("placed: says neither after what nor before the opening")
		}
	}
	return nil
}

// KindName is a kind's name in words ('part fitted'); empty when this build
// does not know the number.
func KindName(kind uint32) string {
	d := (*eventv1.Event)(nil).ProtoReflect().Descriptor()
	f := d.Fields().ByNumber(protowire.Number(kind))
	if f == nil || f.ContainingOneof() == nil || kind < FirstKind {
		return ""
	}
	return strings.ReplaceAll(string(f.Name()), "_", " ")
}

// Kinds lists the numbers of the kinds this build knows, in order.
func Kinds() []uint32 {
	fs := (*eventv1.Event)(nil).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	out := make([]uint32, fs.Len())
	for i := range out {
		out[i] = uint32(fs.Get(i).Number())
	}
	return out
}

// KindOf is the field number of the kind that is set; 0 when none is.
func KindOf(e *eventv1.Event) uint32 {
	m := e.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if f == nil {
		return 0
	}
	return uint32(f.Number())
}

// Hash is the SHA-256 of an event's bytes, as prev and event_hash hold it.
func Hash(event []byte) []byte {
	h := sha256.Sum256(event)
	return h[:]
}

// Sign marshals the event, once, and signs the bytes.
func Sign(e *eventv1.Event, key ed25519.PrivateKey) (*eventv1.Signed, error) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("cannot marshal the event: %w", err)
	}
	if _, err := Open(b); err != nil {
		return nil, err
	}
	return &eventv1.Signed{Event: b, Signature: ed25519.Sign(key, message(Hash(b)))}, nil
}

// Verify holds a signature against the SHA-256 of an event's bytes. The bytes
// themselves are not needed, so it works when they are erased.
func Verify(key ed25519.PublicKey, hash, signature []byte) error {
	if len(key) != ed25519.PublicKeySize {
		return fmt.Errorf("%w: the device's key has %d bytes and should have %d", ErrSignature, len(key), ed25519.PublicKeySize)
	}
	if !ed25519.Verify(key, message(hash), signature) {
		return ErrSignature
	}
	return nil
}

func message(hash []byte) []byte {
	return append([]byte(signingContext), hash...)
}

// NewEntry makes the entry of an event at its place. The caller marshals it
// once and keeps the bytes.
func NewEntry(o *Opened, signature []byte, log string, index, seq uint64, recorded *eventv1.Moment, person, shop string) *eventv1.Entry {
	e := o.Event
	return &eventv1.Entry{
		Log: log, Index: index, Seq: seq, Stream: e.GetStream(), Id: e.GetId(), Recorded: recorded,
		Device: e.GetDevice(), DeviceSeq: e.GetDeviceSeq(), Prev: e.GetPrev(), Person: person, Shop: shop,
		Kind: o.Kind, EventHash: o.Hash[:], Signature: signature,
	}
}

// Fits refuses an entry that does not belong to the event: its hash, or what it
// repeats of it, differs.
func Fits(entry *eventv1.Entry, o *Opened) error {
	e := o.Event
	switch {
	case !bytes.Equal(entry.GetEventHash(), o.Hash[:]):
		return errors.New("the event's bytes have another hash than the entry says")
	case entry.GetId() != e.GetId():
		return fmt.Errorf("the entry says id %s, the event %s", entry.GetId(), e.GetId())
	case entry.GetStream() != e.GetStream():
		return fmt.Errorf("the entry says stream %s, the event %s", entry.GetStream(), e.GetStream())
	case entry.GetDevice() != e.GetDevice() || entry.GetDeviceSeq() != e.GetDeviceSeq() || !bytes.Equal(entry.GetPrev(), e.GetPrev()):
		return errors.New("entry and event name different devices or numbers")
	case entry.GetKind() != o.Kind:
		return fmt.Errorf("the entry says kind %d, the event %d", entry.GetKind(), o.Kind)
	}
	return nil
}
