package badger

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"knowngood.example/cases/log"
)

// The first byte of a key says what it is. doc.go holds the whole layout.
const (
	kindRecord = 'r'
	kindPlace  = 'p'
	kindFeed   = 'f'
	kindErased = 'x'
	kindIndex  = 'i'
	kindMeta   = 'm'
)

var (
	keySum    = []byte{kindMeta, 's'}
	keyFormat = []byte{kindMeta, 'f'}
	keyScrub  = []byte{kindMeta, 'x'}
)

// format is the value of keyFormat: the layout this package reads and writes.
const format = "knowngood log 2"

// placeKey is the key of what belongs to one place in the log.
func placeKey(kind byte, place uint64) []byte {
	return binary.BigEndian.AppendUint64(append(make([]byte, 0, 9), kind), place)
}

// namePrefix begins the keys of one stream or feed. The length in front keeps a
// name from being taken for the beginning of another.
func namePrefix(kind byte, name string) []byte {
	key := binary.BigEndian.AppendUint16(append(make([]byte, 0, 11+len(name)), kind), uint16(len(name)))
	return append(key, name...)
}

func positionKey(kind byte, name string, position uint64) []byte {
	return binary.BigEndian.AppendUint64(namePrefix(kind, name), position)
}

func indexKey(key string) []byte {
	return append([]byte{kindIndex}, key...)
}

// splitPosition undoes positionKey.
func splitPosition(key []byte) (name string, position uint64, err error) {
	if len(key) < 11 || len(key) != 11+int(binary.BigEndian.Uint16(key[1:])) {
		return "", 0, fmt.Errorf("%w: the key %q names no position", log.ErrDamaged, key)
	}
	return string(key[3 : len(key)-8]), binary.BigEndian.Uint64(key[len(key)-8:]), nil
}

// recordValue packs a record: all but its stream and seq, which its key says.
func recordValue(r log.Record) []byte {
	v := make([]byte, 0, 14+len(r.Tree)+len(r.Entry)+len(r.Event))
	v = binary.BigEndian.AppendUint64(v, r.Index)
	v = binary.BigEndian.AppendUint16(v, uint16(len(r.Tree)))
	v = append(v, r.Tree...)
	v = binary.BigEndian.AppendUint32(v, uint32(len(r.Entry)))
	v = append(v, r.Entry...)
	return append(v, r.Event...)
}

// splitRecord undoes recordValue. The record shares the bytes of v.
func splitRecord(stream string, seq uint64, v []byte) (log.Record, error) {
	short := func() (log.Record, error) {
		return log.Record{}, fmt.Errorf("%w: the record of seq %d of %q is cut short", log.ErrDamaged, seq, stream)
	}
	if len(v) < 10 {
		return short()
	}
	r := log.Record{Index: binary.BigEndian.Uint64(v), Stream: stream, Seq: seq}
	n := int(binary.BigEndian.Uint16(v[8:]))
	if v = v[10:]; len(v) < n+4 {
		return short()
	}
	r.Tree, v = some(v[:n]), v[n:]
	m := int(binary.BigEndian.Uint32(v))
	if v = v[4:]; len(v) < m {
		return short()
	}
	r.Entry, r.Event = v[:m:m], some(v[m:])
	return r, nil
}

func some(b []byte) []byte {
	if len(b) == 0 {
		return nil
	}
	return b[:len(b):len(b)]
}

// spotValue says where a record lies: the value of a place and of a feed's
// number.
func spotValue(stream string, seq uint64) []byte {
	return append(binary.BigEndian.AppendUint64(make([]byte, 0, 8+len(stream)), seq), stream...)
}

func splitSpot(v []byte) (stream string, seq uint64, ok bool) {
	if len(v) <= 8 {
		return "", 0, false
	}
	return string(v[8:]), binary.BigEndian.Uint64(v), true
}

// sum digests a set of keys and values: the SHA-256 of each pair, added up as
// four 64-bit numbers, so that it can follow every write without reading the
// rest and does not depend on order. It finds damage; it does not withstand
// somebody who rewrites the database on purpose, which the signed tree is for.
type sum [4]uint64

func pairHash(key, value []byte) sum {
	buf := make([]byte, 0, 512)
	buf = binary.BigEndian.AppendUint32(buf, uint32(len(key)))
	buf = append(buf, key...)
	buf = append(buf, value...)
	h := sha256.Sum256(buf)
	var s sum
	for i := range s {
		s[i] = binary.BigEndian.Uint64(h[8*i:])
	}
	return s
}

func (s *sum) add(o sum) {
	for i := range s {
		s[i] += o[i]
	}
}

func (s *sum) remove(o sum) {
	for i := range s {
		s[i] -= o[i]
	}
}

func (s sum) bytes() []byte {
	b := make([]byte, 0, 32)
	for _, n := range s {
		b = binary.BigEndian.AppendUint64(b, n)
	}
	return b
}
