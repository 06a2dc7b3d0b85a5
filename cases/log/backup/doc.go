// Package backup is a server's data folder as one file: every record of its log, its
// index, and the files beside it, as they stood at one moment. It writes one while
// the server goes on (Write), and reads one, believing nothing that does not hold
// (Read). Badger's own backup is not used: it loads a flipped byte without an error.
//
// # The file
//
// 16 bytes, "knowngood copy 1", then sections to the end of the file:
//
//	1 byte   kind
//	4 bytes  length n of the payload, big endian, at most 1 MiB
//	n bytes  payload
//
// In this order:
//
//	'h'  once: the head, JSON in one line:
//	     {"log":        id of the log,
//	      "log_key":    its verifier key (golang.org/x/mod/sumdb/note),
//	      "checkpoint": the signed checkpoint over the records that follow,
//	      "made":       when, RFC 3339}
//	'f'  a stretch of a file of the data folder:
//	     2 bytes  length of the name, big endian
//	     m bytes  the name: a path below the folder with '/', none of its elements
//	              beginning with a dot
//	     8 bytes  offset in the file, big endian
//	     rest     bytes; none only at offset 0
//	     The stretches of one file follow one another without a gap; no name comes
//	     twice.
//	'r'  a record: a marshalled knowngood.board.v1.LogRecord with index, stream, seq,
//	     entry, event and feeds. By index, from 0 to one below the checkpoint's size.
//	     No tree hashes: they are worked out again.
//	'i'  an index key: a marshalled knowngood.board.v1.LogWrite with key and value.
//	     In byte order of the keys; those that begin with a zero byte are the tree's
//	     own, and left out.
//	'e'  once, last: SHA-256 of all bytes before this section. Nothing follows.
//
// # One moment
//
// The checkpoint, the feeds and the view of the index are taken between two batches.
// Records below the checkpoint's size never change, but that an event's bytes may be
// erased while the backup is written; then they are not in it. Files are never
// changed once they lie there under their names; one that came while the backup was
// written may be in it.
//
// # What is held against what
//
// Read hands on what it reads as it comes, since it may be more than fits in memory,
// and says at the end whether all of it holds: the sections come in their order, the
// records run on, the key that signed the checkpoint is the head's, the tree over
// the records has the checkpoint's size and root, and the bytes have the SHA-256. Until
// then what was handed on is nobody's: whoever takes it keeps it apart.
//
// The SHA-256 finds damage. Against somebody who changed the backup on purpose stands
// the tree, for all that the log holds, as long as the log's key is known another way,
// or a checkpoint; index keys and files bear nobody's signature. A backup holds the
// server's key and the hashes of tokens: whoever has it can be the server.
package backup
