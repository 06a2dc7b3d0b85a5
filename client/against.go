package client

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"hash"
	"path"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/export"
	"knowngood.example/cases/log"
	"knowngood.example/cases/log/backup"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const differently = "either the file was changed by somebody with the log's key, or the server tells two histories: ask whoever runs it, and keep both"

// Against holds an export of the log that this home knows against what this home was
// told of it: the entries, and the tree.
func (h *Home) Against(ctx context.Context, who *Identity, x *export.Export) ([]export.Problem, error) {
	var out []export.Problem
	i := 0
	err := h.Held(ctx, x.Head.Case, func(entry, _ []byte) error {
		if i < len(x.Lines) && !bytes.Equal(x.Lines[i].Entry, entry) {
			out = append(out, export.Problem{Line: i + 2, What: "this home was told another entry in this place", Says: differently})
		}
		i++
		return nil
	})
	if err != nil {
		return nil, err
	}
	last, err := h.proven(ctx, who.LogKey)
	if err != nil || last == nil {
		return out, err
	}
	theirs, err := export.OpenCheckpoint([]byte(x.Head.Checkpoint), who.LogKey)
	if err != nil {
		return out, nil //nolint:nilerr // Verify has said so
	}
	earlier, later := theirs, last.tree
	if older(later, earlier) {
		earlier, later = later, earlier
	}
	var p tlog.TreeProof
	if 0 < earlier.Size && earlier.Size < later.Size {
		if later != last.tree {
			return out, nil // of a tree that this home knows nothing of
		}
		generation, err := h.ledger().generation(ctx)
		if err != nil {
			return nil, err
		}
		t := &tiles{ctx: ctx, log: h.replica, generation: generation, got: map[tileKey][]byte{}}
		p, err = tlog.ProveTree(int64(later.Size), int64(earlier.Size), tlog.TileHashReader(tlog.Tree{N: int64(later.Size), Hash: later.Root}, t))
		if err != nil {
			return out, nil //nolint:nilerr // what would prove it is not all here
		}
	}
	if err := log.VerifyConsistency(earlier, later, p); err != nil {
		out = append(out, export.Problem{Line: 1, What: fmt.Sprintf("its checkpoint does not go together with the one this home accepted: %v", err), Says: differently})
	}
	return out, nil
}

// BackupCheck checks each entry of a backup as it is read: the event's bytes, the
// signature of the device, whose key must stand in a register of the same log, and the
// tree, against a checkpoint that was seen before. It implements backup.Taker.
type BackupCheck struct {
	// LogKey and Seen are the log's key and the last signed checkpoint that the reader
	// knows; empty: none.
	LogKey string
	Seen   []byte

	// Of is the head of what was read, Checkpoint its checkpoint.
	Of         backup.Head
	Checkpoint log.Checkpoint

	seen     *log.Checkpoint
	roots    log.Roots
	file     string // the one that comes
	hash     hash.Hash
	keys     map[string]ed25519.PublicKey
	waiting  []log.Record // written before their device's key was
	problems []export.Problem
}

// Known reports whether the reader knew the log's key.
func (c *BackupCheck) Known() bool { return c.LogKey != "" && c.LogKey == c.Of.LogKey }

// Head implements backup.Taker.
func (c *BackupCheck) Head(h backup.Head, at log.Checkpoint) error {
	c.Of, c.Checkpoint, c.keys = h, at, make(map[string]ed25519.PublicKey)
	if !c.Known() || len(c.Seen) == 0 {
		return nil
	}
	v, err := note.NewVerifier(c.LogKey)
	if err != nil {
		return fmt.Errorf("the log's key cannot be read: %w", err)
	}
	seen, err := log.OpenCheckpoint(c.Seen, v)
	if err != nil {
		return fmt.Errorf("the checkpoint this home kept: %w", err)
	}
	c.seen = &seen
	return nil
}

// File implements backup.Taker. An attachment's file lies under its SHA-256.
func (c *BackupCheck) File(name string, at uint64, b []byte) error {
	if at == 0 {
		c.endFile()
		c.file, c.hash = name, sha256.New()
	}
	c.hash.Write(b)
	return nil
}

// endFile holds the file that has come against its name.
func (c *BackupCheck) endFile() {
	if dir, sum := path.Split(c.file); c.file != "" && strings.HasPrefix(dir, fileParts+"/") && hex.EncodeToString(c.hash.Sum(nil)) != sum {
		c.problems = append(c.problems, export.Problem{
			What: fmt.Sprintf("the file %s has the SHA-256 %x", c.file, c.hash.Sum(nil)),
			Says: "it was changed, or rotted, at the server before the backup was made: whoever attached it has it in their home still",
		})
	}
	c.file = ""
}

// Index implements backup.Taker.
func (c *BackupCheck) Index(log.Write) error { return nil }

// Record implements backup.Taker.
func (c *BackupCheck) Record(r log.Record) error {
	c.roots.Add(r.Entry)
	if s := c.seen; s != nil && s.Size == c.roots.Size() && s.Root != c.roots.Root() {
		c.problems = append(c.problems, export.Problem{
			Line: int(s.Size), What: fmt.Sprintf("up to here it is not the log of %d entries that this home accepted", s.Size), Says: differently,
		})
	}
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(r.Entry, e); err != nil {
		c.problems = append(c.problems, export.Problem{Line: int(r.Index + 1), What: fmt.Sprintf("entry cannot be read: %v", err)})
		return nil
	}
	if e.GetKind() == kindDeviceAdded {
		if o, err := envelope.Open(r.Event); err == nil && o.Hash == [32]byte(e.GetEventHash()) {
			d := o.Event.GetDeviceAdded()
			c.keys[d.GetDevice()] = d.GetPublicKey()
		}
	}
	if c.keys[e.GetDevice()] == nil {
		c.waiting = append(c.waiting, r)
		return nil
	}
	return c.stand(r)
}

const kindDeviceAdded = 182

func (c *BackupCheck) stand(r log.Record) error {
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(r.Entry, e); err != nil {
		return err
	}
	for _, p := range export.Stand(e, r.Event, c.keys[e.GetDevice()], "device "+e.GetDevice(), &c.Checkpoint, true) {
		p.Line = int(r.Index + 1)
		p.What = fmt.Sprintf("entry %d of %s: %s", e.GetSeq(), e.GetStream(), p.What)
		c.problems = append(c.problems, p)
	}
	return nil
}

// Problems is what does not hold, by place in the log, once all was read.
func (c *BackupCheck) Problems() []export.Problem {
	c.endFile()
	for _, r := range c.waiting {
		e := new(eventv1.Entry)
		_ = proto.Unmarshal(r.Entry, e) // it was read before
		if c.keys[e.GetDevice()] == nil {
			c.problems = append(c.problems, export.Problem{Line: int(r.Index + 1), What: fmt.Sprintf("entry %d of %s: no register of the log has the key of device %s", e.GetSeq(), e.GetStream(), e.GetDevice())})
			continue
		}
		_ = c.stand(r)
	}
	c.waiting = nil
	return c.problems
}

// Said is how the backup lies to what the reader saw before.
func (c *BackupCheck) Said() string {
	switch s := c.seen; {
	case s == nil:
		return "this home knows no checkpoint of this log to hold it against"
	case s.Size > c.Checkpoint.Size:
		return fmt.Sprintf("this home saw %d entries: %d are not in it", s.Size, s.Size-c.Checkpoint.Size)
	}
	return fmt.Sprintf("it has the %d entries that this home saw", c.seen.Size)
}
