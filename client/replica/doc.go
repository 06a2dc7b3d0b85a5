// Package replica keeps one home's log: in a local engine, opened by one process
// and shared with the others of the same home.
//
// # The folder
//
//	log/          the engine, kept by Badger
//	log.found/    what Badger found when it was last opened, until that was accepted
//	count         how many batches were acknowledged, see below
//	opening       lock: held while the engine is opened, and while a damaged one is
//	              set aside
//	host          the path of the socket on which the owner hosts the log
//	socket        that socket, where the folder's path is short enough; else it lies
//	              in a folder of its own among the temporary files
//	damaged-*/    a log and its count that did not hold, as they were found
//
// # Who has it open
//
//  1. Whoever needs the log takes the lock 'opening' and opens the engine. Having
//     it, the process is the owner: it hosts the log on a socket (package socket),
//     writes 'host', and lets the lock go.
//  2. The engine is held by another: its socket is dialled. While nobody answers
//     there, because the owner is only starting or is ending, both are tried again.
//  3. An owner that ends closes the socket and then the engine. Those who used it
//     begin again with 1, and go on with what they were doing. An owner that is
//     killed leaves a socket on which nobody answers, and no lock.
//
// # The count
//
// An engine that was cut short may open without an error and be without its last
// batches. So each batch carries its number under the index key
//
//	00 'b'  ->  number of batches (8 bytes, big endian)
//
// and once the engine has synced it the number is written to 'count', which is a
// checkpoint file (package log) whose notes are empty, and synced as well. Only
// then is the batch acknowledged. Of an engine that is opened may be accepted: as
// many batches as counted; or one more, which a crash between the two leaves, and
// which then stands. Everything else is damage.
//
// # What was appended when the owner went away
//
// A process whose append through the socket ended without an answer reads the
// number of batches again, wherever the log is open then: one more, and it was
// kept; as many, and it was not, and is appended again. For this nobody else may
// append in between: whoever appends holds a lock of the home (Append says so).
//
// # Damage
//
// A log that does not hold is never repaired in place. Its files go to
// damaged-TIME, a new one begins, and what can be read in the old files is taken
// over by whoever knows what lies in them (Options.Salvage), before the new log
// is used. The index key 'salvaged/' and the folder's name says that this was done;
// without it, it is done when the log is opened next.
package replica
