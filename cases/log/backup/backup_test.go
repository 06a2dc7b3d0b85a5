package backup

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const logID = "00112233445566aa"

var key = ed25519.NewKeyFromSeed(bytes.Repeat([]byte{9}, ed25519.SeedSize))

// filled is a log of n invented entries in three streams and two feeds, one erased.
func filled(t testing.TB, n int) (*memory.Log, *log.Tree) {
	t.Helper()
	l := memory.New()
	tree, err := log.OpenTree(t.Context(), l, log.TreeConfig{Log: logID, Key: key, File: filepath.Join(t.TempDir(), "checkpoint")})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, tree.Close()) })
	seqs := map[string]uint64{}
	for i := range n {
		event := fmt.Appendf(nil, "event %d", i)
		hash := sha256.Sum256(event)
		stream := fmt.Sprint("stream ", i%3)
		seqs[stream]++
		entry, err := proto.Marshal(&eventv1.Entry{Log: logID, Index: uint64(i), Seq: seqs[stream], Stream: stream, EventHash: hash[:]})
		require.NoError(t, err)
		r := log.Record{Index: uint64(i), Stream: stream, Seq: seqs[stream], Entry: entry, Event: event, Feeds: []string{"a"}}
		if i%2 == 0 {
			r.Feeds = append(r.Feeds, "b")
		}
		_, err = tree.Append(t.Context(), log.Batch{Records: []log.Record{r}, Index: []log.Write{{Key: fmt.Sprint("k/", i), Value: []byte{byte(i)}}, {Key: "empty", Value: []byte{}}}})
		require.NoError(t, err)
	}
	if n > 4 {
		_, err = tree.Append(t.Context(), log.Batch{Erase: []uint64{4}})
		require.NoError(t, err)
	}
	return l, tree
}

func files(named ...string) iter.Seq2[File, error] {
	return func(yield func(File, error) bool) {
		for i := 0; i+1 < len(named); i += 2 {
			if !yield(File{named[i], strings.NewReader(named[i+1])}, nil) {
				return
			}
		}
	}
}

func written(t testing.TB, n int, named ...string) []byte {
	t.Helper()
	l, tree := filled(t, n)
	c, signed := tree.Checkpoint()
	logKey, err := note.NewEd25519VerifierKey(log.Origin(logID), key.Public().(ed25519.PublicKey))
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, Write(t.Context(), &b, l, Moment{
		Head: Head{logID, logKey, string(signed), time.Unix(1, 0).UTC()}, Size: c.Size, Feeds: []string{"b", "a", "none"},
		Index: l.Scan(t.Context(), ""), Files: files(named...),
	}))
	return b.Bytes()
}

// taken keeps what it is handed.
type taken struct {
	records []log.Record
	index   []log.Write
	files   map[string]string
	head    Head
}

func (k *taken) Head(h Head, _ log.Checkpoint) error { k.head = h; return nil }
func (k *taken) Record(r log.Record) error           { k.records = append(k.records, r); return nil }
func (k *taken) Index(w log.Write) error             { k.index = append(k.index, w); return nil }
func (k *taken) File(name string, at uint64, b []byte) error {
	if uint64(len(k.files[name])) != at {
		return errors.New("a gap")
	}
	k.files[name] += string(b)
	return nil
}

func TestWhatWasWrittenComesBack(t *testing.T) {
	t.Parallel()
	long := strings.Repeat("a long file ", 70_000)
	b := written(t, 9, "key.json", "{}", "files/ab/abcd", long, "empty", "")
	k := &taken{files: map[string]string{}}
	require.NoError(t, Read(bytes.NewReader(b), k))
	require.Equal(t, map[string]string{"key.json": "{}", "files/ab/abcd": long, "empty": ""}, k.files)
	require.Equal(t, logID, k.head.Log)
	l, _ := filled(t, 9)
	require.Len(t, k.records, 9)
	for item, err := range l.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		got := k.records[item.Index]
		require.Equal(t, item.Entry, got.Entry)
		require.Equal(t, string(item.Event), string(got.Event))
		want := []string{"a"}
		if item.Index%2 == 0 {
			want = append(want, "b")
		}
		require.Equal(t, want, got.Feeds)
	}
	require.Empty(t, k.records[4].Event, "erased")
	require.Len(t, k.index, 10)
	require.Equal(t, "empty", k.index[0].Key)
	require.NotNil(t, k.index[0].Value)

	k = &taken{files: map[string]string{}}
	require.NoError(t, Read(bytes.NewReader(written(t, 0)), k))
	require.Empty(t, k.records)
}

// TestEveryFlippedOrCutByteIsFound: each byte with a bit flipped, each cut, anything
// behind the end.
func TestEveryFlippedOrCutByteIsFound(t *testing.T) {
	t.Parallel()
	b := written(t, 6, "key.json", "{}")
	bit := rand.New(rand.NewPCG(1, 2))
	for at := range b {
		flipped := bytes.Clone(b)
		flipped[at] ^= 1 << bit.IntN(8)
		require.Error(t, Read(bytes.NewReader(flipped), &taken{files: map[string]string{}}), "byte %d", at)
		require.ErrorIs(t, Read(bytes.NewReader(b[:at]), &taken{files: map[string]string{}}), ErrDamaged, "cut at %d", at)
	}
	require.ErrorIs(t, Read(bytes.NewReader(append(b, 0)), &taken{files: map[string]string{}}), ErrDamaged)
	require.NoError(t, Read(bytes.NewReader(b), &taken{files: map[string]string{}}))
}

// sections takes a backup apart; sealed puts it together with the right sum, as
// somebody would who changed it on purpose.
func sections(b []byte) (out [][]byte) {
	for b = b[len(magic):]; len(b) > 0; {
		n := sectionHeader + int(binary.BigEndian.Uint32(b[1:]))
		out, b = append(out, bytes.Clone(b[:n])), b[n:]
	}
	return out[:len(out)-1]
}

func sealed(list [][]byte) []byte {
	b := append([]byte(magic), bytes.Join(list, nil)...)
	sum := sha256.Sum256(b)
	return append(append(b, kindEnd, 0, 0, 0, 32), sum[:]...)
}

func section(kind byte, payload []byte) []byte {
	return append(binary.BigEndian.AppendUint32([]byte{kind}, uint32(len(payload))), payload...)
}

func stretchOf(name string, at uint64, b string) []byte {
	p := append(binary.BigEndian.AppendUint16(nil, uint16(len(name))), name...)
	return section(kindFile, append(binary.BigEndian.AppendUint64(p, at), b...))
}

// TestChangedOnPurpose: a sum that fits does not make a backup.
func TestChangedOnPurpose(t *testing.T) {
	t.Parallel()
	list := sections(written(t, 6, "key.json", "{}"))
	require.Equal(t, "hfrrrrrriiiiiii", kinds(list))
	require.NoError(t, Read(bytes.NewReader(sealed(list)), &taken{files: map[string]string{}}))
	swap := func(i, j int) func([][]byte) [][]byte {
		return func(l [][]byte) [][]byte { l[i], l[j] = l[j], l[i]; return l }
	}
	insert := func(at int, s []byte) func([][]byte) [][]byte {
		return func(l [][]byte) [][]byte { return append(append(append([][]byte{}, l[:at]...), s), l[at:]...) }
	}
	for name, c := range map[string]struct {
		change func([][]byte) [][]byte
		what   string
	}{
		"no head":                {func(l [][]byte) [][]byte { return l[1:] }, "out of its order"},
		"nothing at all":         {func([][]byte) [][]byte { return nil }, "no head"},
		"two heads":              {func(l [][]byte) [][]byte { return append([][]byte{l[0]}, l...) }, "out of its order"},
		"a record left out":      {func(l [][]byte) [][]byte { return append(l[:3:3], l[4:]...) }, "stands where"},
		"the last left out":      {func(l [][]byte) [][]byte { return append(l[:7:7], l[8:]...) }, "5 entries of 6"},
		"two records exchanged":  {swap(3, 4), "stands where"},
		"a key behind its place": {swap(8, 9), "out of its order"},
		"a file behind":          {swap(1, 2), "out of its order"},
		"an unknown kind":        {insert(1, section('x', nil)), "kind 'x'"},
		"a file twice":           {insert(1, stretchOf("key.json", 0, "")), "comes twice"},
		"a file with a gap":      {insert(2, stretchOf("key.json", 3, "x")), "does not follow"},
		"a file upwards":         {insert(2, stretchOf("../key.json", 0, "x")), "no name of a file"},
		"a file by its root":     {insert(2, stretchOf("/etc/x", 0, "x")), "no name of a file"},
		"a file that hides":      {insert(2, stretchOf("a/.x", 0, "x")), "no name of a file"},
		"another event": {func(l [][]byte) [][]byte {
			l[2] = bytes.ReplaceAll(l[2], []byte("stream 0"), []byte("stream 1"))
			return l
		}, "not those that the checkpoint"},
		"a key of the tree's": {insert(8, section(kindIndex, []byte("\x0a\x02\x00b"))), "out of its order"},
	} {
		err := Read(bytes.NewReader(sealed(c.change(sections(written(t, 6, "key.json", "{}"))))), &taken{files: map[string]string{}})
		require.ErrorIs(t, err, ErrDamaged, name)
		require.ErrorContains(t, err, c.what, name)
	}
}

func kinds(list [][]byte) string {
	var b strings.Builder
	for _, s := range list {
		b.WriteByte(s[0])
	}
	return b.String()
}

// TestAnyBytes reads 10,000 inputs that once were a backup: no panic; without a sum
// that fits nothing is taken, and with one never another record than was written.
func TestAnyBytes(t *testing.T) {
	t.Parallel()
	whole := written(t, 6, "key.json", "{}", "files/ab/abcd", "bytes")
	original := &taken{files: map[string]string{}}
	require.NoError(t, Read(bytes.NewReader(whole), original))
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	read := 0
	for n := range 10_000 {
		b, k := mutated(random, whole), &taken{files: map[string]string{}}
		if n%2 == 0 {
			require.True(t, bytes.Equal(b, whole) || Read(bytes.NewReader(b), k) != nil, "input %d of seed %d", n, seed)
			continue
		}
		sum := sha256.Sum256(b)
		b = append(append(b, kindEnd, 0, 0, 0, 32), sum[:]...)
		if Read(bytes.NewReader(b), k) == nil {
			read++
			require.Len(t, k.records, len(original.records))
			for i, r := range k.records {
				require.Equal(t, original.records[i].Entry, r.Entry, "input %d of seed %d", n, seed)
			}
		}
	}
	t.Logf("%d of 5,000 with a sum that fits held", read)
}

func mutated(random *rand.Rand, whole []byte) []byte {
	b := bytes.Clone(whole)
	for range 1 + random.IntN(4) {
		at := random.IntN(len(b))
		switch random.IntN(4) {
		case 0:
			b[at] = byte(random.Uint32())
		case 1:
			b = b[:at+1]
		case 2:
			b = append(b[:at:at], b[min(at+random.IntN(40), len(b)):]...)
		case 3:
			b = append(b[:at:at], append(bytes.Clone(whole[:random.IntN(60)]), b[at:]...)...)
		}
		if len(b) == 0 {
			return []byte{1}
		}
	}
	return b
}

// FuzzRead: whatever comes, no panic.
func FuzzRead(f *testing.F) {
	f.Add(written(f, 6, "key.json", "{}"))
	f.Add([]byte(magic))
	f.Fuzz(func(_ *testing.T, b []byte) {
		_ = Read(bytes.NewReader(b), &taken{files: map[string]string{}})
	})
}
