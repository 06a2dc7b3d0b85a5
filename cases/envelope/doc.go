// Package envelope holds the rules of an event's bytes: how they are signed,
// hashed and told apart without being marshalled a second time.
//
// An event is a marshalled knowngood.event.v1.Event. On the raw bytes:
//
//   - at most 64 KiB;
//   - exactly one field with a number of 100 or more, present once and
//     length-delimited: the kind, whether this build knows it or not;
//   - no known field below 100 twice, except because (12), and none with another
//     wire type than its own: parsers disagree on what would count;
//   - unknown fields below 100 are kept.
//
// The signature is Ed25519 over "knowngood/event/1\n" followed by SHA-256 of
// the bytes. A device numbers its events in each stream from 1 and names the
// SHA-256 of its previous event's bytes in prev.
//
// An entry is a marshalled knowngood.event.v1.Entry. It repeats the event's id,
// stream, device, device_seq, prev and kind, so that they outlive the event's
// bytes when those are erased.
package envelope
