package server

import (
	"bytes"
	"slices"
	"sync"

	"google.golang.org/grpc/encoding"
	"google.golang.org/grpc/mem"
	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// So many bytes of messages are kept encoded.
const maxEncoded = 8 << 20

// encoded keeps the messages of Watch that were sent last as they go over the wire:
// all who wait at the head of one shop are sent the same next message, and marshalling
// it for each costs about a tenth of all that an entry takes to reach them. Nothing is
// sent from here that was not read and allowed for that very reader, and found to be
// the same.
type encoded struct {
	mu   sync.Mutex
	by   map[string]*wired // by cursor
	size int
}

type wired struct {
	message *boardv1.WatchResponse
	wire    rawMessage
}

// of returns the message's encoding. The message must not change afterwards.
func (e *encoded) of(m *boardv1.WatchResponse) (rawMessage, error) {
	e.mu.Lock()
	at := e.by[m.GetCursor()]
	e.mu.Unlock()
	if at != nil && same(at.message, m) {
		return at.wire, nil
	}
	b, err := proto.Marshal(m)
	if err != nil {
		return nil, err
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.size += len(b); e.by == nil || e.size > maxEncoded {
		e.by, e.size = map[string]*wired{}, len(b)
	}
	e.by[m.GetCursor()] = &wired{m, b}
	return b, nil
}

// same is proto.Equal, which takes as long as marshalling. Of what was read from one
// page and is the same, the bytes lie in the same place, so that nothing is compared.
func same(a, b *boardv1.WatchResponse) bool {
	return a.GetCursor() == b.GetCursor() && bytes.Equal(a.GetCheckpoint(), b.GetCheckpoint()) &&
		slices.EqualFunc(a.GetEntries(), b.GetEntries(), func(a, b *boardv1.Held) bool {
			return a.GetPosition() == b.GetPosition() && bytes.Equal(a.GetEntry(), b.GetEntry()) && bytes.Equal(a.GetEvent(), b.GetEvent())
		})
}

// rawMessage is a message that is marshalled already.
type rawMessage []byte

// codec is the usual one, and sends a rawMessage as it is.
type codec struct{ encoding.CodecV2 }

func newCodec() codec { return codec{encoding.GetCodecV2("proto")} }

// Marshal implements encoding.CodecV2.
func (c codec) Marshal(v any) (mem.BufferSlice, error) {
	if b, ok := v.(rawMessage); ok {
		return mem.BufferSlice{mem.SliceBuffer(b)}, nil
	}
	return c.CodecV2.Marshal(v)
}
