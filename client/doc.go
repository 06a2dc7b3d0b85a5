// Package client is one person's end of the board: who they are, what they
// wrote, what waits to be sent, and what they were told of each case. All of it is
// here, so that everything can be asked and recorded with no server in reach.
//
// # The home folder
//
// Everything lies in one folder, private to its owner (mode 0700). Settings may
// lie in a folder of their own.
//
//	settings        'name = value' lines, the same names as the flags
//	identity.json   device id and Ed25519 key, person, shop, token, addresses of the
//	                server and the pin of its authority (0600)
//	replica/        the home's log, see below and package replica
//	files/          bytes of attachments: a folder for each case, in it a file for each,
//	                named by its SHA-256; '.part' while it comes, '.damaged' once it
//	                did not have its hash any more
//	typed.txt       lines that could not be understood, as they were typed
//	memory.json     the case in use, its last entry, the last leads and conditions
//	names.json      names of shops and people as last heard
//	lock, push.lock held while the log is written to, and while sending
//	before-replica/ files of a home from before there was a replica
//
// # The replica
//
// One log of package log holds everything: what the server told, as records; what
// waits, what was refused and how far it was read, under index keys. So what belongs
// together is committed together. Numbers are 8 bytes, big endian.
//
//	stream  generation "/" case   the entries of a case as the server sent them
//	"case/" generation "/" case   empty: the server told of that case
//	"out"                         number that the next event in the outbox gets
//	"out/" number case            a frame of one event that waits to be sent. Those
//	                              from "out" on do not count: their save never ended
//	"sent"                        number before which nothing waits any more
//	"mine/" case                  empty: the case was opened here
//	"chain/" device "/" case      a frame: the device's last number there and the hash
//	                              of its event
//	"tray"                        number that the next line of the tray gets
//	"tray/" number                a frame: an event that the server refused, with its
//	                              reason; or that one was recorded again
//	"cursor"                      where the shop's feed was read to
//	"checkpoint"                  the last signed checkpoint that was accepted
//	"tile/" generation level number  a tile of the log's tree: up to 16 hashes, 32
//	                              bytes each; generation and number as 8 bytes, level 1
//	"proven"                      how many of the replica's records were looked at, when
//	                              (Unix seconds), and the signed checkpoint they lie under
//	"there/" case "/" hash        1 and the epoch in which the server had that file
//	"offer"                       see Restored, below
//	"generation"                  see Restored, below; not there: 1
//
// Streams and keys that package replica has for itself are not touched.
//
// # Frames
//
// What lies nowhere else, the outbox, the ends of chains and the tray, is kept in
// frames, which are found again among the bytes of a damaged file:
//
//	4 bytes  "rec\n", "end\n" or "ref\n"
//	4 bytes  length n of the payload, big endian, at most 64 MiB
//	4 bytes  CRC-32 (Castagnoli) of the length's 4 bytes and the payload
//	n bytes  of "rec\n" a marshalled knowngood.board.v1.AppendRequest, of the
//	         others JSON
//
// When the log does not hold (package replica) every whole frame in its files is
// taken over into a new one: openings first, then each device's events in their
// order. What had been answered is among them; sent again it changes nothing,
// since a server answers the same bytes with the same place, and what is refused
// a second time is listed once. Cases come again from the server.
//
// # Saving
//
//  1. Under the lock, each event gets the next number of its device in its stream
//     and the hash of the one before, and is signed.
//  2. The events go into the outbox, with the new ends of the chains, in one batch
//     that is synced. What is more than a batch takes is written ahead in several,
//     and counts when the last of them moves "out".
//  3. Only then is it said that they are saved.
//
// Commands that run at once never take one number twice. A refused event keeps its
// number: the hole stays, and the tray keeps the bytes. Entries of the device that
// come back from a server raise its number: that mends a folder put back from an
// older copy. At one number what the server holds stands.
//
// # Pushing
//
//  1. Under push.lock, the outbox is read in order, at most 100 events or 512 KiB
//     at a time, and sent.
//  2. The checkpoint that came with the answer is proven, see below. What was answered
//     for good leaves the outbox, the refused with it into the tray, "sent" moves
//     behind it, and the checkpoint is kept, in one batch. A crash before sends it
//     again. What was taken has been taken also where the checkpoint does not hold.
//  3. While that is done the next events are on their way; what is answered to them
//     waits until it is done, and is settled only if it went well.
//  4. An event that cannot be taken now, for want of room or of a server, ends
//     the push; it and those behind it wait.
//
// # Pulling
//
//  1. The server is asked for its newest checkpoint, and that is heeded: a server
//     that tells another history is not read from at all.
//  2. The shop's feed is read from the cursor on (Watch), or from its beginning.
//  3. Of each message the entries join their cases, in order: the next of its case
//     is appended; one that is here already must be the same, byte for byte, or
//     it is another history; an event's bytes must have the hash its entry names.
//     With the last of them the message's cursor is committed, so that after a
//     crash nothing is missed, and what comes twice changes nothing.
//  4. Where an entry's predecessors are not here, because the shop was given the
//     case only now, or the reader, the case is fetched from where it ends here
//     (Entries), then the message is taken. When access ended since, its entries are
//     passed over: should it be given again, the grant comes in the feed and the
//     case with it. So a case here is whole from its first entry, as far as it goes.
//  5. The message that reaches the head has the checkpoint, which is heeded; the
//     pull ends.
//
// A message is all that is held in memory. An entry that says that an event's bytes
// were erased takes them from here in the same batch.
//
// # Heeding a checkpoint
//
// A checkpoint must be signed by the log's key. Held against the one that was
// accepted last: one of no more entries must be the same or, where answers crossed,
// be continued by it; of more entries the server is asked for the proof that the
// longer tree continues the shorter (Consistency), and the proof is checked. The
// longest stays. Anything else is ErrHistory: nothing is taken, and a person decides.
//
// # Proving
//
// A pull ends with it. What the replica holds can then be proven, and exported, with no
// server (tlog: golang.org/x/mod/sumdb/tlog).
//
//  1. From the last record that was proven on, 300 at a time: which hashes prove each
//     entry in the tree of the newest accepted checkpoint, and in which tiles of height
//     4 they lie, is worked out here.
//  2. Tiles that are not here, or narrower than the tree has them now, come from the
//     server (Tiles). tlog holds them against the checkpoint's root before they count.
//  3. When the tree has grown, the tiles on the way from the last entry of the older tree
//     to the new root are got as well: what was its edge is not one any more, and
//     with them the proofs of all before lead to the new root. Nothing else changes.
//  4. Each entry is held against its proof, and the tiles and "proven" are committed in
//     one batch, so that an interruption goes on from there. An entry that is not in the
//     log that the server signed is ErrHistory. Tiles that do not fit are got once anew:
//     they may have rotted here.
//  5. Where one of them was written by a device whose key is not known here, names and
//     keys are asked for.
//
// Verifying makes of a case and its proofs what an export is, and package export
// checks it: one check for home, case and file.
//
// # Files
//
//  1. What is attached is copied into files/, synced and renamed, before the event that
//     names it is saved. So a file may lie there that no event names, never the reverse.
//  2. A file waits as long as nothing says that the server has it. Sync asks for each how
//     much the server has and sends the rest. What "there/" says counts for its epoch:
//     a server restored from a backup may have lost files and no entry.
//  3. What is fetched goes to '.part', from where that ends, is hashed, and renamed.
//  4. An entry that says that a file was erased removes it from here.
//
// # Restored
//
// 'knowngood sync --accept-restored' first holds every case against what the server has,
// and lists what it is without (Lost). It goes on from the checkpoint it was shown.
//
// When somebody has said that the log was restored from a backup, a new generation
// begins: cursor and checkpoint go, cases are told anew. What was told before stays
// in the log under the generation before. Once all was pulled anew, what the
// generation before has and the new one has not is put into the outbox, as it was
// signed, and so offered again; of cases of other shops only where some of the case
// is still told. "offer" holds the generation before until that is done.
//
// # Whom a home trusts
//
// A connection is TLS 1.3. The other side shows its certificate and, last, its
// authority. It is trusted when
//
//   - it has the key of its certificate, which TLS sees to;
//   - the certificate comes from that authority: its signature, and that the authority
//     is one, as crypto/x509 has it, with the moment from which the certificate is
//     valid in the place of now;
//   - SHA-256 of the authority's public key is the pin that was learnt when joining.
//
// So no clock is asked, neither the device's nor the server's: a tablet that thinks it
// is 2016 works. Nothing is lost by it. What dates protect from is a key that was
// stolen and goes on being used; whoever has the key of a certificate of this server
// has taken it from the server's memory, and has the authority's and the log's beside
// it. What helps then is another server and new codes. Nor is a name or an address
// looked at: a shop's server has whatever address the router gives it, and a road to
// it may be a tunnel.
//
// Any other server, and anything that speaks no TLS, is an Impostor: it is told
// nothing, neither token nor call, and counts as no server at all (ErrOffline), so
// that what is recorded waits and everything is answered from the replica; in words it
// is told apart.
//
// Of several addresses the first that leads to the pin is taken.
//
// # Joining
//
// A link has the pin; by a code alone the server is met first, as package join has it.
// Only over a connection that led to the pin are the code, the name and the public
// key of a new device sent.
//
// In a home that has joined already, Join takes over addresses and pin from the link
// when that server signs the connection's channel with the key of the log that the
// home knows (Meet; package server), and nothing else changes. No token is sent before,
// and no code is used up. That is how a home hears that its server has another
// address; and how a home from before TLS, which has no pin and so connects to
// nothing, goes on: until then what is recorded in it waits.
//
// # Files of older homes
//
// 'pending', 'chains.json', 'tray.ndjson', 'checkpoint' and 'cases/' are taken over
// when the log is opened, each whole before it is moved to before-replica/, so that
// an interruption, or an older program that goes on writing, loses nothing. The file
// 'pending' began with the 16 bytes "knowngood wait 1"; frames of one or more
// events followed.
package client
