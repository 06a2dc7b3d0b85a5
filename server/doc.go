// Package server keeps the board: it gives entries their places, decides who may
// do what, and tells those who watch. The methods of Server are the whole of it;
// the gRPC services of knowngood.board.v1 carry them and decide nothing, so a
// page in the same process goes through the same gate.
//
// # The data folder
//
//	key.json     id of the log, id and Ed25519 seed of the server's own device,
//	             which signs the server's own events and the checkpoints; and the
//	             certificate (DER) and the key (PKCS #8, DER) of the server's own
//	             certificate authority. Mode 0600.
//	checkpoint   the last signed checkpoint, as package log lays it out
//	log/         the log, kept by Badger
//	files/       the bytes of attachments: a folder for each case, named by its id, in it
//	             a file for each, named by its SHA-256 in hexadecimal; with '.part'
//	             behind the name while not all of it has come; 'spool-*.part' is one
//	             that a tablet is bringing, before an event names it
//	host, socket where whoever runs the server reaches it, see package socket
//
// A folder with a checkpoint and without a key is refused: a new key would be
// another server's.
//
// # Index keys
//
// They are committed with the entries, all or nothing. UUIDs are their 16 bytes,
// numbers 8 bytes big endian unless said otherwise, hashes SHA-256, 32 bytes.
//
//	"id/" stream id             seq, kind (4 bytes), hash of the event
//	"number/" stream device n   hash of the event, then the hash it names as the
//	                            one before (nothing for n = 1)
//	"own/" stream               number and hash of the server's last own event there
//	"refused/" hash             the tray: the event as JSON, see Refused
//	"token/" hash of the token  id of the device, as text
//	"code/" key of the code     invitation as JSON: id, shop, role, case, by, expires.
//	                            The key is that of package join, from which the code
//	                            cannot be told. Gone once used or withdrawn; expired
//	                            ones go when the next one is made
//	"person/" person            name: the erasable table; never in the log
//	"tablet/" device            seed of the Ed25519 key of a device whose key is held
//	                            here, 32 bytes: that of a tablet on the page
//	"twice/" device             when it was last found to have used a number twice, in
//	                            seconds of Unix time
//	"file/" stream hash         size of a file that an attachment of the case names (8
//	                            bytes); one byte more, 1, once it was erased
//
// # Registers
//
// A shop's register is a stream of the same log whose id is the shop's id. Only
// the server writes in it: the shop opened, its own device added, then people
// and devices as they join and go. The events are signed with the server's key;
// recorded_by in them, as in every event of the server's own, is the id of the
// server's device. Registers, openings, hand-offs, grants and withdrawals also
// join the feed "access", which the server reads when it starts: who may do what
// is folded from the log and from nothing else.
//
// # Places
//
//  1. Append opens, verifies and checks the events of a request on all cores. An
//     event's own words are held against what can be by package check.
//  2. One goroutine, the committer, takes requests from a channel. While it waits
//     for the log to sync one batch, the next gathers; there is no timer.
//  3. In its turn each event is held against the batch laid over the log, so it
//     sees those before it:
//     the same id with the same bytes: its first place, whatever else changed;
//     its device must be of the sender's shop and not withdrawn, recorded_by its
//     person; sender and author must be allowed what it says, by the table in
//     may.go and the case as it stands; what it says of access must fit the
//     register; its id must be free in the stream;
//     its number must be free, prev must name the number before and the number
//     after must name it, where those are here: a missing number is a remark;
//     expect, where set, must be the next place.
//  4. It gets index and seq, the entry is marshalled, once, and joins the feeds of
//     the shops that may read the case at that moment. Behind a hand-off the
//     server writes a grant, behind a hand-back it ends writing (reading stays
//     until the owner withdraws it), each in the same batch.
//  5. The batch is committed with its index keys, tree hashes and checkpoint. Then
//     the register takes in what it says, then readers are shown it, then they are
//     woken, then the requests are answered.
//
// Refused events whose signature is good go into the tray in the same batch, once
// each; their hash explains the hole in the device's numbers. One that is taken
// after all leaves it.
//
// When the log says that nothing was kept, for want of room, the request is
// refused and may be sent again. When nobody can know what was kept, appends stop
// for good and health says so; reading goes on, as far as was confirmed. The
// server must be started again to look.
//
// # Access
//
// A case belongs to the shop whose person opened it. Somebody stands to it in one
// of four ways: owns (works at that shop), writes, reads, or nowhere; foreign,
// withdrawn, run out and not existing are all nowhere, and answer in the same
// words. A grant is for a shop or for one person of it; a guest has part only in
// what was granted by name, also in the guest's own shop. An unknown kind may be
// appended by whoever may write and changes nothing of this; nor does a hand-off
// with fields that are not known here.
//
// The one difference that cannot be hidden: an opening with the id of somebody
// else's case is refused, and one with a new id is taken.
//
// Callers are looked up by their token, and again for every message that is sent:
// what is withdrawn is withdrawn at once. What was sent before cannot be called
// back, and what somebody wrote before they were withdrawn stays as it is. What of
// theirs is sent afterwards is refused as a whole, and so stays in their own home.
// Withdrawing a person withdraws each of their devices in the same batch; a shop
// keeps an owner. Should the device of the only one be lost, whoever runs the server
// lets in another (InviteOwner).
//
// # Feeds and cursors
//
// The feed of a shop is "shop/" and its id. A shop that is granted a case hears of
// it by the grant, and reads the rest from the case. Watch reads a feed or a case
// from a position to what is shown, waits to be woken, and reads again. A send
// that takes longer than Options.SlowAfter ends the watch; it is resumed at the
// last cursor that was received. Of a feed, entries that the caller may not see
// at that moment are passed over. What was read last and what was sent last, as it
// goes over the wire, are kept at hand behind that (pages, encoded): each reader still
// reads from its own position and is asked about by itself, and what turns out to be
// the same is neither fetched nor marshalled twice.
//
// A cursor is 29 bytes in base64url without padding (RFC 4648, 5):
//
//	1 byte   1
//	8 bytes  id of the log
//	4 bytes  the first of SHA-256 of what is read: the stream, or the feed's name
//	8 bytes  epoch of the log
//	8 bytes  the next position wanted
//
// A client that keeps a replica reads its shop's feed to the head, which is where a
// response carries the checkpoint, and asks Consistency, before it reads and after,
// for the proof that the checkpoint continues the last it accepted. Where the feed
// begins in the middle of a case, it reads what comes before from the case
// (Entries). Consistency tells sizes and hashes only, so anybody with a token may ask.
//
// Tiles sends hashes of the log's tree, 16 a tile, so that a client keeps what proves
// its entries and proves them without a server. It tells hashes only as well.
//
// # Files
//
// An attachment is an event that names a file by its SHA-256; its bytes travel apart
// and lie outside the log, so that they can be erased and Badger stays small.
//
//  1. The event is taken first, and with it, in the same batch, the file key. A file
//     that no attachment of the case names does not exist, for anybody; so its size
//     is known, and who may send it is whoever may write in the case.
//  2. PutFile goes on from where the file stands: FileState says where. One caller at
//     a time writes one file. Each message is asked about anew: access, erased or not,
//     the size, and the disk's reserve, which is the log's own.
//  3. The whole file is read back and hashed. Another hash: it is thrown away and
//     refused. Else it is synced and renamed into place, and only then answered for.
//  4. GetFile sends it from any offset to whoever may see the case, asked anew for
//     each message.
//  5. EraseFile, by an owner of the shop whose case it is, commits a file-erased event
//     and the mark in the file key, then removes the bytes; a start removes those that a
//     crash left. The mark stays: the same bytes named again, or sent again, are
//     refused. Files lie apart by case, so that erasing in one case leaves another's.
//
// # Backup and restore
//
// A backup (package backup) is written by the process that has the folder open, which
// hears of it over the socket in the folder: KeepService of knowngood.board.v1. Who gets
// at the socket may read the folder as well, so nothing more is asked. The checkpoint,
// the names of the feeds and the view of the index are taken in the committer's turn,
// between two batches; the rest is read while the server goes on. All regular files of
// the folder go with it but log/, checkpoint, host, socket, and names that begin with
// a dot or end in '.new' or '.part'.
//
// Restore, with nobody having the folder open:
//
//  1. Takes the engine's own lock on the folder's log, so that no server starts
//     meanwhile. A folder of another server, or of no server, is refused.
//  2. Reads the whole backup and holds it against itself. Anything that does not hold
//     ends it here, before anything was written.
//  3. Reads it again into a folder beside, 'NAME.restoring-*': files as they are, records
//     and index through a Tree, so that each entry is checked, hashed and kept as when it
//     first came. The disk's reserve is kept.
//  4. Compares size and root with the backup's checkpoint, and begins an epoch: one more
//     than the backup's, or than that of the folder there is, whichever is more; so the
//     same backup restored twice does not give two histories one epoch.
//  5. Starts a server on it, which hashes all again, and has it write Restored into the
//     register of each shop.
//  6. Renames the folder that was there to 'NAME.before-' and the time, and the new one
//     into its place. Between the two renames nothing lies there: a server that finds
//     itself without its folder and with such a one beside does not begin as a new one.
//     A restore that is killed before leaves the folder of 3, which may be removed.
//
// What came after the backup is offered again by the homes that saw it (package
// client). What was erased, and tokens and access that were withdrawn after it, are as
// they were when it was made.
//
// # Joining
//
// A join code (package join) works once, for 15 minutes, for one shop and role, or for
// one case: then whoever joins becomes a guest specialist of the shop, and a grant to
// write in that case is written behind them, in the same batch. At most 100 codes of
// a shop are open at once. A token is 32 random bytes in base64url; only its hash is
// kept.
//
// # TLS
//
// There is nothing else: TLS 1.3, on loopback too, so that there is one way in and
// one way to test. The server has a certificate authority of its own (ECDSA on P-256,
// since browsers take no Ed25519), made at the first start and kept with its key in
// key.json: one file of secrets, and one that is missing when a log is there is
// refused. A folder from before TLS gets one; one that is harmed is refused and never
// made anew, since every device would take it for somebody else's.
//
// The authority is valid from 2000 through 2099. It signs the certificate that
// connections use, whose key lies in memory only: for localhost, the machine's names
// and addresses, and what Options.Reach adds; for 397 days, from a day before it was
// made. It is made anew when the server starts, when it has less than 30 days left,
// when the clock lies outside of it, and when the machine's addresses are others; that
// is looked at once a minute. Names and dates in it are for browsers that a page of
// the server is opened with, after they were told to trust the authority; devices
// look at neither (package client, Whom a home trusts). The connection sends the
// authority along, so that a device can hold it against its pin.
//
// # Meeting
//
// Meet proves, over the connection that it is called on, that this is the server: by
// a join code that the caller shows that it knows, and by the log's
// key, for a device that knows that one; package join has both. What fits no open code
// is answered as a code that is wrong, used or expired.
//
// # Limits
//
// Options.Limits has them, generous by intent: tries with join codes (Meet with a
// proof, and Join) and connections by address; calls, bytes brought and streams at once
// by device; calls with no token that is known, and Meet, by address. A minute is
// counted from the first call in it. What goes beyond is refused with REASON_LIMIT and
// how long to wait; a client keeps what it has and sends it later. A connection too
// many from one address is closed, since there is nobody yet to tell. One that has
// not finished its handshake within 20 s is closed. Counts are in memory.
//
// # One key in two places
//
// When an event of a device is refused because its number or the hash before it does
// not fit what is here (see Places, 3), the device is remembered as one that used a
// number twice, and People tells it to everybody of its shop, both holders of the key
// among them, for 30 days or until the device is withdrawn. From here a copied home and
// one that was put back from an older copy look alike. A copy that always fetches
// before it writes uses no number twice and is not noticed; nor is one that writes
// only in other cases.
package server
