package log

import "golang.org/x/mod/sumdb/tlog"

// Frontier shows the tree's edge to the tests of this package.
type Frontier struct{ f frontier }

func (f *Frontier) Push(leaf tlog.Hash) []tlog.Hash { return f.f.push(leaf) }
func (f *Frontier) Root() tlog.Hash                 { return f.f.root() }

// DecodeSlots reads the bytes of a checkpoint file.
func DecodeSlots(b []byte) (last Kept, sound bool, err error) {
	s, err := decodeSlots(b)
	if err != nil {
		return Kept{}, false, err
	}
	last, sound = lastKept(s)
	return last, sound, nil
}

// SyncData is how the checkpoint file is synced.
var SyncData = syncData

const SlotSize = slotSize

// FailCheckpoints lets the next checkpoint of the tree fail to be written.
func (t *Tree) FailCheckpoints() error { return t.file.Close() }
