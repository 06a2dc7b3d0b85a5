package log

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"runtime"

	"crypto/ed25519"

	"golang.org/x/mod/sumdb/tlog"
)

// OpenTree reads the whole log, hashes it again, and compares it with the tree
// hashes kept with it and with the checkpoint kept beside it. What it accepts
// and refuses, and why, is in doc.go; a refusal wraps ErrDamaged or
// ErrCheckpoint. A log without a batch and without a checkpoint file is new, and
// gets its first checkpoint.
func OpenTree(ctx context.Context, l Log, c TreeConfig) (_ *Tree, err error) {
	t := &Tree{log: l, id: c.Log}
	if t.signer, err = Signer(c.Log, c.Key); err != nil {
		return nil, err
	}
	if t.verifier, err = Verifier(c.Log, c.Key.Public().(ed25519.PublicKey)); err != nil {
		return nil, err
	}
	if t.batch, err = t.storedBatch(ctx); err != nil {
		return nil, err
	}
	t.file, err = OpenCheckpointFile(c.File)
	if errors.Is(err, fs.ErrNotExist) {
		t.file, err = t.create(ctx, c.File)
	}
	if err != nil {
		return nil, err
	}
	if err := t.load(ctx); err != nil {
		return nil, errors.Join(err, t.file.Close())
	}
	// An engine may keep what it found until it is known to be whole.
	if e, ok := l.(interface{ Accept() error }); ok {
		if err := e.Accept(); err != nil {
			return nil, errors.Join(err, t.file.Close())
		}
	}
	return t, nil
}

// storedBatch is the number of batches the engine holds.
func (t *Tree) storedBatch(ctx context.Context) (uint64, error) {
	b, err := t.log.Get(ctx, batchKey)
	switch {
	case err != nil:
		return 0, err
	case b == nil:
		return 0, nil
	case len(b) != 8:
		return 0, refuse("the number of batches is %x, want 8 bytes", b)
	}
	return binary.BigEndian.Uint64(b), nil
}

func refuse(format string, a ...any) error {
	return fmt.Errorf("%w: %s; the log does not start, restore it from a backup", ErrDamaged, fmt.Sprintf(format, a...))
}

// create makes the checkpoint file of a log in which nothing is.
func (t *Tree) create(ctx context.Context, path string) (*CheckpointFile, error) {
	size, err := t.log.Next(ctx, Range{})
	if err != nil {
		return nil, err
	}
	for _, err := range t.log.Scan(ctx, "") {
		if err != nil {
			return nil, err
		}
		return nil, refuse("there is no checkpoint file %s, but the log holds %d batches with %d entries", path, t.batch, size)
	}
	if size != 0 {
		return nil, refuse("there is no checkpoint file %s, but the log holds %d entries", path, size)
	}
	empty := (&frontier{}).root()
	signed, err := Checkpoint{Log: t.id, Root: empty, Epoch: 1, FromRoot: empty}.Sign(t.signer)
	if err != nil {
		return nil, err
	}
	return CreateCheckpointFile(path, signed)
}

func (t *Tree) load(ctx context.Context) error {
	last, sound := t.file.Last()
	c, err := OpenCheckpoint(last.Note, t.verifier)
	if err != nil {
		return fmt.Errorf("the checkpoint file %s: %w: damaged, or of another log, or signed with another key; start with the key it was made with, or restore from a backup", t.file.Path(), err)
	}
	size, err := t.log.Next(ctx, Range{})
	if err != nil {
		return err
	}
	switch {
	case t.batch < last.Batch:
		return refuse("the log ends after batch %d with %d entries, but batch %d with entries up to %d was acknowledged: %d batches are lost",
			t.batch, size, last.Batch, c.Size, last.Batch-t.batch)
	case t.batch > last.Batch+1:
		return refuse("the log holds %d batches with %d entries, but the checkpoint file %s ends with batch %d and %d entries: it is of an earlier time, or a slot of it is damaged",
			t.batch, size, t.file.Path(), last.Batch, c.Size)
	case t.batch == last.Batch && !sound:
		// A slot is written only after its batch was synced, so an interrupted write
		// leaves a log that is one batch ahead. This one is not: either the batch was
		// lost with its checkpoint, or a slot has rotted, and nobody can tell which.
		return refuse("a slot of the checkpoint file %s cannot be read, and the log does not hold the batch %d that an interrupted write would have left: it may be lost",
			t.file.Path(), last.Batch+1)
	case t.batch == last.Batch && size != c.Size, size < c.Size:
		return refuse("the log holds %d entries, the checkpoint of its batch %d was signed over %d", size, last.Batch, c.Size)
	}
	if err := t.rehash(ctx, size, c); err != nil {
		return err
	}
	t.checkpoint, t.note = c, last.Note
	if t.batch == last.Batch {
		return nil
	}
	// The last batch was synced, its checkpoint not: it was never acknowledged, but
	// may have been read. It stands.
	t.checkpoint.Size, t.checkpoint.Root = size, t.edge.root()
	if t.note, err = t.checkpoint.Sign(t.signer); err != nil {
		return err
	}
	return t.file.Put(Kept{Batch: t.batch, Note: t.note})
}

// rehash builds the tree again from the entries and compares it with what is
// stored: the hashes kept with them, the roots the checkpoint names.
func (t *Tree) rehash(ctx context.Context, size uint64, c Checkpoint) error {
	seqs := make(map[string]uint64)
	roots := func() error {
		for _, want := range []struct {
			size uint64
			root tlog.Hash
			what string
		}{{c.FromSize, c.FromRoot, "its epoch began from"}, {c.Size, c.Root, "was signed"}} {
			if t.edge.size == want.size && t.edge.root() != want.root {
				return refuse("the first %d entries have the root %v, the checkpoint says that %v %s", want.size, t.edge.root(), want.root, want.what)
			}
		}
		return nil
	}
	if err := roots(); err != nil {
		return err
	}
	for block := range t.blocks(ctx, size) {
		if block.err != nil {
			return block.err
		}
		for _, x := range block.leaves {
			if seqs[x.stream]++; x.seq != seqs[x.stream] {
				return refuse("index %d has seq %d of stream %q, want %d", t.edge.size, x.seq, x.stream, seqs[x.stream])
			}
			place := t.edge.size
			if !bytes.Equal(x.tree, joinHashes(t.edge.push(x.hash))) {
				return refuse("the entry of index %d does not have the hash kept in the tree", place)
			}
			if err := roots(); err != nil {
				return err
			}
		}
	}
	if t.edge.size != size {
		return refuse("%d entries could be read of %d", t.edge.size, size)
	}
	return nil
}

// leaf is what building the tree needs of a record.
type leaf struct {
	hash   tlog.Hash
	tree   []byte
	stream string
	seq    uint64
}

type block struct {
	leaves []leaf
	err    error
}

const blockSize = 2048

// blocks reads and checks the records on all cores and yields them in order.
func (t *Tree) blocks(ctx context.Context, size uint64) iter.Seq[block] {
	return func(yield func(block) bool) {
		ctx, cancel := context.WithCancel(ctx)
		defer cancel()
		var under []chan block
		from := uint64(0)
		for from < size || len(under) > 0 {
			for from < size && len(under) <= runtime.GOMAXPROCS(0) {
				out, r := make(chan block, 1), Range{From: from, Limit: blockSize}
				go func() { out <- t.block(ctx, r) }()
				under = append(under, out)
				from += blockSize
			}
			b := <-under[0]
			under = under[1:]
			if !yield(b) {
				break
			}
		}
		// Nobody reads the log any more when this returns.
		cancel()
		for _, out := range under {
			<-out
		}
	}
}

func (t *Tree) block(ctx context.Context, r Range) block {
	var b block
	for item, err := range t.log.Read(ctx, r) {
		if err != nil {
			return block{err: err}
		}
		if want := r.From + uint64(len(b.leaves)); item.Index != want || item.Position != want {
			return block{err: refuse("index %d stands where %d should", item.Index, want)}
		}
		if err := checkEntry(t.id, item.Record); err != nil {
			return block{err: refuse("%v", err)}
		}
		b.leaves = append(b.leaves, leaf{tlog.RecordHash(item.Entry), item.Tree, item.Stream, item.Seq})
	}
	return b
}
