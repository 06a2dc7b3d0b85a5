// Package socket carries a log over a local socket: the process that has an engine
// open hosts it (Host), others of the same person reach it (Dial) and use it as if
// they had opened it themselves.
//
// # Where it lies
//
// In the folder that it is about (Listen), which is private to its owner, under the name
// 'socket'; where that path would be longer than 100 bytes, in a folder of its own among the
// temporary files. The file 'host' in the folder holds the path. A server's data
// folder has such a socket too, with another service on it (Connect).
//
// # The protocol
//
// knowngood.board.v1.LogService over a socket of the file system, method for
// method what log.Log says. Who may open the socket may do everything with the
// log, so it lies where only its owner gets in; nothing is encrypted, and nothing
// leaves the machine.
//
//  1. Dial connects and subscribes to changes (LogChanged); the first message says
//     that every append from now on is told. It fails with ErrGone when nobody
//     hosts.
//  2. LogAppend carries a batch and answers when the engine has. A fault says which
//     error of package log it was, so that log.Unknown says the same at both ends.
//  3. LogRead and LogScan send about 64 records or keys, or 256 KiB, a message, of
//     the moment at which they were called. A reader that stops reading holds the
//     stream and nothing of the engine.
//  4. When the host ends, or the connection is lost, calls fail with ErrGone. Of an
//     append nobody then knows whether it was kept: whoever finds the log again,
//     hosted by another or opened by itself, looks.
//
// Closing a dialled log closes the connection and not the log.
package socket
