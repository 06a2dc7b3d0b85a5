package server

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"strings"
)

// Index keys, as doc.go lays them out.
const (
	prefixID      = "id/"
	prefixNumber  = "number/"
	prefixOwn     = "own/"
	prefixRefused = "refused/"
	prefixToken   = "token/"
	prefixCode    = "code/"
	prefixPerson  = "person/"
	prefixTwice   = "twice/"
	prefixFile    = "file/"
	prefixTablet  = "tablet/"
)

// feedAccess holds everything that says who may do what: registers, openings,
// hand-offs, grants and withdrawals. It is what the server reads when it starts.
const feedAccess = "access"

// feedOf names the feed of a shop.
func feedOf(shop string) string { return "shop/" + shop }

// raw is the 16 bytes of a UUID as the envelope lets it in.
func raw(id string) string {
	b, err := hex.DecodeString(strings.ReplaceAll(id, "-", ""))
	if err != nil {
		return id // never: ids are checked before they come here
	}
	return string(b)
}

func idKey(stream, id string) string { return prefixID + raw(stream) + raw(id) }

// placed is the value under an id key: seq, kind and hash of the event.
type placed struct {
	seq  uint64
	kind uint32
	hash [sha256.Size]byte
}

func (p placed) value() []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, 0, 12+sha256.Size), p.seq)
	return append(binary.BigEndian.AppendUint32(b, p.kind), p.hash[:]...)
}

func readPlaced(b []byte) (p placed, ok bool) {
	if len(b) != 12+sha256.Size {
		return placed{}, false
	}
	p.seq, p.kind = binary.BigEndian.Uint64(b), binary.BigEndian.Uint32(b[8:])
	copy(p.hash[:], b[12:])
	return p, true
}

func numberKey(stream, device string, number uint64) string {
	return string(binary.BigEndian.AppendUint64([]byte(prefixNumber+raw(stream)+raw(device)), number))
}

// numbered is the value under a number key: the hash of the event's bytes, and
// the hash it names as the one before.
type numbered struct{ hash, prev string }

func (n numbered) value() []byte { return []byte(n.hash + n.prev) }

func readNumbered(b []byte) (numbered, bool) {
	if len(b) != sha256.Size && len(b) != 2*sha256.Size {
		return numbered{}, false
	}
	return numbered{hash: string(b[:sha256.Size]), prev: string(b[sha256.Size:])}, true
}

// ownKey holds the number and hash of the server's own last event in a stream.
func ownKey(stream string) string { return prefixOwn + raw(stream) }

func refusedKey(hash []byte) string { return prefixRefused + string(hash) }

func tokenKey(token string) string {
	h := sha256.Sum256([]byte(token))
	return prefixToken + string(h[:])
}

func fileKey(stream string, sha256 []byte) string { return prefixFile + raw(stream) + string(sha256) }

// named is the value under a file key: the file's size, and whether it was erased.
type named struct {
	size   uint64
	erased bool
}

func (n named) value() []byte {
	b := binary.BigEndian.AppendUint64(nil, n.size)
	if n.erased {
		b = append(b, 1)
	}
	return b
}

func readNamed(b []byte) (named, bool) {
	if len(b) != 8 && len(b) != 9 {
		return named{}, false
	}
	return named{binary.BigEndian.Uint64(b), len(b) == 9}, true
}

func personKey(person string) string { return prefixPerson + raw(person) }
