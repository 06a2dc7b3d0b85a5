// Package badger keeps a log in a directory, with Badger.
//
// # Settings
//
// Every commit is synced before it is shown or confirmed: on Linux by an fdatasync
// of the write-ahead log it lies in, elsewhere by Badger (SyncWrites). All values lie in the tree and none in the
// value log, so that no key can outlive its value. There is no compression and no
// block cache: files are mapped, and the page cache does the rest. One process has
// the directory open at a time; another gets log.ErrHeld with the number of the
// one that has it. Badger's log goes to a slog.Logger or nowhere.
//
// # Keys
//
// Numbers are big endian. A name is a stream or feed of 1 to 1024 bytes, any bytes;
// its length in front keeps it from being taken for the beginning of another.
//
//	'r' length(2) stream seq(8)      a record: index(8)
//	                                 length(2) tree hashes length(4) entry
//	                                 and the rest is the event, empty once erased
//	'p' index(8)                     seq(8) stream: where that record lies
//	'f' length(2) feed number(8)     seq(8) stream
//	'x' index(8)                     empty: the event's bytes were erased
//	'i' key                          the value of an index key
//	'm' 'f'                          "knowngood log 2", the format
//	'm' 's'                          the sum of all other keys and values (32)
//	'm' 'x'                          empty: bytes were erased and the tables not yet rewritten
//
// A case is read far more often than a log or a feed, so its records lie side by
// side; the others cost a look-up each. (Format 1 had an entry, its event, its tree
// hashes and its place in a case under a key each: reading and writing both cost
// half as much again.)
//
// The sum is the SHA-256 of length(4) key value for each pair, taken as four
// 64-bit numbers and added up, each modulo 2^64. It is written in every commit,
// and opening reads every key and compares. Badger opens without an error over a
// directory from which a table or the middle of its write-ahead logs is missing;
// the sum tells. It does not tell when all of it is of an earlier moment: that is
// what the checkpoint beside the log is for (log.Tree), so a log that matters is
// opened with one.
//
// # Before Badger opens
//
// Badger ends the process over a damaged table, deletes tables its manifest does
// not name, and cuts a write-ahead log where it stops making sense. So, under the
// lock that Badger itself takes, every checksum in every table is verified first; a
// manifest that is cut short, or does not name a table that is there, is refused
// unless a write-ahead log shows that the last run was interrupted; and the files
// are kept under the directory's name with ".found", tables by a second name, the
// rest as copies. They go when the log is accepted (Accept), which log.OpenTree
// does once all is compared and the first append does otherwise; after a refusal
// they stay for whoever wants to look. A write-ahead log of no bytes, which a run
// leaves that is killed while it begins one, is removed: Badger does not open over it.
//
// # Full disk
//
// Badger maps its files, and a write to a map of a full disk ends the process. An
// append is refused with log.ErrFull while less than the reserve is free; reading
// goes on. Where free space cannot be asked for (neither Linux nor
// macOS) there is no reserve.
//
// # Errors while it runs
//
// After a commit that failed in any other way than by its size the log takes
// nothing more until it is opened again. A record that cannot be read yields
// log.ErrDamaged: its place is known. An index key in a block that rots on the disk
// while the process runs reads as absent, because Badger shows both alike; Verify
// reads everything and tells, and so does the next Open.
//
// # What Badger leaves of erased bytes
//
// An erased event is out of sight at once. Its bytes stay in the write-ahead log
// until that is flushed, and in a table until that is rewritten. Opening the log
// after an erasure rewrites the tables, as often as it takes until no version of an
// erased event is left in them. Freed blocks of the disk are not overwritten: that is
// the file system's, or the disk's encryption's.
//
// # Power loss
//
// Badger syncs the directory when it begins a write-ahead log, before it writes to
// it. Should its name be lost all the same, the log is shorter than its checkpoint
// and refused.
package badger
