package client

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Index keys of what proves the entries; doc.go has them.
const (
	keyProven  = "proven"
	prefixTile = "tile/"
)

// proven says how far the replica's entries were proven to be in the log.
type proven struct {
	// through is how many of the replica's records were looked at.
	through uint64
	// at is when, by this home's clock.
	at time.Time
	// signed is the checkpoint that they were proven to be under, tree the same, read.
	signed []byte
	tree   log.Checkpoint
}

// proven reads it; nil: nothing was proven yet.
func (h *Home) proven(ctx context.Context, logKey string) (*proven, error) {
	b, err := h.replica.Get(ctx, keyProven)
	if err != nil || b == nil {
		return nil, err
	}
	if len(b) < 16 {
		return nil, fmt.Errorf("%w: what was proven is %x, want 16 bytes and a checkpoint", log.ErrDamaged, b)
	}
	p := &proven{through: binary.BigEndian.Uint64(b), at: time.Unix(int64(binary.BigEndian.Uint64(b[8:])), 0), signed: b[16:]}
	if p.tree, err = export.OpenCheckpoint(p.signed, logKey); err != nil {
		return nil, fmt.Errorf("the checkpoint that this home's entries were proven under: %w", err)
	}
	return p, nil
}

func (p *proven) value() []byte {
	return append(binary.BigEndian.AppendUint64(numbered(p.through), uint64(p.at.Unix())), p.signed...)
}

// provenAtOnce is how many entries are proven and kept in one batch.
const provenAtOnce = 300

// Prove has the server prove that what it told lies in the log under the newest
// checkpoint that this home accepted, and keeps the hashes that prove it, so that
// they can be asked again with no server. It goes on where it was interrupted.
func (h *Home) Prove(ctx context.Context, who *Identity, c *Conn) error {
	signed, err := h.checkpoint()
	if err != nil || signed == nil {
		return err
	}
	tree, err := export.OpenCheckpoint(signed, who.LogKey)
	if err != nil {
		return err
	}
	generation, err := h.ledger().generation(ctx)
	if err != nil {
		return err
	}
	last, err := h.proven(ctx, who.LogKey)
	if err != nil {
		return err
	}
	now := &proven{at: h.now(), signed: signed, tree: tree}
	if last != nil {
		now.through = last.through
	}
	size, err := h.replica.Next(ctx, log.Range{})
	if err != nil || last != nil && last.tree == tree && last.through == size || tree.Size == 0 {
		return err
	}
	wrote := make(map[string]bool)
	for first := true; first || now.through < size; first = false {
		t := &tiles{ctx: ctx, log: h.replica, generation: generation, from: c, got: map[tileKey][]byte{}}
		entries, through, err := h.unproven(ctx, generation, now.through, tree.Size)
		if err != nil {
			return err
		}
		var edges []uint64
		if first {
			// What was at the edge of the tree when it was smaller is not there any more:
			// with the tiles that hold it, the proofs of all before lead to this tree.
			edges = append(edges, tree.Size-1)
			if last != nil && last.tree.Size > 0 {
				edges = append(edges, last.tree.Size-1)
			}
		}
		err = t.prove(tree, entries, edges)
		if errors.Is(err, ErrHistory) {
			// What is kept here may have rotted; what the server sends then fits.
			t.anew, t.got = true, map[tileKey][]byte{}
			err = t.prove(tree, entries, edges)
		}
		if err != nil {
			if status.Code(err) == codes.Unimplemented {
				return nil // an older server
			}
			return err
		}
		for _, e := range entries {
			wrote[e.device] = true
		}
		stuck := through == now.through && !first
		now.through = through
		err = h.locked("lock", func() error {
			return h.replica.Append(ctx, log.Batch{Index: append(t.writes(), log.Write{Key: keyProven, Value: now.value()})})
		})
		if err != nil {
			return err
		}
		if stuck {
			break
		}
	}
	return h.hearKeys(ctx, c, wrote)
}

// hearKeys asks for names and keys when one of the devices is not known here.
func (h *Home) hearKeys(ctx context.Context, c *Conn, wrote map[string]bool) error {
	known, err := h.Names()
	if err != nil {
		return err
	}
	for _, d := range known.Devices {
		delete(wrote, d.Device)
	}
	if len(wrote) == 0 {
		return nil
	}
	_, err = h.HearNames(ctx, c)
	return err
}

// ProveAnew has the next Prove begin at the first entry.
func (h *Home) ProveAnew() error {
	return h.locked("lock", func() error {
		return h.replica.Append(context.Background(), log.Batch{Index: []log.Write{{Key: keyProven}}})
	})
}

// leaf is an entry to be proven.
type leaf struct {
	index  uint64
	hash   tlog.Hash
	name   string
	device string
}

// unproven reads the next of the replica's entries from a place on that lie in a tree
// of so many, and how far it looked.
func (h *Home) unproven(ctx context.Context, generation, from, size uint64) (list []leaf, through uint64, err error) {
	through = from
	for item, err := range h.replica.Read(ctx, log.Range{From: from, Limit: provenAtOnce}) {
		if err != nil {
			return nil, 0, err
		}
		if strings.HasPrefix(item.Stream, told(generation, "")) {
			e := new(eventv1.Entry)
			if err := proto.Unmarshal(item.Entry, e); err != nil {
				return nil, 0, fmt.Errorf("%w: an entry cannot be read: %w", log.ErrDamaged, err)
			}
			if e.GetIndex() >= size {
				return list, through, nil // it came after the checkpoint
			}
			list = append(list, leaf{e.GetIndex(), tlog.RecordHash(item.Entry), fmt.Sprintf("entry %d of case %s", e.GetSeq(), e.GetStream()), e.GetDevice()})
		}
		through = item.Position + 1
	}
	return list, through, nil
}

// tiles reads the tiles of the log's tree that this home keeps; those that it does
// not keep come from the server, where there is one. It implements tlog.TileReader.
type tiles struct {
	ctx        context.Context
	log        log.Log
	generation uint64
	from       *Conn // nil: none
	// anew: what is kept is not looked at, since it does not fit the tree.
	anew bool
	got  map[tileKey][]byte
}

type tileKey struct {
	level  int
	number int64
}

// errNoTile: what would prove it is not here.
var errNoTile = errors.New("what proves it is not here yet: it comes with the next 'knowngood sync'")

func (k tileKey) in(generation uint64) string {
	return prefixTile + string(numbered(generation)) + string([]byte{byte(k.level)}) + string(numbered(uint64(k.number)))
}

// Height implements tlog.TileReader.
func (t *tiles) Height() int { return log.TileHeight }

// ReadTiles implements tlog.TileReader.
func (t *tiles) ReadTiles(list []tlog.Tile) ([][]byte, error) {
	out := make([][]byte, len(list))
	var missing []int
	req := &boardv1.TilesRequest{}
	for i, tile := range list {
		k := tileKey{tile.L, tile.N}
		b, err := t.got[k], error(nil)
		if b == nil && !t.anew {
			b, err = t.log.Get(t.ctx, k.in(t.generation))
		}
		switch {
		case err != nil:
			return nil, err
		case len(b) >= tile.W*tlog.HashSize: // what a tile has it keeps
			out[i] = b[:tile.W*tlog.HashSize]
		case t.from == nil:
			return nil, errNoTile
		default:
			missing = append(missing, i)
			req.Tiles = append(req.Tiles, &boardv1.Tile{Level: uint32(tile.L), Number: uint64(tile.N), Width: uint32(tile.W)})
		}
	}
	const atOnce = 1000
	for len(missing) > 0 {
		n := min(len(missing), atOnce)
		r, err := t.from.Tiles(t.ctx, &boardv1.TilesRequest{Tiles: req.Tiles[:n]})
		if err != nil {
			if status.Code(err) == codes.Unimplemented {
				return nil, err
			}
			return nil, Explain(err)
		}
		if len(r.GetTiles()) != n {
			return nil, fmt.Errorf("%w: of %d tiles it sent %d", ErrHistory, n, len(r.GetTiles()))
		}
		for j, b := range r.GetTiles() {
			out[missing[j]] = b
		}
		missing, req.Tiles = missing[n:], req.Tiles[n:]
	}
	return out, nil
}

// SaveTiles implements tlog.TileReader: what is saved was held against the tree.
func (t *tiles) SaveTiles(list []tlog.Tile, data [][]byte) {
	for i, tile := range list {
		if k := (tileKey{tile.L, tile.N}); len(data[i]) > len(t.got[k]) {
			t.got[k] = data[i]
		}
	}
}

// writes keeps the tiles that were got.
func (t *tiles) writes() (out []log.Write) {
	for k, b := range t.got {
		out = append(out, log.Write{Key: k.in(t.generation), Value: b})
	}
	return out
}

// prove gets what proves the entries in the tree and checks that it does. Of the edges
// only the tiles are got.
func (t *tiles) prove(tree log.Checkpoint, entries []leaf, edges []uint64) error {
	reader := tlog.TileHashReader(tlog.Tree{N: int64(tree.Size), Hash: tree.Root}, t)
	var wanted []int64
	seen := map[int64]bool{}
	want := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		for _, x := range indexes {
			if !seen[x] {
				seen[x] = true
				wanted = append(wanted, x)
			}
		}
		return make([]tlog.Hash, len(indexes)), nil
	})
	for _, e := range entries {
		if _, err := tlog.ProveRecord(int64(tree.Size), int64(e.index), want); err != nil {
			return err
		}
	}
	for _, e := range edges {
		if _, err := want.ReadHashes([]int64{tlog.StoredHashIndex(0, int64(e))}); err != nil {
			return err
		}
	}
	hashes, err := reader.ReadHashes(wanted)
	if err != nil {
		return t.why(err)
	}
	held := make(map[int64]tlog.Hash, len(wanted))
	for i, x := range wanted {
		held[x] = hashes[i]
	}
	for _, e := range entries {
		proof, err := tlog.ProveRecord(int64(tree.Size), int64(e.index), tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
			out := make([]tlog.Hash, len(indexes))
			for i, x := range indexes {
				out[i] = held[x]
			}
			return out, nil
		}))
		if err == nil {
			err = tlog.CheckRecord(proof, int64(tree.Size), tree.Root, int64(e.index), e.hash)
		}
		if err != nil {
			return fmt.Errorf("%w: %s is not in the log that it signed: %w; 'knowngood verify' says more", ErrHistory, e.name, err)
		}
	}
	return nil
}

// why keeps errors of reading apart from tiles that do not fit the tree.
func (t *tiles) why(err error) error {
	var no *Refusal
	switch {
	case errors.Is(err, errNoTile), errors.Is(err, ErrOffline), errors.Is(err, ErrHistory), errors.Is(err, log.ErrDamaged), errors.As(err, &no),
		errors.Is(err, context.Canceled), status.Code(err) == codes.Unimplemented:
		return err
	}
	return fmt.Errorf("%w: the hashes of its tree do not fit the checkpoint it signed: %w", ErrHistory, err)
}

// proof is what proves the entry of an index in the tree.
func (t *tiles) proof(tree log.Checkpoint, index uint64) ([][]byte, error) {
	p, err := tlog.ProveRecord(int64(tree.Size), int64(index), tlog.TileHashReader(tlog.Tree{N: int64(tree.Size), Hash: tree.Root}, t))
	out := make([][]byte, len(p))
	for i := range p {
		out[i] = p[i][:]
	}
	return out, err
}
