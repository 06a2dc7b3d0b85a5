// Package log says how cases are kept: what a log is and does (Log), how its
// entries are bound together and signed (Tree), and how it is followed (Tail).
// Engines lie in packages below; logtest holds what every one of them must do.
//
// # Terms
//
// A record is one entry of the log with its event and its tree hashes: three byte
// strings, and the places they hold. The entry is what the server marshalled once;
// it is the leaf of the Merkle tree and never changes. The event is what its writer
// signed; its bytes may be erased, and the entry, which bears their hash, stays.
//
// A record has an index in the log, from 0, and a seq in its stream, from 1,
// neither with a gap. A stream is a case, or a shop's register. A record joins
// any number of feeds when it is appended, and has a number in each, from 1
// without a gap: a feed is what one reader follows.
//
// The index is a set of keys and values that the engine does not understand:
// event ids, device numbers, tokens. A batch holds records, index
// writes and erasures that are committed together or not at all.
//
// # Who gives places
//
// The one committer. An engine refuses a batch that does not go on where the log
// ends (ErrPlace), so two committers, or one that has lost count, do no harm. A
// server appends through a Tree and nowhere else.
//
// # What is known after an error
//
// After ErrPlace, ErrTooBig, ErrFull, ErrClosed and after a context that had ended
// before, nothing was kept. After any other error of Append nobody knows: the
// bytes may have reached the disk although the sync reported a failure, and
// trying the sync again proves nothing, since the system may have dropped the
// pages. Unknown tells the two apart. An engine and a Tree take nothing more
// after an unknown outcome; opened again they hold the batch whole or not at
// all. Whoever sent the events sends them again under the same ids.
//
// Nothing of a batch of unknown outcome is shown to readers.
//
// # The tree
//
// The leaves are tlog.RecordHash of the entries, the interior nodes those of RFC
// 6962. The hashes that a record completes, leaf first, 32 bytes for each level
// from 0, are kept with it (Record.Tree). Under an index key is
//
//	00 'b'  ->  number of batches (8 bytes, big endian)
//
// Index keys that begin with a zero byte are the tree's own, and Tree.Append
// refuses them.
//
// # The checkpoint
//
// A note (golang.org/x/mod/sumdb/note) with an Ed25519 signature by the server's
// key, named like its first line; its text is a C2SP tlog-checkpoint of five lines,
// each ended by a newline:
//
//	knowngood.example/log/ID       the origin; ID is the id of the log
//	42                             the size of the tree
//	base64                         its root, 32 bytes in standard base64
//	epoch 1                        1, and one more with every restore from a backup
//	from 0 base64                  size and root of the tree the epoch began from
//
// Numbers are decimal without a leading zero, and below 2^63. Any other spelling
// is refused.
//
// A tree begins an epoch (BeginEpoch) with a batch in which nothing is, so that the
// checkpoint file goes on batch by batch; package backup says when.
//
// # The checkpoint file
//
// It lies beside the engine's directory and is synced by itself, because an engine
// may open without an error and be without its last batches: that happens when
// a bit of a write-ahead log flips, and everything after it is taken for the
// unwritten rest. 8192 bytes: two slots of 4096, written in turn, the checkpoint of
// batch n in slot n mod 2.
//
//	0     8     "kgcheck1"
//	8     8     the number of batches, big endian
//	16    4     the length of the note, big endian
//	20    n     the note
//	      ...   zeros
//	4064  32    SHA-256 of the 4064 bytes before
//
// A slot that was never written is all zeros; that is the second slot until batch
// 1. The file is laid out in full and renamed into place when it is made, and
// then only overwritten in place, so that a sync of it moves no metadata.
//
// # Order of writing, and what a crash leaves
//
// Append commits the batch and has the engine sync it; then writes the other slot
// and syncs that; then returns. Nothing is acknowledged before both. So a crash,
// a kill or a power cut leaves one of:
//
//	engine   last readable slot   the other slot
//	n        n                    n-1, readable     between two appends
//	n+1      n                    n-1, readable     after the commit
//	n+1      n                    torn              while the slot was written
//	n+1      n+1                  n, readable       before Append returned
//
// and in the second and third the batch n+1 was never acknowledged. The syncs are
// not done side by side, which would be faster, because a torn slot then no longer
// says that its batch must be in the engine.
//
// # What is accepted when a log is opened
//
// The four states above. In the second and third the batch stands, since the
// engine holds it whole and readers may have seen it, and its checkpoint is signed
// and written. And a log in which there is nothing at all, with no checkpoint file:
// it is new.
//
// # What is refused
//
// Everything else, with ErrDamaged or ErrCheckpoint, saying what and where:
//
//   - fewer batches than the checkpoint counts: acknowledged batches are lost,
//     also those that held only index writes;
//   - more than one batch beyond it: the checkpoint file is an older one;
//   - an unreadable slot where the engine is not a batch ahead. One flipped bit in
//     the older slot, which is of no more use, is refused with it: it cannot be
//     told from a torn slot whose batch was lost;
//   - no checkpoint file beside a log with anything in it; a checkpoint file of
//     entries beside an empty log;
//   - a checkpoint that this log's key did not sign;
//   - a number of entries that is not the checkpoint's;
//   - an entry that is not at its index, or not of this log, or whose stream or seq
//     is not the one it is kept under, or a seq that leaves a gap;
//   - event bytes that do not have the hash in the entry, or are gone without a mark
//     that they were erased;
//   - an entry whose tree hashes are not those kept with it;
//   - a root that is not the checkpoint's, at its size and at the size its epoch
//     began from;
//   - whatever the engine finds of its own (see package badger).
//
// Everything is read and hashed for this, on all cores, every time.
//
// What this cannot find: the engine's directory and the checkpoint file both
// replaced by an older pair that belongs together. Only somebody who keeps a later
// checkpoint can: every client keeps the last it was sent, and checks that the next
// continues it (VerifyConsistency).
//
// # Erasing
//
// An erasure takes an event's bytes and leaves a mark. The entry, its hash in the
// tree, every checkpoint and every proof stand. What an engine leaves on the disk
// for a while is in its own documentation; copies, backups and what was already
// sent are beyond its reach.
package log
