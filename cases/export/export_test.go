package export

import (
	"bytes"
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	logID  = "00112233445566aa"
	stream = "01900000-0000-7000-8000-0000000000ca"
	shop   = "01900000-0000-7000-8000-0000000000a0"
)

func id(n int) string { return fmt.Sprintf("01900000-0000-7000-8000-%012x", n) }

// key is the same in every run.
func key(n byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{n}, ed25519.SeedSize))
}

// made is an export of n notes by two devices, among entries of other cases in
// one log; erased is the entry whose bytes are gone, 0 for none.
func made(t testing.TB, n, erased int) *Export {
	t.Helper()
	return madeWith(t, n, erased, func(int, *eventv1.Event) {})
}

// madeWith is made with events changed before they are signed.
func madeWith(t testing.TB, n, erased int, change func(i int, e *eventv1.Event)) *Export {
	t.Helper()
	x := &Export{Head: Head{
		Version: 1, Log: logID, Case: stream,
		Devices: []Device{{id(1), key(1).Public().(ed25519.PublicKey), id(11), false}, {id(2), key(2).Public().(ed25519.PublicKey), id(12), false}},
		Shops:   []Shop{{shop, "Tin Kettle Garage"}}, People: []Person{{id(11), "Mara", shop, "owner", false}},
	}}
	var hashes []tlog.Hash
	read := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(at))
		for i, n := range at {
			out[i] = hashes[n]
		}
		return out, nil
	})
	size := int64(0)
	add := func(record []byte) int64 {
		more, err := tlog.StoredHashes(size, record, read)
		require.NoError(t, err)
		hashes = append(hashes, more...)
		size++
		return size - 1
	}
	prev, seqs := make(map[int][]byte), make(map[int]uint64)
	var places []int64
	for i := range n {
		add(fmt.Appendf(nil, "entry %d of another case", i))
		dev := 1 + i%2
		seqs[dev]++
		e := &eventv1.Event{
			Id: id(100 + i), Stream: stream, Device: id(dev), DeviceSeq: seqs[dev], Prev: prev[dev], RecordedBy: id(10 + dev),
			Salt: bytes.Repeat([]byte{byte(i)}, envelope.SaltSize), Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: fmt.Sprintf("note %d", i)}},
		}
		change(i, e)
		s, err := envelope.Sign(e, key(byte(dev)))
		require.NoError(t, err)
		o, err := envelope.Open(s.GetEvent())
		require.NoError(t, err)
		prev[dev] = o.Hash[:]
		entry, err := proto.Marshal(envelope.NewEntry(o, s.GetSignature(), logID, uint64(size), uint64(i+1), &eventv1.Moment{UnixSeconds: 1}, id(10+dev), shop))
		require.NoError(t, err)
		places = append(places, add(entry))
		l := Line{Entry: entry, Event: s.GetEvent(), Signature: s.GetSignature()}
		if i+1 == erased {
			l.Event = nil
		}
		x.Lines = append(x.Lines, l)
	}
	root, err := tlog.TreeHash(size, read)
	require.NoError(t, err)
	for i, at := range places {
		p, err := tlog.ProveRecord(size, at, read)
		require.NoError(t, err)
		for _, h := range p {
			x.Lines[i].Proof = append(x.Lines[i].Proof, h[:])
		}
	}
	signer, err := log.Signer(logID, key(9))
	require.NoError(t, err)
	empty, err := tlog.TreeHash(0, nil)
	require.NoError(t, err)
	cp, err := log.Checkpoint{Log: logID, Size: uint64(size), Root: root, Epoch: 1, FromRoot: empty}.Sign(signer)
	require.NoError(t, err)
	x.Head.Checkpoint = string(cp)
	x.Head.LogKey, err = note.NewEd25519VerifierKey(log.Origin(logID), key(9).Public().(ed25519.PublicKey))
	require.NoError(t, err)
	x.Head.Entries = len(x.Lines)
	x.Views()
	return x
}

func text(t testing.TB, x *Export) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, x))
	return b.Bytes()
}

func TestWhatWasWrittenHoldsAndRoundTrips(t *testing.T) {
	t.Parallel()
	for _, n := range []int{1, 2, 7, 12} {
		x := made(t, n, 0)
		b := text(t, x)
		back, err := Read(bytes.NewReader(b))
		require.NoError(t, err)
		require.Equal(t, string(b), string(text(t, back)))
		v := Verify(back, x.Head.LogKey)
		require.Empty(t, v.Problems)
		require.Empty(t, v.Remarks)
		require.Equal(t, n, v.Entries)
	}
}

func TestErasedBytesStillVerify(t *testing.T) {
	t.Parallel()
	v := Verify(made(t, 5, 3), "")
	require.Empty(t, v.Problems)
	require.Len(t, v.Remarks, 1)
	require.Equal(t, 4, v.Remarks[0].Line)
	require.Contains(t, v.Remarks[0].What, "erased")
}

// TestEveryFlippedBitIsFound flips one bit of every byte of everything that is
// signed, hashed or proven, and expects a problem that names the line.
func TestEveryFlippedBitIsFound(t *testing.T) {
	t.Parallel()
	x := made(t, 4, 2)
	bit := rand.New(rand.NewPCG(1, 2))
	tried := 0
	flip := func(b []byte, line int, what string) {
		for at := range b {
			mask := byte(1) << bit.IntN(8)
			b[at] ^= mask
			v := Verify(x, "")
			require.NotEmpty(t, v.Problems, "%s, byte %d, mask %x", what, at, mask)
			require.Equal(t, line, v.Problems[0].Line, "%s, byte %d", what, at)
			b[at] ^= mask
			tried++
		}
	}
	for i := range x.Lines {
		l := &x.Lines[i]
		flip(l.Entry, i+2, "entry")
		flip(l.Event, i+2, "event")
		flip(l.Signature, i+2, "signature")
		for _, h := range l.Proof {
			flip(h, i+2, "proof")
		}
	}
	require.Empty(t, Verify(x, "").Problems)
	require.Greater(t, tried, 2000)
	cp := x.Head.Checkpoint
	for at := range cp {
		// The em dash before a signature is three bytes; the note's own reader
		// refuses any other.
		b := []byte(cp)
		b[at] ^= 1
		x.Head.Checkpoint = string(b)
		require.NotEmpty(t, Verify(x, "").Problems, "checkpoint, byte %d", at)
	}
}

func TestWhatDoesNotHold(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*Export)
		line   int
		what   string
	}{
		{"an entry left out", func(x *Export) { x.Lines = append(x.Lines[:1], x.Lines[2:]...) }, 3, "entry 3 stands where entry 2 belongs"},
		{"two exchanged", func(x *Export) { x.Lines[0], x.Lines[1] = x.Lines[1], x.Lines[0] }, 2, "entry 2 stands where entry 1 belongs"},
		{"one twice", func(x *Export) { x.Lines = append(x.Lines, x.Lines[3]) }, 6, "entry 4 stands where entry 5 belongs"},
		{"another case", func(x *Export) { x.Head.Case = id(7) }, 2, "belongs to case"},
		{"another log", func(x *Export) { x.Head.Log = "ffffffffffffffff" }, 2, "belongs to log"},
		{"no key of a device", func(x *Export) { x.Head.Devices = x.Head.Devices[:1] }, 3, "no key for device"},
		{"another's key", func(x *Export) { x.Head.Devices[0].Key = x.Head.Devices[1].Key }, 2, "did not sign this"},
		{"a short key", func(x *Export) { x.Head.Devices[0].Key = []byte{1} }, 2, "did not sign this"},
		{"no checkpoint", func(x *Export) { x.Head.Checkpoint = "" }, 1, "there is no checkpoint"},
		{"no proof", func(x *Export) { x.Lines[2].Proof = nil }, 4, "not proven"},
		{"a short hash in a proof", func(x *Export) { x.Lines[2].Proof[0] = []byte{1} }, 4, "has 1 bytes and needs 32"},
		{"a view that lies", func(x *Export) { x.Lines[1].View = json.RawMessage(`{"note":{"text":"all good"}}`) }, 3, "view does not say"},
	} {
		x := made(t, 4, 0)
		c.change(x)
		v := Verify(x, "")
		require.NotEmpty(t, v.Problems, c.name)
		require.Equal(t, c.line, v.Problems[0].Line, c.name)
		require.Contains(t, v.Problems[0].What, c.what, c.name)
	}
	v := Verify(made(t, 2, 0), log.Origin(logID)+"+00000000+AQ==")
	require.Contains(t, v.Problems[0].What, "not the key this home knows")
	other := Verify(made(t, 2, 0), log.Origin("ffffffffffffffff")+"+00000000+AQ==")
	require.Empty(t, other.Problems, "the reader knows another log's key")
	require.False(t, other.KeyKnown)
	require.True(t, Verify(made(t, 2, 0), made(t, 2, 0).Head.LogKey).KeyKnown)
}

// TestNumbersThatCameLate: an event held up somewhere may stand behind the next
// one of its device.
func TestNumbersThatCameLate(t *testing.T) {
	t.Parallel()
	x := made(t, 4, 0)
	numbers := map[number]*eventv1.Entry{}
	for _, l := range x.Lines {
		e := new(eventv1.Entry)
		require.NoError(t, proto.Unmarshal(l.Entry, e))
		numbers[number{e.GetDevice(), e.GetDeviceSeq()}] = e
	}
	slices.Reverse(x.Lines)
	v := &Verified{}
	v.chains(x, numbers)
	require.Empty(t, v.Problems)
	require.Empty(t, v.Remarks)
	delete(numbers, number{id(1), 1})
	v.chains(x, numbers)
	require.Empty(t, v.Problems)
	require.Len(t, v.Remarks, 1)
	numbers[number{id(1), 1}] = numbers[number{id(2), 1}]
	v.chains(x, numbers)
	require.Len(t, v.Problems, 1)
	require.Contains(t, v.Problems[0].What, "prev does not name")
}

func TestCutShort(t *testing.T) {
	t.Parallel()
	b := text(t, made(t, 4, 0))
	lines := bytes.SplitAfter(b, []byte("\n"))
	x, err := Read(bytes.NewReader(bytes.Join(lines[:4], nil)))
	require.NoError(t, err)
	v := Verify(x, "")
	require.Len(t, v.Problems, 1)
	require.Contains(t, v.Problems[0].What, "3 entries of 4")
}

func TestReadNamesTheLine(t *testing.T) {
	t.Parallel()
	whole := strings.Split(string(text(t, made(t, 3, 0))), "\n")
	for _, c := range []struct{ name, text, says string }{
		{"nothing", "", "line 1: the file is empty"},
		{"no export", "{}\n", "line 1: not an export this program reads"},
		{"a later version", `{"knowngood_export":2}` + "\n", "line 1: not an export this program reads"},
		{"no JSON", whole[0] + "\nabc\n", "line 2: not an entry of an export: column 1"},
		{"no base64", whole[0] + "\n" + `{"entry":"!!!"}` + "\n", "line 2: not an entry of an export"},
		{"a wrong type", whole[0] + "\n" + `{"entry":7}` + "\n", `line 2: not an entry of an export: field "entry" cannot hold a number`},
		{"no entry", whole[0] + "\n" + whole[1] + "\n" + `{"line":"note x"}` + "\n", `line 3: it has no "entry"`},
		{"too long", whole[0] + "\n" + strings.Repeat("x", maxLine+1), "line 2: longer than"},
	} {
		_, err := Read(strings.NewReader(c.text))
		require.ErrorContains(t, err, c.says, c.name)
	}
	// A last line without its end is read all the same.
	x, err := Read(strings.NewReader(strings.TrimSuffix(strings.Join(whole, "\n"), "\n")))
	require.NoError(t, err)
	require.Len(t, x.Lines, 3)
}

// FuzzRead: any file is read or refused without a panic, and what was read can be
// checked and written.
func FuzzRead(f *testing.F) {
	whole := text(f, made(f, 2, 1))
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add([]byte(`{"knowngood_export":1,"checkpoint":"x","log_key":"y"}` + "\n" + `{"entry":"CgE=","proof":["AA=="]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		x, err := Read(bytes.NewReader(b))
		if err != nil {
			return
		}
		Verify(x, "")
		out := text(t, x)
		again, err := Read(bytes.NewReader(out))
		require.NoError(t, err)
		require.Equal(t, string(out), string(text(t, again)))
	})
}
