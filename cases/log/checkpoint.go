package log

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"crypto/sha256"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Checkpoint is what a server signs of its log: so many entries, this root. Its
// text is a C2SP tlog-checkpoint (https://c2sp.org/tlog-checkpoint) with two
// extension lines; doc.go has it line by line.
type Checkpoint struct {
	// Log is the id of the log.
	Log string
	// Size is the number of entries, Root the RFC 6962 tree hash over them.
	Size uint64
	Root tlog.Hash
	// Epoch is 1 for a log that was never restored from a backup, and one more
	// with every restore. FromSize and FromRoot say what it began from: nothing,
	// or the tree that was restored.
	Epoch    uint64
	FromSize uint64
	FromRoot tlog.Hash
}

// ErrCheckpoint: the bytes are no checkpoint of this log signed by this server.
var ErrCheckpoint = errors.New("not a checkpoint of this log")

const originPrefix = "knowngood.example/log/"

// Origin is the first line of the checkpoints of a log, and the name of the key
// that signs them.
func Origin(logID string) string { return originPrefix + logID }

// Text is the note's text: what is signed.
func (c Checkpoint) Text() string {
	b64 := base64.StdEncoding.EncodeToString
	return fmt.Sprintf("%s\n%d\n%s\nepoch %d\nfrom %d %s\n",
		Origin(c.Log), c.Size, b64(c.Root[:]), c.Epoch, c.FromSize, b64(c.FromRoot[:]))
}

// ParseCheckpoint reads what Text wrote, and nothing else: no other spelling of
// a number, no further line. The error wraps ErrCheckpoint.
func ParseCheckpoint(text string) (Checkpoint, error) {
	fail := func(what string) (Checkpoint, error) {
		return Checkpoint{}, fmt.Errorf("%w: %s", ErrCheckpoint, what)
	}
	lines := strings.Split(text, "\n")
	if len(lines) != 6 || lines[5] != "" {
		return fail(fmt.Sprintf("%d lines, want 5, each ended", len(lines)-1))
	}
	var c Checkpoint
	var ok bool
	var err error
	if c.Log, ok = strings.CutPrefix(lines[0], originPrefix); !ok || c.Log == "" {
		return fail(fmt.Sprintf("line 1 is %q, want %s and the id of a log", lines[0], originPrefix))
	}
	if c.Size, err = strconv.ParseUint(lines[1], 10, 63); err != nil {
		return fail(fmt.Sprintf("line 2 is %q, want the size of the tree", lines[1]))
	}
	if c.Root, err = tlog.ParseHash(lines[2]); err != nil {
		return fail(fmt.Sprintf("line 3 is %q, want 32 bytes in base64", lines[2]))
	}
	epoch, ok := strings.CutPrefix(lines[3], "epoch ")
	if c.Epoch, err = strconv.ParseUint(epoch, 10, 63); !ok || err != nil || c.Epoch == 0 {
		return fail(fmt.Sprintf("line 4 is %q, want 'epoch' and a number from 1", lines[3]))
	}
	from, ok := strings.CutPrefix(lines[4], "from ")
	size, root, ok2 := strings.Cut(from, " ")
	if c.FromSize, err = strconv.ParseUint(size, 10, 63); !ok || !ok2 || err != nil {
		return fail(fmt.Sprintf("line 5 is %q, want 'from', a size and a root", lines[4]))
	}
	if c.FromRoot, err = tlog.ParseHash(root); err != nil {
		return fail(fmt.Sprintf("line 5 is %q, want 'from', a size and a root", lines[4]))
	}
	if c.Text() != text {
		return fail("a number or root is not in its plain form")
	}
	if c.FromSize > c.Size {
		return fail(fmt.Sprintf("size %d is below the %d its epoch began from", c.Size, c.FromSize))
	}
	return c, nil
}

// Sign signs the checkpoint as a note.
func (c Checkpoint) Sign(s note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: c.Text()}, s)
}

// OpenCheckpoint verifies a signed checkpoint and reads it. Signatures of others
// beside v's are let be. The error wraps ErrCheckpoint.
func OpenCheckpoint(signed []byte, v note.Verifier) (Checkpoint, error) {
	n, err := note.Open(signed, note.VerifierList(v))
	if err != nil {
		return Checkpoint{}, fmt.Errorf("%w: %w", ErrCheckpoint, err)
	}
	c, err := ParseCheckpoint(n.Text)
	if err == nil && Origin(c.Log) != v.Name() {
		err = fmt.Errorf("%w: it is of %s, the key of %s signed it", ErrCheckpoint, Origin(c.Log), v.Name())
	}
	return c, err
}

// The first byte of a note key says how it signs: 1 is Ed25519.
const noteEd25519 = 1

// Signer makes the note.Signer of a log from the server's Ed25519 key.
func Signer(logID string, key ed25519.PrivateKey) (note.Signer, error) {
	if len(key) != ed25519.PrivateKeySize {
		return nil, fmt.Errorf("a log is signed with an Ed25519 key of %d bytes, not %d", ed25519.PrivateKeySize, len(key))
	}
	public := append([]byte{noteEd25519}, key.Public().(ed25519.PublicKey)...)
	h := sha256.Sum256(append([]byte(Origin(logID)+"\n"), public...))
	secret := base64.StdEncoding.EncodeToString(append([]byte{noteEd25519}, key.Seed()...))
	s, err := note.NewSigner(fmt.Sprintf("PRIVATE+KEY+%s+%08x+%s", Origin(logID), binary.BigEndian.Uint32(h[:]), secret))
	if err != nil {
		// The error of the parser may show what it parsed.
		return nil, fmt.Errorf("the log id %q does not make a key's name: letters and digits only", logID)
	}
	return s, nil
}

// Verifier makes the note.Verifier of a log from the server's public key.
func Verifier(logID string, key ed25519.PublicKey) (note.Verifier, error) {
	vkey, err := note.NewEd25519VerifierKey(Origin(logID), key)
	if err != nil {
		return nil, fmt.Errorf("the key of log %q: %w", logID, err)
	}
	return note.NewVerifier(vkey)
}

// VerifyRecord checks that entry is the one of that index in the tree of c. The
// error wraps ErrProof.
func VerifyRecord(c Checkpoint, index uint64, entry []byte, proof tlog.RecordProof) error {
	if index >= c.Size {
		return fmt.Errorf("%w: index %d in a tree of %d", ErrProof, index, c.Size)
	}
	if err := tlog.CheckRecord(proof, int64(c.Size), c.Root, int64(index), tlog.RecordHash(entry)); err != nil {
		return fmt.Errorf("%w: index %d in a tree of %d: %w", ErrProof, index, c.Size, err)
	}
	return nil
}

// VerifyConsistency checks that the tree of later continues that of earlier. Both
// must be of one log; a later epoch must have begun at or after earlier's size:
// otherwise the error wraps ErrRestored, and a person must decide. Any other
// error wraps ErrProof.
func VerifyConsistency(earlier, later Checkpoint, proof tlog.TreeProof) error {
	switch {
	case earlier.Log != later.Log:
		return fmt.Errorf("%w: log %q does not continue log %q", ErrProof, later.Log, earlier.Log)
	case later.Epoch < earlier.Epoch:
		return fmt.Errorf("%w: epoch %d after epoch %d", ErrProof, later.Epoch, earlier.Epoch)
	case later.Epoch == earlier.Epoch && (later.FromSize != earlier.FromSize || later.FromRoot != earlier.FromRoot):
		return fmt.Errorf("%w: epoch %d began from two different trees, of %d and of %d", ErrProof, later.Epoch, earlier.FromSize, later.FromSize)
	case later.Epoch > earlier.Epoch && later.FromSize < earlier.Size:
		return fmt.Errorf("%w: epoch %d began from %d entries, %d were seen before", ErrRestored, later.Epoch, later.FromSize, earlier.Size)
	case later.Size < earlier.Size:
		return fmt.Errorf("%w: %d entries after %d", ErrProof, later.Size, earlier.Size)
	}
	empty, _ := tlog.TreeHash(0, nil)
	switch earlier.Size {
	case 0:
		if earlier.Root != empty {
			return fmt.Errorf("%w: the root of no entries is %v, not %v", ErrProof, empty, earlier.Root)
		}
		return nil
	case later.Size:
		if earlier.Root != later.Root {
			return fmt.Errorf("%w: two roots for %d entries, %v and %v", ErrProof, later.Size, earlier.Root, later.Root)
		}
		return nil
	}
	if err := tlog.CheckTree(proof, int64(later.Size), later.Root, int64(earlier.Size), earlier.Root); err != nil {
		return fmt.Errorf("%w: %d entries after %d: %w", ErrProof, later.Size, earlier.Size, err)
	}
	return nil
}

var (
	// ErrProof: the proof does not prove it.
	ErrProof = errors.New("not proven by the log's tree")
	// ErrRestored: the log was restored from a backup and is without entries that
	// were seen before.
	ErrRestored = errors.New("the log was restored to before what was seen")
)
