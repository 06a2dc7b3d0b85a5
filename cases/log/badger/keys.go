package badger

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"knowngood.example/cases/log"
)

// The first byte of a key says what it is. doc.go holds the whole layout.
const (
	kindEntry  = 'E'
	kindEvent  = 'V'
	kindErased = 'X'
	kindStream = 's'
	kindFeed   = 'f'
	kindIndex  = 'i'
	kindMeta   = 'm'
)

var (
	keySum    = []byte{kindMeta, 's'}
	keyFormat = []byte{kindMeta, 'f'}
	keyScrub  = []byte{kindMeta, 'x'}
)

// format is the value of keyFormat: the layout this package reads and writes.
const format = "knowngood log 1"

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

// entryValue packs what is kept of a record beside its event.
func entryValue(r log.Record) []byte {
	v := make([]byte, 0, 10+len(r.Stream)+len(r.Entry))
	v = binary.BigEndian.AppendUint64(v, r.Seq)
	v = binary.BigEndian.AppendUint16(v, uint16(len(r.Stream)))
	v = append(v, r.Stream...)
	return append(v, r.Entry...)
}

func splitEntry(place uint64, v []byte) (log.Record, error) {
	if len(v) < 10 || len(v) < 10+int(binary.BigEndian.Uint16(v[8:])) {
		return log.Record{}, fmt.Errorf("%w: the entry of index %d is cut short", log.ErrDamaged, place)
	}
	n := 10 + int(binary.BigEndian.Uint16(v[8:]))
	return log.Record{Index: place, Seq: binary.BigEndian.Uint64(v), Stream: string(v[10:n]), Entry: v[n:]}, nil
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
