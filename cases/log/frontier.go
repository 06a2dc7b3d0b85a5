package log

import (
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// frontier is the right edge of a Merkle tree: the roots of the complete
// subtrees that make it up, largest first. It is all that growing needs.
type frontier struct {
	size  uint64
	nodes []tlog.Hash
}

// push adds a leaf and returns the hashes it completes, leaf first: what
// tlog.StoredHashesForRecordHash returns for it.
func (f *frontier) push(leaf tlog.Hash) []tlog.Hash {
	done := []tlog.Hash{leaf}
	for n := f.size; n&1 == 1; n >>= 1 {
		last := len(f.nodes) - 1
		leaf = tlog.NodeHash(f.nodes[last], leaf)
		f.nodes = f.nodes[:last]
		done = append(done, leaf)
	}
	f.nodes = append(f.nodes, leaf)
	f.size++
	return done
}

func (f *frontier) root() tlog.Hash {
	if f.size == 0 {
		empty, _ := tlog.TreeHash(0, nil) // reads nothing, so cannot fail
		return empty
	}
	h := f.nodes[len(f.nodes)-1]
	for i := len(f.nodes) - 2; i >= 0; i-- {
		h = tlog.NodeHash(f.nodes[i], h)
	}
	return h
}

func (f *frontier) clone() frontier {
	return frontier{f.size, slices.Clone(f.nodes)}
}

// Roots follows the root of a log's tree for whoever reads its entries in order
// and keeps none of them.
type Roots struct{ edge frontier }

// Add takes the next entry's bytes.
func (r *Roots) Add(entry []byte) { r.edge.push(tlog.RecordHash(entry)) }

// Size is how many entries were added.
func (r *Roots) Size() uint64 { return r.edge.size }

// Root is the RFC 6962 tree hash over what was added.
func (r *Roots) Root() tlog.Hash { return r.edge.root() }
