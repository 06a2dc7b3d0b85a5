package client

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// What lies nowhere else is kept in frames, which can be found again among the
// bytes of a damaged file; doc.go has them byte by byte.
const (
	recordMark = "rec\n"
	endMark    = "end\n"
	trayMark   = "ref\n"
	frameHead  = len(recordMark) + 8
	maxFrame   = 64 << 20
)

// frame wraps a payload.
func frame(mark string, payload []byte) ([]byte, error) {
	if len(payload) > maxFrame {
		return nil, fmt.Errorf("%d bytes at once are too many: the limit is %d", len(payload), maxFrame)
	}
	b := append(make([]byte, 0, frameHead+len(payload)), mark...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(payload)))
	b = binary.BigEndian.AppendUint32(b, checksum(b[4:8], payload))
	return append(b, payload...), nil
}

func checksum(length, payload []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	return crc32.Update(crc32.Checksum(length, table), table, payload)
}

// unframe reads the payload of the frame at the start of b and returns the frame's
// length; 0 when there is no whole one.
func unframe(b []byte) (payload []byte, length int) {
	if len(b) < frameHead {
		return nil, 0
	}
	n := int(binary.BigEndian.Uint32(b[4:8]))
	if n > maxFrame || n > len(b)-frameHead {
		return nil, 0
	}
	payload = b[frameHead : frameHead+n]
	if checksum(b[4:8], payload) != binary.BigEndian.Uint32(b[8:12]) {
		return nil, 0
	}
	return payload, frameHead + n
}

func frameEvents(events ...*eventv1.Signed) ([]byte, error) {
	payload, err := proto.Marshal(&boardv1.AppendRequest{Events: events})
	if err != nil {
		return nil, fmt.Errorf("cannot marshal what waits: %w", err)
	}
	return frame(recordMark, payload)
}

// unframeEvents reads one frame of events at the start of b and returns its length
// in bytes; 0 when there is no whole one.
func unframeEvents(b []byte) ([]*eventv1.Signed, int) {
	if !bytes.HasPrefix(b, []byte(recordMark)) {
		return nil, 0
	}
	payload, n := unframe(b)
	var req boardv1.AppendRequest
	if n == 0 || proto.Unmarshal(payload, &req) != nil {
		return nil, 0
	}
	return req.GetEvents(), n
}

// oldMagic begins the file in which events waited before there was a replica.
const oldMagic = "knowngood wait 1"

// readPending splits such a file into its events and the bytes that are no
// whole record; those are left out of the events and lose none of them.
func readPending(b []byte) (events []*eventv1.Signed, aside []byte) {
	b = bytes.TrimPrefix(b, []byte(oldMagic)) // a damaged beginning may have whole records behind it
	for len(b) > 0 {
		if es, n := unframeEvents(b); n > 0 {
			events, b = append(events, es...), b[n:]
			continue
		}
		next := bytes.Index(b[1:], []byte(recordMark))
		if next < 0 {
			return events, append(aside, b...)
		}
		aside, b = append(aside, b[:next+1]...), b[next+1:]
	}
	return events, aside
}

// found are the frames among the bytes of a file.
type found struct {
	events []*eventv1.Signed
	// ends and refused are payloads.
	ends, refused [][]byte
}

// look adds every whole frame in b, wherever it lies.
func (f *found) look(b []byte) {
	for _, mark := range []string{recordMark, endMark, trayMark} {
		for rest := b; ; {
			at := bytes.Index(rest, []byte(mark))
			if at < 0 {
				break
			}
			rest = rest[at:]
			payload, n := unframe(rest)
			if n == 0 {
				rest = rest[1:]
				continue
			}
			switch mark {
			case recordMark:
				if events, n := unframeEvents(rest); n > 0 {
					f.events = append(f.events, events...)
				}
			case endMark:
				f.ends = append(f.ends, bytes.Clone(payload))
			default:
				f.refused = append(f.refused, bytes.Clone(payload))
			}
			rest = rest[n:]
		}
	}
}
