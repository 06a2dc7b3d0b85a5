// Package client is one person's end of the board: who they are, what they
// wrote, what waits to be sent, and what they last saw of each case.
//
// # The home folder
//
// Everything lies in one folder, private to its owner (mode 0700). Settings may
// lie in a folder of their own.
//
//	settings        'name = value' lines, the same names as the flags
//	identity.json   device id and Ed25519 key, person, shop, token, server (0600)
//	pending         events that no server has answered for yet
//	pending.aside-* bytes of a damaged pending file that were no whole record
//	chains.json     per stream: the device's last number and the hash of its event
//	tray.ndjson     events a server refused, with its reason and their bytes
//	typed.txt       lines that could not be understood, as they were typed
//	memory.json     the case in use, its last entry, the last leads and conditions
//	names.json      names of shops and people as last heard
//	checkpoint      the last signed checkpoint of the log
//	cases/ID.jsonl  what was last fetched of a case, as an export without proofs
//	lock, push.lock held while numbering, and while sending
//
// # The pending file
//
// An event is saved once its record lies in the pending file and the file is
// synced. The file begins with the 16 bytes "knowngood wait 1"; then records
// follow, each
//
//	4 bytes  "rec\n"
//	4 bytes  length n of the payload, big endian, at most 64 MiB
//	4 bytes  CRC-32 (Castagnoli) of the length's 4 bytes and the payload
//	n bytes  a marshalled knowngood.board.v1.AppendRequest
//
// A record holds the events that were saved together: all of them or none. Bytes
// that are no whole record are moved to a file beside it and reported; reading
// goes on at the next whole record, so a damaged one takes no other with it.
//
// # Numbers
//
// A device counts its events in each stream from 1 and names the hash of the one
// before. The next number is the higher of chains.json and the pending file, both
// read under the lock, so that commands running at once never take one number
// twice. A record leaves the pending file only after chains.json, with its
// number, is synced; a crash in between sends it again, which changes nothing,
// since a server answers the same bytes with the same place. Entries of the
// device that come back from a server raise the number too: that mends a folder
// put back from an older copy.
//
// A refused event keeps its number: the hole stays, and the tray keeps the bytes.
package client
