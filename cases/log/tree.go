package log

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TreeConfig says whose tree it is.
type TreeConfig struct {
	// Log is the id of the log, which every entry bears.
	Log string
	// Key signs the checkpoints.
	Key ed25519.PrivateKey
	// File is the path of the checkpoint file. It belongs beside the engine's
	// directory, not in it.
	File string
}

// Tree is the one way to append to a log that others must be able to trust: it
// keeps the Merkle tree over the entries in the same batch as the entries, and
// acknowledges a batch only when a signed checkpoint over it is synced.
// Everything appended must go through it; reading may go straight to the Log.
type Tree struct {
	log      Log
	id       string
	signer   note.Signer
	verifier note.Verifier
	file     *CheckpointFile

	append sync.Mutex // held by the append under way; guards what follows
	edge   frontier
	batch  uint64
	broken error

	state      sync.RWMutex
	checkpoint Checkpoint
	note       []byte
}

// Index keys that begin with a zero byte are the tree's own.
const (
	ownPrefix = "\x00"
	batchKey  = "\x00b"
)

// Unknown says whether an error of Append leaves open if the batch was kept. If
// not, nothing was.
func Unknown(err error) bool {
	for _, known := range []error{nil, ErrPlace, ErrTooBig, ErrFull, ErrClosed, errRefused, context.Canceled, context.DeadlineExceeded} {
		if errors.Is(err, known) {
			return false
		}
	}
	return true
}

// errRefused marks what is refused before anything was written.
var errRefused = errors.New("refused")

// Append commits the batch with its tree hashes, then the checkpoint over it,
// and returns the signed checkpoint once both would survive a power cut. An
// error for which Unknown is true ends appending: open the tree again to learn
// whether the batch was kept.
func (t *Tree) Append(ctx context.Context, b Batch) ([]byte, error) {
	return t.commit(ctx, b, 0)
}

// BeginEpoch begins an epoch, of a higher number than the one before, from the tree
// as it stands, and returns the signed checkpoint that says so once it would survive
// a power cut. It is what follows a restore from a backup.
func (t *Tree) BeginEpoch(ctx context.Context, epoch uint64) ([]byte, error) {
	if c, _ := t.Checkpoint(); epoch <= c.Epoch {
		return nil, fmt.Errorf("%w: epoch %d cannot follow epoch %d", errRefused, epoch, c.Epoch)
	}
	return t.commit(ctx, Batch{}, epoch)
}

// commit is Append; epoch is 0, or the one that begins, of which a batch with nothing
// in it is the first.
func (t *Tree) commit(ctx context.Context, b Batch, epoch uint64) ([]byte, error) {
	t.append.Lock()
	defer t.append.Unlock()
	if t.broken != nil {
		return nil, fmt.Errorf("%w: the log takes nothing more until it is opened again: %w", errRefused, t.broken)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if epoch == 0 && len(b.Records) == 0 && len(b.Index) == 0 && len(b.Erase) == 0 {
		_, signed := t.Checkpoint()
		return signed, nil
	}
	edge := t.edge.clone()
	index := make([]Write, 0, len(b.Index)+1)
	for _, w := range b.Index {
		if strings.HasPrefix(w.Key, ownPrefix) {
			return nil, fmt.Errorf("%w: index key %q begins with a zero byte, which is the tree's own", errRefused, w.Key)
		}
		index = append(index, w)
	}
	records := slices.Clone(b.Records)
	for i, r := range records {
		if r.Index != edge.size {
			return nil, fmt.Errorf("%w: record %d of the batch has index %d, want %d", ErrPlace, i, r.Index, edge.size)
		}
		if err := checkEntry(t.id, r); err != nil {
			return nil, fmt.Errorf("%w: %w", errRefused, err)
		}
		records[i].Tree = joinHashes(edge.push(tlog.RecordHash(r.Entry)))
	}
	index = append(index, Write{batchKey, binary.BigEndian.AppendUint64(nil, t.batch+1)})
	b.Records, b.Index = records, index

	next := t.checkpoint
	if epoch > 0 {
		next.Epoch, next.FromSize, next.FromRoot = epoch, next.Size, next.Root
	}
	next.Size, next.Root = edge.size, edge.root()
	// Signing takes as long as a tenth of a commit, and need not wait for it.
	type signature struct {
		note []byte
		err  error
	}
	signing := make(chan signature, 1)
	go func() {
		signed, err := next.Sign(t.signer)
		signing <- signature{signed, err}
	}()
	// The context was asked above; once a commit may be under way it has no say.
	err := t.log.Append(context.WithoutCancel(ctx), b)
	signed := <-signing
	if err != nil {
		if Unknown(err) {
			t.broken = err
		}
		return nil, err
	}
	if err := errors.Join(signed.err, t.file.Put(Kept{Batch: t.batch + 1, Note: signed.note})); err != nil {
		t.broken = err
		return nil, fmt.Errorf("the batch is kept, its checkpoint may not be: %w", err)
	}
	t.edge, t.batch = edge, t.batch+1
	t.state.Lock()
	t.checkpoint, t.note = next, signed.note
	t.state.Unlock()
	return signed.note, nil
}

// checkEntry says whether the entry's bytes agree with the record they are
// kept in, and with the event's bytes where there are any.
func checkEntry(logID string, r Record) error {
	var e eventv1.Entry
	if err := proto.Unmarshal(r.Entry, &e); err != nil {
		return fmt.Errorf("index %d: the entry cannot be read: %w", r.Index, err)
	}
	if e.Log != logID || e.Index != r.Index || e.Stream != r.Stream || e.Seq != r.Seq {
		return fmt.Errorf("index %d: the entry is of log %q, index %d, seq %d of stream %q; it stands in log %q, index %d, seq %d of stream %q",
			r.Index, e.Log, e.Index, e.Seq, e.Stream, logID, r.Index, r.Seq, r.Stream)
	}
	if len(r.Event) > 0 {
		if h := sha256.Sum256(r.Event); string(h[:]) != string(e.EventHash) {
			return fmt.Errorf("index %d: the event's bytes have the SHA-256 %x, the entry says %x", r.Index, h, e.EventHash)
		}
	}
	return nil
}

func joinHashes(hs []tlog.Hash) []byte {
	b := make([]byte, 0, len(hs)*tlog.HashSize)
	for _, h := range hs {
		b = append(b, h[:]...)
	}
	return b
}

// Checkpoint returns the last checkpoint, as a value and as the signed note.
func (t *Tree) Checkpoint() (Checkpoint, []byte) {
	t.state.RLock()
	defer t.state.RUnlock()
	return t.checkpoint, t.note
}

// Verifier verifies the tree's checkpoints.
func (t *Tree) Verifier() note.Verifier { return t.verifier }

// Prove returns the proof that the entry of that index is in the tree of the
// signed checkpoint returned with it. See VerifyRecord.
func (t *Tree) Prove(ctx context.Context, index uint64) (tlog.RecordProof, []byte, error) {
	c, signed := t.Checkpoint()
	p, err := t.ProveIn(ctx, c, index)
	return p, signed, err
}

// ProveIn is Prove in the tree of an earlier checkpoint of this log.
func (t *Tree) ProveIn(ctx context.Context, c Checkpoint, index uint64) (tlog.RecordProof, error) {
	if index >= c.Size {
		return nil, fmt.Errorf("%w: index %d of a log of %d entries", ErrPlace, index, c.Size)
	}
	return tlog.ProveRecord(int64(c.Size), int64(index), t.hashes(ctx))
}

// ProveConsistency returns the proof that the tree of the signed checkpoint
// returned with it continues the tree of the first from entries; it is empty
// when from is 0 or all of them. See VerifyConsistency.
func (t *Tree) ProveConsistency(ctx context.Context, from uint64) (tlog.TreeProof, []byte, error) {
	c, signed := t.Checkpoint()
	if from > c.Size {
		return nil, nil, fmt.Errorf("%w: %d entries of a log of %d", ErrPlace, from, c.Size)
	}
	p, err := t.ProveBetween(ctx, from, c.Size)
	return p, signed, err
}

// ProveBetween returns the proof that the first to entries continue the first
// from; it is empty when from is 0 or to.
func (t *Tree) ProveBetween(ctx context.Context, from, to uint64) (tlog.TreeProof, error) {
	c, _ := t.Checkpoint()
	if from > to || to > c.Size {
		return nil, fmt.Errorf("%w: from %d to %d of a log of %d", ErrPlace, from, to, c.Size)
	}
	if from == 0 || from == to {
		return nil, nil
	}
	return tlog.ProveTree(int64(to), int64(from), t.hashes(ctx))
}

// TileHeight is the height of the tiles that whoever proves entries by themselves
// keeps (golang.org/x/mod/sumdb/tlog): 16 hashes of a level. Lower ones would be more
// in number; of higher ones somebody with few entries among many would keep more
// that they do not need.
const TileHeight = 4

// Tile returns the first width hashes of a tile. The error wraps ErrPlace when the
// tree has no such tile.
func (t *Tree) Tile(ctx context.Context, level uint32, number uint64, width uint32) ([]byte, error) {
	c, _ := t.Checkpoint()
	if width == 0 || width > 1<<TileHeight || level >= 64/TileHeight || number > c.Size || number<<TileHeight+uint64(width) > c.Size>>(TileHeight*level) {
		return nil, fmt.Errorf("%w: a tree of %d has no tile %d of level %d with %d hashes", ErrPlace, c.Size, number, level, width)
	}
	return tlog.ReadTileData(tlog.Tile{H: TileHeight, L: int(level), N: int64(number), W: int(width)}, t.hashes(ctx))
}

// hashes reads the stored hashes: each lies with the record that completed it.
func (t *Tree) hashes(ctx context.Context) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			level, n := tlog.SplitStoredHashIndex(index)
			place := uint64(n+1)<<level - 1
			var b []byte
			for item, err := range t.log.Read(ctx, Range{From: place, Limit: 1}) {
				if err != nil {
					return nil, err
				}
				b = item.Tree
			}
			if len(b) < (level+1)*tlog.HashSize {
				return nil, fmt.Errorf("%w: the tree hash of level %d at index %d is missing", ErrDamaged, level, place)
			}
			copy(out[i][:], b[level*tlog.HashSize:])
		}
		return out, nil
	})
}

// Close closes the checkpoint file, once the append under way is done. The Log
// stays open.
func (t *Tree) Close() error {
	t.append.Lock()
	defer t.append.Unlock()
	if errors.Is(t.broken, ErrClosed) {
		return nil
	}
	t.broken = ErrClosed
	return t.file.Close()
}
