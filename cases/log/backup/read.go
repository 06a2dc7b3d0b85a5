package backup

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// ErrDamaged: the bytes are not a backup as it was written.
var ErrDamaged = errors.New("not a whole backup")

// Taker is handed what a backup holds, in the order in which it lies there. What it
// was given holds only once Read has returned without an error. An error of its own
// ends the reading.
type Taker interface {
	Head(h Head, c log.Checkpoint) error
	// File is the next stretch of a file; at 0 it begins.
	File(name string, at uint64, b []byte) error
	Record(r log.Record) error
	Index(w log.Write) error
}

// Is reports whether what begins like this is meant to be a backup.
func Is(begin []byte) bool { return bytes.HasPrefix(begin, []byte(magic)) }

// Read reads a backup and hands it on. An error that wraps ErrDamaged says what does
// not hold, and where.
func Read(from io.Reader, to Taker) error {
	r := &reader{from: bufio.NewReaderSize(from, 1<<16), hash: sha256.New(), to: to, names: map[string]bool{}}
	begin := make([]byte, len(magic))
	if err := r.full(begin); err != nil {
		return err
	}
	if !Is(begin) {
		return r.damaged("it does not begin with %q", magic)
	}
	for {
		sum := r.hash.Sum(nil)
		kind, payload, err := r.section()
		if err != nil {
			return err
		}
		if kind == kindEnd {
			return r.end(payload, sum)
		}
		if err := r.take(kind, payload); err != nil {
			return err
		}
	}
}

type reader struct {
	from  *bufio.Reader
	hash  hash.Hash
	at    int64 // bytes read
	to    Taker
	order int // how far the order of kinds has come

	checkpoint log.Checkpoint
	roots      log.Roots
	key        string // the last index key
	any        bool   // there was one
	names      map[string]bool
	name       string // of the file under way
	size       uint64 // how much of it came
}

func (r *reader) damaged(format string, args ...any) error {
	return fmt.Errorf("%w: before byte %d: %s", ErrDamaged, r.at, fmt.Sprintf(format, args...))
}

func (r *reader) full(b []byte) error {
	n, err := io.ReadFull(r.from, b)
	r.at += int64(n)
	r.hash.Write(b[:n])
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return r.damaged("it ends in the middle")
	}
	if err != nil {
		return fmt.Errorf("the backup cannot be read: %w", err)
	}
	return nil
}

func (r *reader) section() (kind byte, payload []byte, err error) {
	header := make([]byte, sectionHeader)
	if err := r.full(header); err != nil {
		return 0, nil, err
	}
	n := binary.BigEndian.Uint32(header[1:])
	if n > maxPayload {
		return 0, nil, r.damaged("a section of %d bytes; they have at most %d", n, maxPayload)
	}
	payload = make([]byte, n)
	return header[0], payload, r.full(payload)
}

// take holds a section against those before it and hands it on.
func (r *reader) take(kind byte, payload []byte) error {
	place := strings.IndexByte(string([]byte{kindHead, kindFile, kindRecord, kindIndex}), kind)
	switch {
	case place < 0:
		return r.damaged("a section of kind %q", kind)
	case place < r.order || kind != kindHead && r.order == 0 && r.checkpoint.Epoch == 0, kind == kindHead && r.checkpoint.Epoch > 0:
		return r.damaged("a section of kind %q out of its order", kind)
	}
	r.order = place
	switch kind {
	case kindHead:
		return r.head(payload)
	case kindFile:
		return r.file(payload)
	case kindRecord:
		return r.record(payload)
	}
	return r.index(payload)
}

func (r *reader) head(payload []byte) error {
	var h Head
	if err := json.Unmarshal(payload, &h); err != nil {
		return r.damaged("its head cannot be read: %v", err)
	}
	v, err := note.NewVerifier(h.LogKey)
	if err != nil {
		return r.damaged("the log's key cannot be read: %v", err)
	}
	if r.checkpoint, err = log.OpenCheckpoint([]byte(h.Checkpoint), v); err != nil {
		return r.damaged("%v", err)
	}
	if r.checkpoint.Log != h.Log {
		return r.damaged("it says it is of log %q and has a checkpoint of log %q", h.Log, r.checkpoint.Log)
	}
	return r.to.Head(h, r.checkpoint)
}

func (r *reader) file(payload []byte) error {
	if len(payload) < 2 || len(payload) < 10+int(binary.BigEndian.Uint16(payload)) {
		return r.damaged("a stretch of a file is too short")
	}
	n := int(binary.BigEndian.Uint16(payload))
	name, at, b := string(payload[2:2+n]), binary.BigEndian.Uint64(payload[2+n:]), payload[10+n:]
	if err := checkName(name); err != nil {
		return r.damaged("%v", err)
	}
	switch {
	case at == 0 && r.names[name]:
		return r.damaged("the file %s comes twice", name)
	case at == 0:
		r.name, r.size, r.names[name] = name, 0, true
	case name != r.name || at != r.size || len(b) == 0:
		return r.damaged("a stretch of %s from byte %d does not follow", name, at)
	}
	r.size += uint64(len(b))
	return r.to.File(name, at, b)
}

func (r *reader) record(payload []byte) error {
	m := new(boardv1.LogRecord)
	if err := proto.Unmarshal(payload, m); err != nil {
		return r.damaged("a record cannot be read: %v", err)
	}
	if m.GetIndex() != r.roots.Size() || m.GetIndex() >= r.checkpoint.Size {
		return r.damaged("the record of index %d stands where %d belongs, of %d", m.GetIndex(), r.roots.Size(), r.checkpoint.Size)
	}
	r.roots.Add(m.GetEntry())
	if r.roots.Size() == r.checkpoint.FromSize && r.roots.Root() != r.checkpoint.FromRoot {
		return r.damaged("the first %d entries are not those that the log's epoch %d began from", r.checkpoint.FromSize, r.checkpoint.Epoch)
	}
	out := log.Record{Index: m.GetIndex(), Stream: string(m.GetStream()), Seq: m.GetSeq(), Entry: m.GetEntry(), Event: m.GetEvent()}
	for _, f := range m.GetFeeds() {
		out.Feeds = append(out.Feeds, string(f))
	}
	return r.to.Record(out)
}

func (r *reader) index(payload []byte) error {
	m := new(boardv1.LogWrite)
	if err := proto.Unmarshal(payload, m); err != nil {
		return r.damaged("an index key cannot be read: %v", err)
	}
	key := string(m.GetKey())
	if r.any && key <= r.key || strings.HasPrefix(key, "\x00") {
		return r.damaged("the index key %q is out of its order", key)
	}
	r.key, r.any = key, true
	return r.to.Index(log.Write{Key: key, Value: append([]byte{}, m.GetValue()...)})
}

func (r *reader) end(payload, sum []byte) error {
	switch {
	case !bytes.Equal(payload, sum):
		return r.damaged("its SHA-256 is %x, and it says %x: some byte of it was changed", sum, payload)
	case r.checkpoint.Epoch == 0:
		return r.damaged("it has no head")
	case r.roots.Size() != r.checkpoint.Size:
		return r.damaged("it has %d entries of %d", r.roots.Size(), r.checkpoint.Size)
	case r.roots.Root() != r.checkpoint.Root:
		return r.damaged("its entries are not those that the checkpoint was signed over")
	}
	if _, err := r.from.ReadByte(); !errors.Is(err, io.EOF) {
		return r.damaged("something follows its end")
	}
	return nil
}
