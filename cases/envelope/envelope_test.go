package envelope

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	idA = "01970000-0000-7000-8000-00000000000a"
	idB = "01970000-0000-7000-8000-00000000000b"
	idC = "01970000-0000-7000-8000-00000000000c"
	idD = "01970000-0000-7000-8000-00000000000d"
)

func event(change ...func(*eventv1.Event)) *eventv1.Event {
	e := &eventv1.Event{
		Id: idA, Stream: idB, Device: idC, DeviceSeq: 1, RecordedBy: idD, Salt: bytes.Repeat([]byte{7}, SaltSize),
		Because: []string{idB, idC},
		Kind:    &eventv1.Event_Note{Note: &eventv1.Note{Text: "fan noise"}},
	}
	for _, c := range change {
		c(e)
	}
	return e
}

func encode(t testing.TB, e *eventv1.Event) []byte {
	t.Helper()
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
	require.NoError(t, err)
	return b
}

func withBytes(b []byte, num protowire.Number, v string) []byte {
	return protowire.AppendString(protowire.AppendTag(bytes.Clone(b), num, protowire.BytesType), v)
}

func withVarint(b []byte, num protowire.Number, v uint64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(bytes.Clone(b), num, protowire.VarintType), v)
}

func TestOpen(t *testing.T) {
	t.Parallel()
	b := encode(t, event())
	o, err := Open(b)
	require.NoError(t, err)
	require.Equal(t, b, o.Bytes)
	require.Equal(t, Hash(b), o.Hash[:])
	require.EqualValues(t, 130, o.Kind)
	require.True(t, o.Known)
	require.False(t, o.Strange)
	require.Equal(t, "note", KindName(o.Kind))
	require.Equal(t, o.Kind, KindOf(o.Event))
}

// What a later build writes comes through byte for byte: a kind, a field of the
// envelope, and fields within a known kind, wherever in the bytes they stand.
func TestFromTheFuture(t *testing.T) {
	t.Parallel()
	known := encode(t, event())
	bare := encode(t, event(func(e *eventv1.Event) { e.Kind = nil }))
	note := withVarint(protowire.AppendString(protowire.AppendTag(nil, 1, protowire.BytesType), "fan noise"), 99, 5)
	for name, x := range map[string]struct {
		bytes          []byte
		kind           uint32
		known, strange bool
	}{
		"a kind":                         {withBytes(bare, 151, "\x08\x01"), 151, false, false},
		"a kind first in the bytes":      {append(withBytes(nil, 151, "\x08\x01"), bare...), 151, false, false},
		"a kind that is no message":      {withBytes(bare, 151, "\xFF\xFF"), 151, false, false},
		"a kind with the highest number": {withBytes(bare, protowire.MaxValidNumber, ""), uint32(protowire.MaxValidNumber), false, false},
		"a field":                        {withBytes(known, 50, "soon"), 130, true, true},
		"a field first in the bytes":     {append(withVarint(nil, 99, 3), known...), 130, true, true},
		"a field twice":                  {withBytes(withBytes(known, 50, "soon"), 50, "later"), 130, true, true},
		"a group":                        {protowire.AppendTag(protowire.AppendTag(bytes.Clone(known), 60, protowire.StartGroupType), 60, protowire.EndGroupType), 130, true, true},
		"a field of a known kind":        {withBytes(bare, 130, string(note)), 130, true, true},
		"a kind and a field":             {withBytes(withBytes(bare, 50, "soon"), 151, ""), 151, false, false},
	} {
		given := bytes.Clone(x.bytes)
		o, err := Open(x.bytes)
		require.NoError(t, err, name)
		require.Equal(t, []any{x.kind, x.known, x.strange}, []any{o.Kind, o.Known, o.Strange}, name)
		require.Equal(t, given, o.Bytes, name)
		require.Equal(t, idA, o.Event.GetId())

		// Through the envelope it is carried in, and back.
		key := ed25519.NewKeyFromSeed(make([]byte, 32))
		signed := &eventv1.Signed{Event: o.Bytes, Signature: ed25519.Sign(key, message(o.Hash[:]))}
		wire, err := proto.Marshal(signed)
		require.NoError(t, err)
		back := new(eventv1.Signed)
		require.NoError(t, proto.Unmarshal(wire, back))
		require.Equal(t, given, back.GetEvent(), name)
		again, err := Open(back.GetEvent())
		require.NoError(t, err)
		require.NoError(t, Verify(key.Public().(ed25519.PublicKey), again.Hash[:], back.GetSignature()))
	}
}

// A value of an enum, or a field of an item of a list, that only a later build
// knows makes the event strange: what is not understood proves nothing.
func TestStrangeWhereverItStands(t *testing.T) {
	t.Parallel()
	later := &eventv1.Covered{Component: "fan motor"}
	later.ProtoReflect().SetUnknown(protowire.AppendVarint(protowire.AppendTag(nil, 99, protowire.VarintType), 1))
	for name, kind := range map[string]*eventv1.Test{
		"a value":               {Outcome: 99},
		"a value in a list":     {Covers: []*eventv1.Covered{{Modes: []eventv1.FaultMode{1, 99}}}},
		"a value in a message":  {Conditions: &eventv1.Conditions{Key: 99}},
		"a field in a list":     {Covers: []*eventv1.Covered{{}, later}},
		"a value in a list's":   {Covers: []*eventv1.Covered{{Extent: 99}, {}}},
		"one before known ones": {Covers: []*eventv1.Covered{later, {}}, Outcome: 1},
	} {
		e := event(func(e *eventv1.Event) { e.Kind = &eventv1.Event_Test{Test: kind} })
		require.True(t, Strange(e), name)
		o, err := Open(encode(t, e))
		require.NoError(t, err, name)
		require.True(t, o.Known && o.Strange, name)
	}
	whole := &eventv1.Test{Outcome: 1, Covers: []*eventv1.Covered{{Component: "fan motor", Extent: 1, Modes: []eventv1.FaultMode{1}}}}
	require.False(t, Strange(event(func(e *eventv1.Event) { e.Kind = &eventv1.Event_Test{Test: whole} })))
}

func TestMalformed(t *testing.T) {
	t.Parallel()
	b := encode(t, event())
	bare := encode(t, event(func(e *eventv1.Event) { e.Kind = nil }))
	for name, x := range map[string]struct {
		bytes []byte
		words string
	}{
		"nothing":                         {nil, "no kind"},
		"no kind":                         {bare, "no kind"},
		"two members of the oneof":        {withBytes(b, 133, "\x08\x01"), "second kind (field 133 after field 130)"},
		"the same member twice":           {withBytes(b, 130, "\x0a\x01x"), "second kind (field 130 after field 130)"},
		"a known and a future member":     {withBytes(b, 151, ""), "second kind"},
		"two future members":              {withBytes(withBytes(bare, 151, ""), 152, ""), "second kind"},
		"a kind as a number":              {withVarint(bare, 130, 1), "field 130 is no message"},
		"a future kind as a number":       {withVarint(bare, 151, 1), "field 151 is no message"},
		"a kind as a group":               {protowire.AppendTag(protowire.AppendTag(bytes.Clone(bare), 151, protowire.StartGroupType), 151, protowire.EndGroupType), "field 151 is no message"},
		"a known field twice":             {withBytes(b, 1, idB), "field id twice"},
		"a known field twice, the same":   {withBytes(b, 1, idA), "field id twice"},
		"device_seq twice":                {withVarint(b, 4, 1), "field device_seq twice"},
		"expect twice":                    {withVarint(withVarint(b, 7, 5), 7, 6), "field expect twice"},
		"placed twice":                    {withBytes(withBytes(b, 9, "\x10\x01"), 9, "\x10\x01"), "field placed twice"},
		"a known field of another type":   {withVarint(b, 10, 1), "field by has wire type 0"},
		"expect of another type":          {withBytes(b, 7, "5"), "field expect has wire type 2"},
		"because of another type":         {withVarint(b, 12, 5), "field because has wire type 0"},
		"a group that does not end":       {protowire.AppendTag(bytes.Clone(b), 60, protowire.StartGroupType), "byte"},
		"a group that does not begin":     {protowire.AppendTag(bytes.Clone(b), 60, protowire.EndGroupType), "byte"},
		"field number 0":                  {append(bytes.Clone(b), 0x02, 0x00), "byte"},
		"text that is not UTF-8":          {withBytes(b, 10, "\xff"), "UTF-8"},
		"a known kind that is no message": {withBytes(bare, 130, "\xff"), "not an event"},
	} {
		_, err := Open(x.bytes)
		require.ErrorIs(t, err, ErrMalformed, name)
		require.ErrorContains(t, err, x.words, name)
	}
	for n := 1; n < len(b); n++ {
		_, err := Open(b[:n])
		require.ErrorIs(t, err, ErrMalformed, "cut after %d bytes", n)
	}
}

func TestFieldsOfTheEnvelope(t *testing.T) {
	t.Parallel()
	for name, x := range map[string]struct {
		change func(*eventv1.Event)
		words  string
	}{
		"id":                        {func(e *eventv1.Event) { e.Id = "" }, "id: "},
		"id, upper case":            {func(e *eventv1.Event) { e.Id = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F" }, "use lower case"},
		"id, another version":       {func(e *eventv1.Event) { e.Id = "919108f7-52d1-4320-9bac-f847db4148a8" }, "version 7"},
		"stream":                    {func(e *eventv1.Event) { e.Stream = "case 1" }, "stream: "},
		"device":                    {func(e *eventv1.Event) { e.Device = "" }, "device: "},
		"recorded_by":               {func(e *eventv1.Event) { e.RecordedBy = "me" }, "recorded_by: "},
		"device_seq":                {func(e *eventv1.Event) { e.DeviceSeq = 0 }, "device_seq: "},
		"prev of the first":         {func(e *eventv1.Event) { e.Prev = make([]byte, 32) }, "must be empty"},
		"prev missing":              {func(e *eventv1.Event) { e.DeviceSeq = 2 }, "prev: 0 bytes"},
		"prev too short":            {func(e *eventv1.Event) { e.DeviceSeq, e.Prev = 2, make([]byte, 31) }, "prev: 31 bytes"},
		"salt":                      {func(e *eventv1.Event) { e.Salt = nil }, "salt: "},
		"a salt too short":          {func(e *eventv1.Event) { e.Salt = make([]byte, SaltSize-1) }, "salt: 15 bytes"},
		"a salt too long":           {func(e *eventv1.Event) { e.Salt = make([]byte, SaltSize+1) }, "salt: 17 bytes"},
		"expect":                    {func(e *eventv1.Event) { e.Expect = proto.Uint64(0) }, "expect: "},
		"because":                   {func(e *eventv1.Event) { e.Because[1] = "x" }, "because, item 2: "},
		"placed":                    {func(e *eventv1.Event) { e.Placed = &eventv1.Placement{} }, "placed: "},
		"placed, false":             {func(e *eventv1.Event) { e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{}} }, "leave placed out"},
		"placed after itself":       {func(e *eventv1.Event) { e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: idA}} }, "after itself"},
		"placed after what is none": {func(e *eventv1.Event) { e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{}} }, "placed after: "},
	} {
		_, err := Open(encode(t, event(x.change)))
		require.ErrorIs(t, err, ErrMalformed, name)
		require.ErrorContains(t, err, x.words, name)
	}
	// The version 7 example of RFC 9562, appendix A.6, in the lower case kept here.
	_, err := Open(encode(t, event(func(e *eventv1.Event) { e.Id = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f" })))
	require.NoError(t, err)
}

func TestSize(t *testing.T) {
	t.Parallel()
	note := func(n int) []byte {
		return encode(t, event(func(e *eventv1.Event) { e.GetNote().Text = strings.Repeat("x", n) }))
	}
	n := MaxEvent - len(note(0))
	for len(note(n)) > MaxEvent {
		n--
	}
	require.Len(t, note(n), MaxEvent)
	_, err := Open(note(n))
	require.NoError(t, err)
	_, err = Open(note(n + 1))
	require.ErrorIs(t, err, ErrTooBig)
	_, err = Sign(event(func(e *eventv1.Event) { e.GetNote().Text = strings.Repeat("x", n+1) }), ed25519.NewKeyFromSeed(make([]byte, 32)))
	require.ErrorIs(t, err, ErrTooBig)
}

func TestSignatures(t *testing.T) {
	t.Parallel()
	key := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, 32))
	other := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{2}, 32))
	public := key.Public().(ed25519.PublicKey)
	signed, err := Sign(event(), key)
	require.NoError(t, err)
	hash := Hash(signed.GetEvent())
	require.NoError(t, Verify(public, hash, signed.GetSignature()))
	require.ErrorIs(t, Verify(other.Public().(ed25519.PublicKey), hash, signed.GetSignature()), ErrSignature)
	require.ErrorIs(t, Verify(nil, hash, signed.GetSignature()), ErrSignature)
	require.ErrorIs(t, Verify(public, hash, nil), ErrSignature)
	require.ErrorIs(t, Verify(public, hash, ed25519.Sign(other, message(hash))), ErrSignature, "forged with another key")
	require.ErrorIs(t, Verify(public, hash, ed25519.Sign(key, hash)), ErrSignature, "a signature over something else, used again")
	require.ErrorIs(t, Verify(public, hash, ed25519.Sign(key, signed.GetEvent())), ErrSignature)
	for bit := 0; bit < 8*len(signed.GetEvent()); bit += 7 {
		changed := bytes.Clone(signed.GetEvent())
		changed[bit/8] ^= 1 << (bit % 8)
		require.ErrorIs(t, Verify(public, Hash(changed), signed.GetSignature()), ErrSignature)
	}
	for bit := 0; bit < 8*len(signed.GetSignature()); bit++ {
		changed := bytes.Clone(signed.GetSignature())
		changed[bit/8] ^= 1 << (bit % 8)
		require.ErrorIs(t, Verify(public, hash, changed), ErrSignature)
	}
}

// What is signed is frozen with the bytes: this signature was made once and must
// fit for ever.
func TestFrozenSignature(t *testing.T) {
	t.Parallel()
	const (
		public    = "8a88e3dd7409f195fd52db2d3cba5d72ca6709bf1d94121bf3748801b40f6f5c"
		hash      = "5822c7808f48865a3e7d9cd9e449704eda6497b4e54d2643c12474eec5d05b09"
		signature = "dfcbcc34bf9a88bcacd64fa00e3b386925567a7d5152bfdf721c40ec3b9a100c09b4688ed80860b7d0113fc1fa87832396678320201a11ee1b2f997473540708"
	)
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "events", "v1", "reading.hex"))
	require.NoError(t, err)
	event := decode(t, strings.Join(strings.Fields(string(text)), ""))
	require.Equal(t, hash, hex.EncodeToString(Hash(event)))
	require.NoError(t, Verify(decode(t, public), decode(t, hash), decode(t, signature)))
}

func decode(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}

func TestSignRefusesWhatCannotBeOpened(t *testing.T) {
	t.Parallel()
	key := ed25519.NewKeyFromSeed(make([]byte, 32))
	_, err := Sign(event(func(e *eventv1.Event) { e.Salt = nil }), key)
	require.ErrorIs(t, err, ErrMalformed)
	_, err = Sign(event(func(e *eventv1.Event) { e.By = "\xff" }), key)
	require.ErrorContains(t, err, "UTF-8")
}

func TestEntriesFitTheirEvents(t *testing.T) {
	t.Parallel()
	o, err := Open(encode(t, event(func(e *eventv1.Event) { e.DeviceSeq, e.Prev = 3, make([]byte, 32) })))
	require.NoError(t, err)
	entry := NewEntry(o, []byte("signature"), "0123456789abcdef", 5, 2, &eventv1.Moment{UnixSeconds: 1}, idD, idB)
	require.NoError(t, Fits(entry, o))
	require.True(t, proto.Equal(&eventv1.Entry{
		Log: "0123456789abcdef", Index: 5, Seq: 2, Stream: idB, Id: idA, Recorded: &eventv1.Moment{UnixSeconds: 1}, Device: idC, DeviceSeq: 3, Prev: make([]byte, 32),
		Person: idD, Shop: idB, Kind: 130, EventHash: o.Hash[:], Signature: []byte("signature"),
	}, entry))
	for name, change := range map[string]func(*eventv1.Entry){
		"hash":       func(e *eventv1.Entry) { e.EventHash = make([]byte, 32) },
		"id":         func(e *eventv1.Entry) { e.Id = idB },
		"stream":     func(e *eventv1.Entry) { e.Stream = idA },
		"device":     func(e *eventv1.Entry) { e.Device = idA },
		"device_seq": func(e *eventv1.Entry) { e.DeviceSeq = 4 },
		"prev":       func(e *eventv1.Entry) { e.Prev = nil },
		"kind":       func(e *eventv1.Entry) { e.Kind = 133 },
	} {
		e := proto.Clone(entry).(*eventv1.Entry)
		change(e)
		require.Error(t, Fits(e, o), name)
	}
}

func TestKinds(t *testing.T) {
	t.Parallel()
	for _, k := range Kinds() {
		require.GreaterOrEqual(t, k, uint32(FirstKind))
		require.NotEmpty(t, KindName(k))
	}
	require.Equal(t, "part fitted", KindName(108))
	for _, k := range []uint32{0, 1, 12, 99, 151, 1 << 29} {
		require.Empty(t, KindName(k))
	}
	require.Zero(t, KindOf(&eventv1.Event{}))
	require.Zero(t, KindOf(nil))
}

func FuzzOpen(f *testing.F) {
	f.Add(encode(f, event()))
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "events", "v1", "*.hex"))
	require.NoError(f, err)
	require.NotEmpty(f, files)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(f, err)
		b, err := hex.DecodeString(strings.Join(strings.Fields(string(text)), ""))
		require.NoError(f, err)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		given := bytes.Clone(b)
		o, err := Open(b)
		require.Equal(t, given, b, "the bytes are left alone")
		if err != nil {
			return
		}
		again, err := Open(o.Bytes)
		require.NoError(t, err)
		require.Equal(t, []any{o.Hash, o.Kind, o.Known, o.Strange}, []any{again.Hash, again.Kind, again.Known, again.Strange})
		require.Equal(t, o.Known, KindOf(o.Event) == o.Kind, "what the bytes say and what was read agree")
		if !o.Known {
			require.Zero(t, KindOf(o.Event))
		}
	})
}
