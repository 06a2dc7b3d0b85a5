package log_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/log/memory"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const logID = "00112233445566ff"

// testKey is the same in every run, so that what a child process signs its
// parent can read.
func testKey() ed25519.PrivateKey { return ed25519.NewKeyFromSeed(make([]byte, ed25519.SeedSize)) }

func treeConfig(dir string) log.TreeConfig {
	return log.TreeConfig{Log: logID, Key: testKey(), File: filepath.Join(dir, "checkpoint")}
}

// writer makes records as a committer would.
type writer struct {
	size uint64
	seqs map[string]uint64
}

func newWriter() *writer { return &writer{seqs: make(map[string]uint64)} }

func (w *writer) record(stream string, event []byte, feeds ...string) log.Record {
	w.seqs[stream]++
	h := sha256.Sum256(event)
	r := log.Record{Index: w.size, Stream: stream, Seq: w.seqs[stream], Event: event, Feeds: feeds}
	w.size++
	entry, err := proto.MarshalOptions{Deterministic: true}.Marshal(&eventv1.Entry{
		Log: logID, Index: r.Index, Seq: r.Seq, Stream: stream, Id: fmt.Sprintf("id-%d", r.Index), EventHash: h[:],
		Signature: make([]byte, 64), Device: "019a0000-0000-7000-8000-000000000001", DeviceSeq: r.Seq, Prev: h[:],
		Person: "019a0000-0000-7000-8000-000000000002", Shop: "019a0000-0000-7000-8000-000000000003", Kind: 111,
	})
	if err != nil {
		panic(err)
	}
	r.Entry = entry
	return r
}

func (w *writer) batch(n int) log.Batch {
	var b log.Batch
	for i := range n {
		r := w.record(fmt.Sprintf("case-%d", i%3), fmt.Appendf(nil, "event %d", w.size), "shop")
		b.Records = append(b.Records, r)
		b.Index = append(b.Index, log.Write{Key: fmt.Sprintf("id/%d", r.Index), Value: []byte("here")})
	}
	return b
}

func openBadger(t testing.TB, dir string) *badger.Log {
	t.Helper()
	l, err := badger.Open(filepath.Join(dir, "badger"), badger.Options{})
	require.NoError(t, err)
	return l
}

func openTree(t testing.TB, l log.Log, dir string) *log.Tree {
	t.Helper()
	tree, err := log.OpenTree(t.Context(), l, treeConfig(dir))
	require.NoError(t, err)
	return tree
}

func TestTreeOverEngines(t *testing.T) {
	for name, open := range map[string]func(testing.TB, string) log.Log{
		"memory": func(testing.TB, string) log.Log { return memory.New() },
		"badger": func(t testing.TB, dir string) log.Log { return openBadger(t, dir) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir, w := t.TempDir(), newWriter()
			l := open(t, dir)
			tree := openTree(t, l, dir)
			var signed []byte
			var err error
			for i := range 40 {
				signed, err = tree.Append(t.Context(), w.batch(i%5))
				require.NoError(t, err)
			}
			c, err := log.OpenCheckpoint(signed, tree.Verifier())
			require.NoError(t, err)
			require.Equal(t, w.size, c.Size)
			for item, err := range l.Read(t.Context(), log.Range{}) {
				require.NoError(t, err)
				proof, signed, err := tree.Prove(t.Context(), item.Index)
				require.NoError(t, err)
				c, err := log.OpenCheckpoint(signed, tree.Verifier())
				require.NoError(t, err)
				require.NoError(t, log.VerifyRecord(c, item.Index, item.Entry, proof))
				require.ErrorIs(t, log.VerifyRecord(c, item.Index+1, item.Entry, proof), log.ErrProof)
				require.ErrorIs(t, log.VerifyRecord(c, item.Index, item.Entry[1:], proof), log.ErrProof)
			}
			require.NoError(t, tree.Close())
			if name == "badger" {
				require.NoError(t, l.Close())
				l = open(t, dir)
			}
			tree = openTree(t, l, dir)
			again, signedAgain := tree.Checkpoint()
			require.Equal(t, c, again)
			require.Equal(t, signed, signedAgain)
			_, err = tree.Append(t.Context(), w.batch(3))
			require.NoError(t, err)
			require.NoError(t, tree.Close())
			require.NoError(t, l.Close())
		})
	}
}
