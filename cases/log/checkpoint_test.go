package log_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/memory"
)

// naiveRoot is the tree head as RFC 6962 section 2.1 defines it, recursively and
// with nothing kept.
func naiveRoot(leaves [][]byte) [32]byte {
	switch len(leaves) {
	case 0:
		return sha256.Sum256(nil)
	case 1:
		return sha256.Sum256(append([]byte{0}, leaves[0]...))
	}
	k := naiveSplit(len(leaves))
	l, r := naiveRoot(leaves[:k]), naiveRoot(leaves[k:])
	return sha256.Sum256(append(append([]byte{1}, l[:]...), r[:]...))
}

// naiveSplit is the largest power of two below n.
func naiveSplit(n int) int {
	k := 1
	for 2*k < n {
		k *= 2
	}
	return k
}

// naivePath is the audit path of RFC 6962 section 2.1.1.
func naivePath(m int, leaves [][]byte) (path [][32]byte) {
	if len(leaves) == 1 {
		return nil
	}
	k := naiveSplit(len(leaves))
	if m < k {
		return append(naivePath(m, leaves[:k]), naiveRoot(leaves[k:]))
	}
	return append(naivePath(m-k, leaves[k:]), naiveRoot(leaves[:k]))
}

// naiveConsistency is the consistency proof of RFC 6962 section 2.1.2.
func naiveConsistency(m int, leaves [][]byte, whole bool) (proof [][32]byte) {
	if m == len(leaves) {
		if whole {
			return nil
		}
		return [][32]byte{naiveRoot(leaves)}
	}
	k := naiveSplit(len(leaves))
	if m <= k {
		return append(naiveConsistency(m, leaves[:k], whole), naiveRoot(leaves[k:]))
	}
	return append(naiveConsistency(m-k, leaves[k:], false), naiveRoot(leaves[:k]))
}

func hashes[T ~[]tlog.Hash](proof T) (out [][32]byte) {
	for _, h := range proof {
		out = append(out, h)
	}
	return out
}

// The roots come from testdata/published/rfc6962_roots.csv (RFC 6962 structure),
// the leaves with them.
func TestPublishedRoots(t *testing.T) {
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", "rfc6962_roots.csv"))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 10)
	var edge log.Frontier
	var leaves [][]byte
	for i, row := range rows[1:] {
		require.Equal(t, strconv.Itoa(i), row[0])
		if i > 0 {
			leaf, err := hex.DecodeString(row[1])
			require.NoError(t, err)
			leaves = append(leaves, leaf)
			edge.Push(tlog.RecordHash(leaf))
		}
		root := edge.Root()
		require.Equal(t, row[2], hex.EncodeToString(root[:]), "size %d", i)
		naive := naiveRoot(leaves)
		require.Equal(t, row[2], hex.EncodeToString(naive[:]), "size %d", i)
	}
}

// TestProofs compares every proof of every pair of sizes with the recursive
// definitions, and checks that each proves what it should and nothing beside.
func TestProofs(t *testing.T) {
	const most = 33
	dir, w, l := t.TempDir(), newWriter(), memory.New()
	tree := openTree(t, l, dir)
	defer tree.Close()
	var leaves [][]byte
	var checkpoints []log.Checkpoint
	for size := 0; size <= most; size++ {
		if size > 0 {
			b := w.batch(1)
			leaves = append(leaves, b.Records[0].Entry)
			_, err := tree.Append(t.Context(), b)
			require.NoError(t, err)
		}
		c, _ := tree.Checkpoint()
		require.EqualValues(t, naiveRoot(leaves), c.Root)
		checkpoints = append(checkpoints, c)
		for i := range size {
			proof, _, err := tree.Prove(t.Context(), uint64(i))
			require.NoError(t, err)
			require.Equal(t, naivePath(i, leaves), hashes(proof), "entry %d of %d", i, size)
			require.NoError(t, log.VerifyRecord(c, uint64(i), leaves[i], proof))
			require.ErrorIs(t, log.VerifyRecord(c, uint64(i), leaves[(i+1)%size], proof), proofError(size > 1))
			require.ErrorIs(t, log.VerifyRecord(c, uint64((i+1)%size), leaves[i], proof), proofError(size > 1))
			if len(proof) > 0 {
				proof[len(proof)/2][7] ^= 1
				require.ErrorIs(t, log.VerifyRecord(c, uint64(i), leaves[i], proof), log.ErrProof)
			}
		}
		for from := range checkpoints {
			earlier := checkpoints[from]
			proof, signed, err := tree.ProveConsistency(t.Context(), uint64(from))
			require.NoError(t, err)
			again, err := log.OpenCheckpoint(signed, tree.Verifier())
			require.NoError(t, err)
			require.Equal(t, c, again)
			if from > 0 {
				require.Equal(t, naiveConsistency(from, leaves, true), hashes(proof), "%d to %d", from, size)
			}
			require.NoError(t, log.VerifyConsistency(earlier, c, proof))
			other := earlier
			other.Root[3] ^= 1
			require.ErrorIs(t, log.VerifyConsistency(other, c, proof), log.ErrProof)
			if from > 0 && from < size {
				require.ErrorIs(t, log.VerifyConsistency(earlier, c, proof[1:]), log.ErrProof)
				require.ErrorIs(t, log.VerifyConsistency(c, earlier, proof), log.ErrProof)
			}
		}
	}
	_, _, err := tree.Prove(t.Context(), most)
	require.ErrorIs(t, err, log.ErrPlace)
	_, _, err = tree.ProveConsistency(t.Context(), most+1)
	require.ErrorIs(t, err, log.ErrPlace)
}

func proofError(wanted bool) error {
	if wanted {
		return log.ErrProof
	}
	return nil
}

func TestConsistencyAcrossEpochs(t *testing.T) {
	var edge log.Frontier
	var at []log.Checkpoint
	for i := range 10 {
		at = append(at, log.Checkpoint{Log: "l", Size: uint64(i), Root: edge.Root(), Epoch: 1, FromRoot: at0(edge, at)})
		edge.Push(tlog.RecordHash([]byte{byte(i)}))
	}
	restored := at[5]
	restored.Epoch, restored.FromSize, restored.FromRoot = 2, 5, at[5].Root
	require.NoError(t, log.VerifyConsistency(at[5], restored, nil))
	require.NoError(t, log.VerifyConsistency(at[0], restored, nil))
	require.ErrorIs(t, log.VerifyConsistency(at[6], restored, nil), log.ErrRestored)
	require.ErrorIs(t, log.VerifyConsistency(restored, at[6], nil), log.ErrProof, "back to an earlier epoch")
	second := restored
	second.FromSize, second.FromRoot = 4, at[4].Root
	require.ErrorIs(t, log.VerifyConsistency(restored, second, nil), log.ErrProof, "two beginnings of one epoch")
	foreign := at[5]
	foreign.Log = "other"
	require.ErrorIs(t, log.VerifyConsistency(at[5], foreign, nil), log.ErrProof)
}

func at0(edge log.Frontier, at []log.Checkpoint) tlog.Hash {
	if len(at) == 0 {
		return edge.Root()
	}
	return at[0].Root
}

func TestCheckpointText(t *testing.T) {
	var c log.Checkpoint
	c.Log, c.Size, c.Epoch, c.FromSize = logID, 3, 2, 1
	c.Root[0], c.FromRoot[31] = 1, 2
	text := "knowngood.example/log/00112233445566ff\n3\nAQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n" +
		"epoch 2\nfrom 1 AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAI=\n"
	require.Equal(t, text, c.Text())
	got, err := log.ParseCheckpoint(text)
	require.NoError(t, err)
	require.Equal(t, c, got)
	for name, bad := range map[string]string{
		"empty":               "",
		"a line more":         text + "more\n",
		"a line less":         text[:strings.Index(text, "epoch")],
		"no last newline":     text[:len(text)-1],
		"another origin":      strings.Replace(text, "knowngood.example", "example.com", 1),
		"no log":              strings.Replace(text, logID, "", 1),
		"leading zero":        strings.Replace(text, "\n3\n", "\n03\n", 1),
		"plus":                strings.Replace(text, "\n3\n", "\n+3\n", 1),
		"negative":            strings.Replace(text, "\n3\n", "\n-3\n", 1),
		"beyond 63 bits":      strings.Replace(text, "\n3\n", "\n9223372036854775808\n", 1),
		"short root":          strings.Replace(text, "AQAA", "", 1),
		"loose base64":        strings.Replace(text, "AAA=\nepoch", "AAB=\nepoch", 1),
		"epoch 0":             strings.Replace(text, "epoch 2", "epoch 0", 1),
		"no epoch":            strings.Replace(text, "epoch 2", "2", 1),
		"no from":             strings.Replace(text, "from 1 ", "1 ", 1),
		"from without root":   strings.Replace(text, "from 1 A", "from 1", 1)[:len(text)-44] + "\n",
		"from beyond size":    strings.Replace(text, "from 1", "from 4", 1),
		"carriage return":     strings.Replace(text, "\n3\n", "\n3\r\n", 1),
		"newline in the log":  strings.Replace(text, logID, "a\nb", 1),
		"two spaces in from":  strings.Replace(text, "from 1 ", "from 1  ", 1),
		"capital in keyword":  strings.Replace(text, "epoch", "Epoch", 1),
		"blank line in front": "\n" + text,
	} {
		_, err := log.ParseCheckpoint(bad)
		require.ErrorIs(t, err, log.ErrCheckpoint, name)
	}
}

func TestSignedCheckpoint(t *testing.T) {
	signer, err := log.Signer(logID, testKey())
	require.NoError(t, err)
	verifier, err := log.Verifier(logID, testKey().Public().(ed25519.PublicKey))
	require.NoError(t, err)
	require.Equal(t, verifier.KeyHash(), signer.KeyHash())
	c := log.Checkpoint{Log: logID, Size: 7, Epoch: 1}
	signed, err := c.Sign(signer)
	require.NoError(t, err)
	got, err := log.OpenCheckpoint(signed, verifier)
	require.NoError(t, err)
	require.Equal(t, c, got)

	for i := range signed {
		for bit := range 8 {
			bad := bytes.Clone(signed)
			bad[i] ^= 1 << bit
			got, err := log.OpenCheckpoint(bad, verifier)
			require.Error(t, err, "byte %d bit %d", i, bit)
			require.Zero(t, got)
		}
		_, err := log.OpenCheckpoint(signed[:i], verifier)
		require.ErrorIs(t, err, log.ErrCheckpoint, "cut at %d", i)
	}
	stranger := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{1}, ed25519.SeedSize))
	other, err := log.Verifier(logID, stranger.Public().(ed25519.PublicKey))
	require.NoError(t, err)
	_, err = log.OpenCheckpoint(signed, other)
	require.ErrorIs(t, err, log.ErrCheckpoint)

	// A second signature, as of a witness, changes nothing.
	witness, _, err := note.GenerateKey(nil, "witness")
	if err == nil {
		s, err := note.NewSigner(witness)
		require.NoError(t, err)
		n, err := note.Open(signed, note.VerifierList(verifier))
		require.NoError(t, err)
		both, err := note.Sign(n, s)
		require.NoError(t, err)
		_, err = log.OpenCheckpoint(both, verifier)
		require.NoError(t, err)
	}

	// The key of one log does not vouch for another.
	foreign := log.Checkpoint{Log: "another", Size: 7, Epoch: 1}
	signed, err = foreign.Sign(signer)
	require.NoError(t, err)
	_, err = log.OpenCheckpoint(signed, verifier)
	require.ErrorIs(t, err, log.ErrCheckpoint)

	_, err = log.Signer("no good", testKey())
	require.Error(t, err)
	require.NotContains(t, fmt.Sprint(err), "PRIVATE")
	_, err = log.Signer(logID, testKey()[:10])
	require.Error(t, err)
}

func FuzzCheckpoint(f *testing.F) {
	signer, err := log.Signer(logID, testKey())
	require.NoError(f, err)
	verifier, err := log.Verifier(logID, testKey().Public().(ed25519.PublicKey))
	require.NoError(f, err)
	c := log.Checkpoint{Log: logID, Size: 7, Epoch: 2, FromSize: 3}
	signed, err := c.Sign(signer)
	require.NoError(f, err)
	f.Add([]byte(c.Text()))
	f.Add(signed)
	f.Fuzz(func(t *testing.T, b []byte) {
		if c, err := log.ParseCheckpoint(string(b)); err == nil {
			require.Equal(t, string(b), c.Text())
		} else {
			require.ErrorIs(t, err, log.ErrCheckpoint)
		}
		if got, err := log.OpenCheckpoint(b, verifier); err == nil {
			require.Equal(t, c, got, "only what was signed opens")
		}
	})
}
