package export

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Verified is what a check of an export found.
type Verified struct {
	// Entries that were read.
	Entries int
	// KeyKnown: the reader knew the log's key, and it is the one in the export. When
	// not, it has to be compared with one learned another way.
	KeyKnown bool
	// Problems are what does not hold; none: all of it does.
	Problems []Problem
	// Remarks are what a reader should know and breaks nothing: holes in a device's
	// numbers, erased bytes, kinds not understood here.
	Remarks []Problem
}

// OpenCheckpoint checks a signed checkpoint with the log's verifier key
// (golang.org/x/mod/sumdb/note) and reads it.
func OpenCheckpoint(checkpoint []byte, logKey string) (log.Checkpoint, error) {
	v, err := note.NewVerifier(logKey)
	if err != nil {
		return log.Checkpoint{}, fmt.Errorf("the log's key cannot be read: %w", err)
	}
	return log.OpenCheckpoint(checkpoint, v)
}

// Verify holds everything an export says against its bytes. pinned is the key of
// the log that the reader knows; empty, or of another log: the one in the export is
// used. That the case had no further entries when it was written, nobody signs.
func Verify(x *Export, pinned string) *Verified {
	v := &Verified{Entries: len(x.Lines)}
	key := x.Head.LogKey
	switch {
	case pinned == "":
	case pinned == key:
		v.KeyKnown = true
	case strings.HasPrefix(pinned, log.Origin(x.Head.Log)+"+"):
		v.problem(1, "log_key is not the key this home knows the log by")
		key = pinned
	}
	var tree *log.Checkpoint
	if x.Head.Checkpoint == "" {
		v.problem(1, "there is no checkpoint, so nothing shows that the log holds these entries")
	} else if t, err := OpenCheckpoint([]byte(x.Head.Checkpoint), key); err != nil {
		v.problem(1, "%v", err)
	} else {
		tree = &t
	}
	keys := make(map[string]ed25519.PublicKey)
	for _, d := range x.Head.Devices {
		keys[d.Device] = d.Key
	}
	numbers := make(map[number]*eventv1.Entry)
	for i, l := range x.Lines {
		v.line(i+2, x, l, uint64(i+1), tree, keys, numbers)
	}
	v.chains(x, numbers)
	v.held(x)
	if x.Head.Entries != len(x.Lines) {
		v.problem(1, "there are %d entries of %d: the file was cut short, or added to", len(x.Lines), x.Head.Entries)
	}
	return v
}

// held says which entries the keeper of the log could have signed.
func (v *Verified) held(x *Export) {
	for _, d := range x.Head.Devices {
		n := 0
		for _, l := range x.Lines {
			if e := new(eventv1.Entry); proto.Unmarshal(l.Entry, e) == nil && e.GetDevice() == d.Device {
				n++
			}
		}
		if d.Held && d.Person != "" && n > 0 {
			v.remark(1, "device %s is a tablet whose key the server holds: whoever has the server could have signed its entries, of which there are %d", d.Device, n)
		}
	}
}

// number of a device's event in the case.
type number struct {
	device string
	seq    uint64
}

// chains holds each event against the one of the same device before it. A number
// may come into the log later than the next one: what was held up somewhere.
func (v *Verified) chains(x *Export, numbers map[number]*eventv1.Entry) {
	for i, l := range x.Lines {
		e := new(eventv1.Entry)
		if proto.Unmarshal(l.Entry, e) != nil || e.GetDeviceSeq() <= 1 {
			continue
		}
		switch before := numbers[number{e.GetDevice(), e.GetDeviceSeq() - 1}]; {
		case before == nil:
			v.remark(i+2, "device %s has numbers missing before %d: events that were refused, or lost", e.GetDevice(), e.GetDeviceSeq())
		case !bytes.Equal(e.GetPrev(), before.GetEventHash()):
			v.problem(i+2, "prev does not name the device's event before")
		}
	}
}

func (v *Verified) problem(line int, format string, args ...any) {
	v.Problems = append(v.Problems, Problem{Line: line, What: fmt.Sprintf(format, args...)})
}

func (v *Verified) remark(line int, format string, args ...any) {
	v.Remarks = append(v.Remarks, Problem{Line: line, What: fmt.Sprintf(format, args...)})
}

func (v *Verified) line(n int, x *Export, l Line, seq uint64, tree *log.Checkpoint, keys map[string]ed25519.PublicKey, numbers map[number]*eventv1.Entry) {
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(l.Entry, e); err != nil {
		v.problem(n, "entry cannot be read: %v", err)
		return
	}
	if e.GetSeq() != seq {
		v.problem(n, "entry %d stands where entry %d belongs", e.GetSeq(), seq)
	}
	if e.GetStream() != x.Head.Case {
		v.problem(n, "entry %d belongs to case %s, not %s", e.GetSeq(), e.GetStream(), x.Head.Case)
	}
	if e.GetLog() != x.Head.Log {
		v.problem(n, "entry %d belongs to log %s, not %s", e.GetSeq(), e.GetLog(), x.Head.Log)
	}
	before := len(v.Problems)
	by := stand{fits: v.event(n, l, e), tree: tree != nil}
	if !bytes.Equal(l.Signature, e.GetSignature()) {
		v.problem(n, "signature is not the one the entry holds")
		by.fits = false
	}
	key, known := keys[e.GetDevice()]
	if by.keyed = known; !known {
		v.problem(n, "there is no key for device %s, so its signature cannot be checked", e.GetDevice())
	} else {
		by.signed = v.signed(n, e, key)
	}
	if tree != nil && len(l.Proof) == 0 && tree.Size > 1 {
		v.problem(n, "there is no proof with it, so it is not proven to lie in the log")
		by.tree = false
	} else if tree != nil {
		if err := included(l, e, tree); err != nil {
			v.problem(n, "%v", err)
		} else {
			by.inTree = true
		}
	}
	for i := before; i < len(v.Problems); i++ {
		v.Problems[i].Says = by.says(writer(x, e), e, tree)
	}
	at := number{e.GetDevice(), e.GetDeviceSeq()}
	if numbers[at] != nil {
		v.problem(n, "device %s uses number %d again", at.device, at.seq)
		return
	}
	numbers[at] = e
}

// signed reports whether the key signed what the entry names.
func (v *Verified) signed(n int, e *eventv1.Entry, key ed25519.PublicKey) bool {
	err := envelope.Verify(key, e.GetEventHash(), e.GetSignature())
	if err != nil {
		v.problem(n, "%v: device %s did not sign this", err, e.GetDevice())
	}
	return err == nil
}

// event reports whether the event's bytes are those that the entry names, or erased.
func (v *Verified) event(n int, l Line, e *eventv1.Entry) bool {
	if len(l.Event) == 0 {
		v.remark(n, "the event's bytes were erased; its place, hash and signature are still checked")
		return true
	}
	o, err := envelope.Open(l.Event)
	if err == nil {
		err = envelope.Fits(e, o)
	}
	if err != nil {
		v.problem(n, "%v", err)
		return false
	}
	if !o.Known || o.Strange {
		v.remark(n, "not wholly understood here; its bytes are checked all the same")
		return true
	}
	if len(l.View) > 0 && !bytes.Equal(l.View, View(l.Event)) {
		v.problem(n, "view does not say what the event's bytes say; the bytes rule")
	}
	return true
}

func included(l Line, e *eventv1.Entry, tree *log.Checkpoint) error {
	proof := make(tlog.RecordProof, len(l.Proof))
	for i, h := range l.Proof {
		if len(h) != tlog.HashSize {
			return fmt.Errorf("proof, hash %d has %d bytes and needs %d", i+1, len(h), tlog.HashSize)
		}
		proof[i] = tlog.Hash(h)
	}
	return log.VerifyRecord(*tree, e.GetIndex(), l.Entry, proof)
}

// SplitProof cuts hashes laid end to end.
func SplitProof(b []byte) [][]byte {
	var out [][]byte
	for ; len(b) >= tlog.HashSize; b = b[tlog.HashSize:] {
		out = append(out, b[:tlog.HashSize])
	}
	return out
}
