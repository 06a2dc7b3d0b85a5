package backup

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

const (
	magic = "knowngood copy 1"

	kindHead   = 'h'
	kindFile   = 'f'
	kindRecord = 'r'
	kindIndex  = 'i'
	kindEnd    = 'e'

	sectionHeader = 5
	maxPayload    = 1 << 20
	stretch       = 256 << 10
	maxName       = 1 << 10
)

// Head says of which log the backup is, and of which moment.
type Head struct {
	Log        string    `json:"log"`
	LogKey     string    `json:"log_key"`
	Checkpoint string    `json:"checkpoint"`
	Made       time.Time `json:"made"`
}

// Moment is what a backup is of: a log between two batches.
type Moment struct {
	Head Head
	// Size is the size of the checkpoint in Head.
	Size uint64
	// Feeds that records of the log may have joined.
	Feeds []string
	// Index yields the index as it stood then.
	Index iter.Seq2[log.Write, error]
	// Files are of the data folder.
	Files iter.Seq2[File, error]
}

// File is a file of the data folder, with its bytes until the next one is asked for.
type File struct {
	Name string
	io.Reader
}

// Write writes a backup. Without an error it is whole.
func Write(ctx context.Context, to io.Writer, l log.Log, m Moment) error {
	w := &writer{to: bufio.NewWriterSize(to, 1<<16), hash: sha256.New()}
	w.write([]byte(magic))
	head, err := json.Marshal(m.Head)
	if err != nil {
		return fmt.Errorf("the head of the backup: %w", err)
	}
	w.section(kindHead, head)
	for f, err := range m.Files {
		if err != nil {
			return err
		}
		if err := w.file(f); err != nil {
			return err
		}
	}
	if err := w.records(ctx, l, m); err != nil {
		return err
	}
	for x, err := range m.Index {
		if err != nil {
			return err
		}
		if !strings.HasPrefix(x.Key, "\x00") {
			w.message(kindIndex, &boardv1.LogWrite{Key: []byte(x.Key), Value: x.Value})
		}
	}
	w.section(kindEnd, w.hash.Sum(nil))
	if err := errors.Join(w.err, w.to.Flush()); err != nil {
		return fmt.Errorf("the backup cannot be written: %w", err)
	}
	return nil
}

// writer remembers the first error.
type writer struct {
	to   *bufio.Writer
	hash hash.Hash
	err  error
}

func (w *writer) write(b []byte) {
	if w.err == nil {
		w.hash.Write(b)
		_, w.err = w.to.Write(b)
	}
}

func (w *writer) section(kind byte, payload ...[]byte) {
	n := 0
	for _, p := range payload {
		n += len(p)
	}
	if n > maxPayload && w.err == nil {
		w.err = fmt.Errorf("%d bytes in one section", n)
	}
	w.write(binary.BigEndian.AppendUint32([]byte{kind}, uint32(n)))
	for _, p := range payload {
		w.write(p)
	}
}

func (w *writer) message(kind byte, m proto.Message) {
	b, err := proto.Marshal(m)
	if err != nil && w.err == nil {
		w.err = err
	}
	w.section(kind, b)
}

func (w *writer) file(f File) error {
	if err := checkName(f.Name); err != nil {
		return err
	}
	name := append(binary.BigEndian.AppendUint16(nil, uint16(len(f.Name))), f.Name...)
	b := make([]byte, stretch)
	for at := uint64(0); w.err == nil; {
		n, err := io.ReadFull(f, b)
		if n > 0 || at == 0 {
			w.section(kindFile, name, binary.BigEndian.AppendUint64(nil, at), b[:n])
		}
		at += uint64(n)
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return w.err
}

// records writes the records, each with the feeds it joined: all feeds are read side
// by side with the log.
func (w *writer) records(ctx context.Context, l log.Log, m Moment) error {
	type feed struct {
		name string
		next uint64 // index of its next record
		more bool
		read func() (log.Item, error, bool)
	}
	var feeds []*feed
	step := func(f *feed) (err error) {
		item, err, more := f.read()
		f.next, f.more = item.Index, more
		return err
	}
	for _, name := range slices.Sorted(slices.Values(m.Feeds)) {
		f := &feed{name: name}
		read, stop := iter.Pull2(l.Read(ctx, log.Range{Feed: name}))
		defer stop()
		f.read = func() (log.Item, error, bool) { return read() }
		if err := step(f); err != nil {
			return err
		}
		feeds = append(feeds, f)
	}
	if m.Size == 0 {
		return w.err
	}
	n := uint64(0)
	for item, err := range l.Read(ctx, log.Range{}) {
		if err != nil {
			return err
		}
		r := &boardv1.LogRecord{Index: item.Index, Stream: []byte(item.Stream), Seq: item.Seq, Entry: item.Entry, Event: item.Event}
		for _, f := range feeds {
			if f.more && f.next == item.Index {
				r.Feeds = append(r.Feeds, []byte(f.name))
				if err := step(f); err != nil {
					return err
				}
			}
		}
		w.message(kindRecord, r)
		if n++; n == m.Size || w.err != nil {
			return w.err
		}
	}
	return fmt.Errorf("%w: the log ends after %d entries, its checkpoint has %d", log.ErrDamaged, n, m.Size)
}

// checkName refuses a name that could lie outside the folder, or hide in it.
func checkName(name string) error {
	if len(name) > maxName || strings.ContainsAny(name, "\\\x00:") {
		return fmt.Errorf("%q is no name of a file of the data folder", name)
	}
	for _, element := range strings.Split(name, "/") {
		if element == "" || element[0] == '.' {
			return fmt.Errorf("%q is no name of a file of the data folder", name)
		}
	}
	return nil
}
