package server

import (
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

func watched() *boardv1.WatchResponse {
	return &boardv1.WatchResponse{
		Entries:    []*boardv1.Held{{Entry: []byte("entry"), Event: []byte("event"), Position: 3}, {Entry: []byte("next"), Event: []byte("one"), Position: 4}},
		Cursor:     "resume here",
		Checkpoint: []byte("signed"),
	}
}

// TestSameLooksAtEveryField, also at those that are added to the messages one day.
func TestSameLooksAtEveryField(t *testing.T) {
	t.Parallel()
	require.True(t, same(watched(), watched()))
	changes := func(name protoreflect.Name, in func(*boardv1.WatchResponse) protoreflect.Message, f protoreflect.FieldDescriptor) {
		m := watched()
		in(m).Clear(f)
		require.False(t, proto.Equal(watched(), m), "the example leaves %s.%s empty", name, f.Name())
		require.False(t, same(watched(), m), "%s.%s", name, f.Name())
	}
	for i := range watched().ProtoReflect().Descriptor().Fields().Len() {
		changes("WatchResponse", (*boardv1.WatchResponse).ProtoReflect, watched().ProtoReflect().Descriptor().Fields().Get(i))
	}
	held := (&boardv1.Held{}).ProtoReflect().Descriptor().Fields()
	for i := range held.Len() {
		changes("Held", func(m *boardv1.WatchResponse) protoreflect.Message { return m.GetEntries()[1].ProtoReflect() }, held.Get(i))
	}
	fewer := watched()
	fewer.Entries = fewer.Entries[:1]
	require.False(t, same(watched(), fewer))
}

// TestEncodedIsTheMessage: who may see less at the same cursor gets less.
func TestEncodedIsTheMessage(t *testing.T) {
	t.Parallel()
	e := &encoded{}
	less := watched()
	less.Entries = less.Entries[1:]
	for _, m := range []*boardv1.WatchResponse{watched(), watched(), less, watched(), less, less} {
		wire, err := e.of(m)
		require.NoError(t, err)
		got := &boardv1.WatchResponse{}
		require.NoError(t, proto.Unmarshal(wire, got))
		require.True(t, proto.Equal(m, got))
	}
	first, err := e.of(watched())
	require.NoError(t, err)
	second, err := e.of(watched())
	require.NoError(t, err)
	require.Same(t, &first[0], &second[0], "what is the same is marshalled once")

	large := watched()
	large.Entries[0].Event = make([]byte, maxEncoded/3)
	for _, cursor := range []string{"a", "b", "c", "d", "e"} {
		large := proto.CloneOf(large)
		large.Cursor = cursor
		_, err := e.of(large)
		require.NoError(t, err)
		size := 0
		for _, w := range e.by {
			size += len(w.wire)
		}
		require.LessOrEqual(t, size, maxEncoded)
	}
}
