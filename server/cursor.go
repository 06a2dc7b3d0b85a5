package server

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/hex"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// cursor says how far somebody has read a stream or a feed: everything before
// position. doc.go has it byte by byte.
type cursor struct {
	log      string // 16 hexadecimal digits
	epoch    uint64
	position uint64
	// name of what is read.
	name string
}

const (
	cursorVersion = 1
	cursorSize    = 1 + 8 + 4 + 8 + 8
)

var cursorText = base64.RawURLEncoding.Strict()

func nameTag(name string) []byte {
	h := sha256.Sum256([]byte(name))
	return h[:4]
}

func (c cursor) String() string { return c.series()(c.position) }

// series makes the cursors of one reader, which differ in their position only.
func (c cursor) series() func(position uint64) string {
	var b [cursorSize]byte
	b[0] = cursorVersion
	hex.Decode(b[1:9], []byte(c.log)) //nolint:errcheck // the server's own, checked when it started
	copy(b[9:13], nameTag(c.name))
	binary.BigEndian.PutUint64(b[13:], c.epoch)
	return func(position uint64) string {
		binary.BigEndian.PutUint64(b[21:], position)
		return cursorText.EncodeToString(b[:])
	}
}

// parseCursor reads a cursor of this log and epoch for what is to be read.
func parseCursor(text, log string, epoch uint64, name string) (cursor, *Refusal) {
	bad := func(why string) (cursor, *Refusal) {
		return cursor{}, refuse(boardv1.Reason_REASON_MALFORMED, "cursor: %s; start again without one", why)
	}
	if len(text) != cursorText.EncodedLen(cursorSize) {
		return bad("this is none that a server gave")
	}
	b, err := cursorText.DecodeString(text) // which passes over line breaks
	if err != nil || len(b) != cursorSize || b[0] != cursorVersion {
		return bad("this is none that a server gave")
	}
	c := cursor{log: hex.EncodeToString(b[1:9]), epoch: binary.BigEndian.Uint64(b[13:]), position: binary.BigEndian.Uint64(b[21:]), name: name}
	switch {
	case c.log != log:
		return bad("it belongs to another log than this one, " + log)
	case string(b[9:13]) != string(nameTag(name)):
		return bad("it belongs to another case or shop than the one asked for")
	case c.epoch != epoch:
		return bad("the log has been restored from a backup since")
	case c.position == 0:
		return bad("positions count from 1")
	}
	return c, nil
}
