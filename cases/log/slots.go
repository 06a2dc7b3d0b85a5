package log

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// CheckpointFile keeps the last signed checkpoint beside the log, synced by
// itself, in two slots written in turn: while one is written the other holds the
// checkpoint before. doc.go has the file byte by byte.
type CheckpointFile struct {
	f    *os.File
	path string
	// Slots as they were read at open or written last.
	slots [2]slot
}

// slot is one of the two.
type slot struct {
	state slotState
	kept  Kept
}

type slotState int

const (
	slotUnreadable slotState = iota // something is there, and not what was written
	slotBlank                       // zeros: never written
	slotWhole
)

// Kept is what a slot holds.
type Kept struct {
	// Batch counts the batches of the log up to the checkpoint.
	Batch uint64
	// Note is the signed checkpoint.
	Note []byte
}

const (
	slotSize   = 4096 // a page, and at least a sector: two slots never share one
	slotHeader = 20
	slotMagic  = "kgcheck1"
	maxNote    = slotSize - slotHeader - sha256.Size
)

// CreateCheckpointFile makes the file with a first checkpoint, of batch 0. It
// must not be there yet.
func CreateCheckpointFile(path string, first []byte) (*CheckpointFile, error) {
	if _, err := os.Lstat(path); !errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("the checkpoint file %s is there already (%w)", path, errors.Join(err, os.ErrExist))
	}
	page, err := encodeSlot(Kept{Note: first})
	if err != nil {
		return nil, err
	}
	// Written under another name and renamed, so that half a file is never found.
	// Nobody else makes one: the engine that is open beside it is locked.
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return nil, fmt.Errorf("the checkpoint file cannot be made: %w", err)
	}
	_, err = f.Write(append(page, make([]byte, slotSize)...))
	if err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = os.Rename(temporary, path)
	}
	if err == nil {
		err = syncDir(filepath.Dir(path))
	}
	if err != nil {
		return nil, fmt.Errorf("the checkpoint file %s cannot be made: %w", path, errors.Join(err, f.Close()))
	}
	return &CheckpointFile{f: f, path: path, slots: [2]slot{{slotWhole, Kept{Note: bytes.Clone(first)}}, {state: slotBlank}}}, nil
}

// OpenCheckpointFile opens the file. The error wraps os.ErrNotExist when there
// is none, and ErrDamaged when neither slot can be read.
func OpenCheckpointFile(path string) (*CheckpointFile, error) {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return nil, fmt.Errorf("the checkpoint file: %w", err)
	}
	b, err := io.ReadAll(io.LimitReader(f, 2*slotSize+1))
	if err != nil {
		return nil, fmt.Errorf("the checkpoint file %s: %w", path, errors.Join(err, f.Close()))
	}
	slots, err := decodeSlots(b)
	if err != nil {
		return nil, fmt.Errorf("the checkpoint file %s: %w; restore the log from a backup", path, errors.Join(err, f.Close()))
	}
	return &CheckpointFile{f: f, path: path, slots: slots}, nil
}

// Last returns what the file holds, and whether the slot to be written next is
// sound: unsound is what an interrupted write leaves, and what damage leaves.
func (c *CheckpointFile) Last() (last Kept, sound bool) {
	return lastKept(c.slots)
}

// Put replaces the older slot with k, whose batch must be one more than the last
// one's, and returns once it is synced. After an error the file must be opened
// again.
func (c *CheckpointFile) Put(k Kept) error {
	if last, _ := c.Last(); k.Batch != last.Batch+1 {
		return fmt.Errorf("the checkpoint of batch %d cannot follow that of batch %d", k.Batch, last.Batch)
	}
	page, err := encodeSlot(k)
	if err != nil {
		return err
	}
	at := k.Batch % 2
	if _, err := c.f.WriteAt(page, int64(at)*slotSize); err != nil {
		return fmt.Errorf("writing the checkpoint: %w", err)
	}
	if err := syncData(c.f); err != nil {
		return fmt.Errorf("syncing the checkpoint: %w", err)
	}
	c.slots[at] = slot{slotWhole, k}
	return nil
}

// Path is where the file lies.
func (c *CheckpointFile) Path() string { return c.path }

// Close closes the file. Nothing waits to be written.
func (c *CheckpointFile) Close() error { return c.f.Close() }

func encodeSlot(k Kept) ([]byte, error) {
	if len(k.Note) > maxNote {
		return nil, fmt.Errorf("a checkpoint of %d bytes does not fit a slot of %d", len(k.Note), maxNote)
	}
	b := make([]byte, 0, slotSize)
	b = append(b, slotMagic...)
	b = binary.BigEndian.AppendUint64(b, k.Batch)
	b = binary.BigEndian.AppendUint32(b, uint32(len(k.Note)))
	b = append(b, k.Note...)
	b = append(b, make([]byte, slotSize-sha256.Size-len(b))...)
	h := sha256.Sum256(b)
	return append(b, h[:]...), nil
}

func decodeSlot(b []byte) slot {
	if bytes.Equal(b, make([]byte, slotSize)) {
		return slot{state: slotBlank}
	}
	body := b[:slotSize-sha256.Size]
	if h := sha256.Sum256(body); !bytes.Equal(h[:], b[len(body):]) || !bytes.HasPrefix(b, []byte(slotMagic)) {
		return slot{}
	}
	n := binary.BigEndian.Uint32(b[16:])
	if n > maxNote {
		return slot{}
	}
	return slot{slotWhole, Kept{
		Batch: binary.BigEndian.Uint64(b[8:]),
		Note:  bytes.Clone(b[slotHeader : slotHeader+int(n)]),
	}}
}

// decodeSlots reads the file's bytes. Slots that are each whole but cannot have
// been written one after the other are damage.
func decodeSlots(b []byte) ([2]slot, error) {
	var s [2]slot
	if len(b) != 2*slotSize {
		return s, fmt.Errorf("%w: %d bytes or more, want %d", ErrDamaged, len(b), 2*slotSize)
	}
	s[0], s[1] = decodeSlot(b[:slotSize]), decodeSlot(b[slotSize:])
	for i, x := range s {
		if x.state == slotWhole && x.kept.Batch%2 != uint64(i) {
			return s, fmt.Errorf("%w: slot %d holds batch %d", ErrDamaged, i, x.kept.Batch)
		}
	}
	if s[0].state != slotWhole && s[1].state != slotWhole {
		return s, fmt.Errorf("%w: neither slot can be read", ErrDamaged)
	}
	last, _ := lastKept(s)
	other := s[(last.Batch+1)%2]
	switch {
	case other.state == slotWhole && other.kept.Batch+1 != last.Batch:
		return s, fmt.Errorf("%w: the slots hold batches %d and %d, which do not follow each other", ErrDamaged, other.kept.Batch, last.Batch)
	case other.state == slotBlank && last.Batch != 0:
		return s, fmt.Errorf("%w: a slot is blank after batch %d", ErrDamaged, last.Batch)
	}
	return s, nil
}

func lastKept(s [2]slot) (last Kept, sound bool) {
	for _, x := range s {
		if x.state == slotWhole && x.kept.Batch >= last.Batch {
			last = x.kept
		}
	}
	return last, s[(last.Batch+1)%2].state != slotUnreadable
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
