package client

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"

	"google.golang.org/protobuf/proto"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	pendingMagic = "knowngood wait 1"
	recordMark   = "rec\n"
	recordHead   = len(recordMark) + 8
	maxRecord    = 64 << 20
)

// frame is one record of the pending file.
func frame(events []*eventv1.Signed) ([]byte, error) {
	payload, err := proto.Marshal(&boardv1.AppendRequest{Events: events})
	if err != nil {
		return nil, fmt.Errorf("cannot marshal what waits: %w", err)
	}
	if len(payload) > maxRecord {
		return nil, fmt.Errorf("%d bytes at once are too many: the limit is %d; record them in parts", len(payload), maxRecord)
	}
	b := append(make([]byte, 0, recordHead+len(payload)), recordMark...)
	b = binary.BigEndian.AppendUint32(b, uint32(len(payload)))
	b = binary.BigEndian.AppendUint32(b, checksum(b[4:8], payload))
	return append(b, payload...), nil
}

func checksum(length, payload []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	return crc32.Update(crc32.Checksum(length, table), table, payload)
}

// unframe reads one record at the start of b and returns its length in bytes; 0
// when there is no whole record.
func unframe(b []byte) ([]*eventv1.Signed, int) {
	if len(b) < recordHead || string(b[:4]) != recordMark {
		return nil, 0
	}
	n := int(binary.BigEndian.Uint32(b[4:8]))
	if n > maxRecord || n > len(b)-recordHead {
		return nil, 0
	}
	payload := b[recordHead : recordHead+n]
	if checksum(b[4:8], payload) != binary.BigEndian.Uint32(b[8:12]) {
		return nil, 0
	}
	var req boardv1.AppendRequest
	if proto.Unmarshal(payload, &req) != nil {
		return nil, 0
	}
	return req.GetEvents(), recordHead + n
}

// readPending splits a pending file into its events and the bytes that are no
// whole record.
func readPending(b []byte) (events []*eventv1.Signed, aside []byte) {
	switch {
	case len(b) == 0:
		return nil, nil
	case bytes.HasPrefix(b, []byte(pendingMagic)):
		b = b[len(pendingMagic):]
	default:
		// A damaged beginning; the records behind it may be whole.
	}
	for len(b) > 0 {
		if es, n := unframe(b); n > 0 {
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

// pending reads the events that wait, in order. The lock must be held. Damaged
// bytes are moved aside first, so that what is appended next stands behind whole
// records only.
func (h *Home) pending() ([]*eventv1.Signed, error) {
	b, err := os.ReadFile(h.path("pending"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("cannot read what waits to be sent: %w", err)
	}
	events, aside := readPending(b)
	if len(aside) == 0 {
		return events, nil
	}
	name := "pending.aside-" + h.now().UTC().Format("20060102T150405.000000000Z")
	if err := h.replace(name, aside); err != nil {
		return nil, err
	}
	if err := h.writePending(events); err != nil {
		return nil, err
	}
	h.Warn(fmt.Sprintf("what waits to be sent was damaged: %d bytes that are no whole event were moved to %s; %d whole events are kept and will be sent. "+
		"Look whether your last entry is among them ('knowngood sync' lists them) and record it again if not.", len(aside), h.path(name), len(events)))
	return events, nil
}

// writePending replaces the pending file. The lock must be held.
func (h *Home) writePending(events []*eventv1.Signed) error {
	b := []byte(pendingMagic)
	for _, e := range events {
		f, err := frame([]*eventv1.Signed{e})
		if err != nil {
			return err
		}
		b = append(b, f...)
	}
	return h.replace("pending", b)
}

// addPending appends one record and syncs it. The lock must be held.
func (h *Home) addPending(events []*eventv1.Signed) error {
	f, err := frame(events)
	if err != nil {
		return err
	}
	was, err := os.Stat(h.path("pending"))
	if errors.Is(err, fs.ErrNotExist) {
		if err = h.replace("pending", []byte(pendingMagic)); err == nil {
			was, err = os.Stat(h.path("pending"))
		}
	}
	if err != nil {
		return fmt.Errorf("cannot look at what waits to be sent: %w", err)
	}
	if err := h.add("pending", f); err != nil {
		// Not saved, so nothing of it may stay behind.
		return errors.Join(err, os.Truncate(h.path("pending"), was.Size()))
	}
	return nil
}

// Pending lists the events that wait to be sent, in order.
func (h *Home) Pending() (events []*eventv1.Signed, err error) {
	if _, err := os.Stat(h.path("pending")); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	err = h.locked("lock", func() error {
		events, err = h.pending()
		return err
	})
	return events, err
}
