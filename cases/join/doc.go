// Package join is what a server and a device that joins say to each other: the
// join code, the link that a QR code holds, the pin, and the proofs by which two
// that have only a code in common find out that nobody stands between them.
//
// # Code
//
// 12 letters of Crockford's base 32 (digits, and letters without I, L, O, U), 60
// bits drawn at random, written in groups of four: K3QX-09ZM-7HTA. As typed,
// capitals, spaces and hyphens do not matter; O is 0, I and L are 1.
//
// # Pin
//
// A server has a certificate authority of its own, for itself alone. The pin is
// SHA-256 of the DER bytes of the authority's SubjectPublicKeyInfo (RFC 5280,
// 4.1), 32 bytes; as text 52 letters of the same base 32, no padding. It is of the
// key, not of the certificate, so that the certificate may be written anew.
//
// # Link
//
// What a QR code holds, and 'join' needs nothing else:
//
//	code "/" pin "/" host:port { "/" host:port }
//
// Capitals do not matter anywhere in it, so that a QR code can hold it in capitals,
// which are smaller there. Whoever has a link knows the server before anything is
// sent: its TLS connection is refused when it does not lead to the pin.
//
// # Meeting
//
// A code read aloud across a bay carries no pin; 60 bits of pin more would be
// twelve letters more. So the code itself is the secret by which the two meet:
//
//		key      PBKDF2-HMAC-SHA-256 (RFC 8018) of the code's 12 letters without hyphens,
//		         salt "knowngood join 1", 65,536 rounds, 32 bytes
//		channel  32 bytes of keying material exported from the TLS 1.3 connection
//		         (RFC 8446, 7.5) under the label "EXPERIMENTAL knowngood join 1", no context
//
//	 1. The device connects with TLS 1.3 and takes whatever authority the other side
//	    shows, so long as it leads to the certificate that the connection rests on.
//	 2. It sends HMAC-SHA-256(key, "device\n" channel), and nothing else.
//	 3. The server holds that against each code that is open, each in the same time,
//	    and answers with HMAC-SHA-256(key, "server\n" channel). Where none fits it
//	    refuses; the try is counted by address and uses up no code.
//	 4. The device holds the answer against its own. When it fits, the authority of
//	    step 1 is the server's: its pin is kept. When not, nothing more is sent.
//	 5. It connects anew with the pin, as with a link, and only now sends the code, its
//	    name and its key.
//
// Somebody in between has two connections with two channels, and what is proven
// over one proves nothing over the other. The exported material rests on the whole
// handshake, certificates included, so they cannot be exchanged either. To listen is
// no use: TLS. What is left to somebody in between is to try codes against the proof
// of step 2: 2^59 tries on average of 2^17 hashes each, for a code that is void once
// it was used or after a quarter of an hour. A million machines that do ten thousand
// million hashes a second each would find one of some 16,000 codes in that time.
//
// Twelve letters are few enough to be read aloud, and too many to be guessed at
// the server, which allows some tries a minute (package server). A shorter secret would need an
// exchange that gives nothing to try against, for which Go's standard library has
// nothing; none is made here.
//
// To a device that joined once and knows the key of the server's log, the server proves
// itself by that: its answer also has the Ed25519 signature of "knowngood/meet/1\n" and
// the channel. Nothing else that the key signs begins like that.
//
// The server keeps the key of a code, not the code, and forgets it with the code.
// Whoever can read it can read the server's own key beside it.
package join
