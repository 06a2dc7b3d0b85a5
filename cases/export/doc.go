// Package export is a case as a file that needs no server: lines of JSON
// (RFC 8259), UTF-8, one value a line.
//
// The first line is the head:
//
//	{"knowngood_export": 1,
//	 "log":        id of the log, 16 lower-case hexadecimal digits,
//	 "case":       stream id of the case,
//	 "entries":    how many entries follow,
//	 "log_key":    verifier key of the log (golang.org/x/mod/sumdb/note),
//	 "checkpoint": the signed checkpoint the proofs lead to, as text,
//	 "devices":    [{"device": id, "key": base64 of 32 bytes, "person": id, "held_by_server": true}],
//	 "shops":      [{"shop": id, "name": text}],
//	 "people":     [{"person": id, "name": text, "shop": id, "role": text,
//	                 "left": true where they no longer work there}]}
//
// shops and people hold the names of the erasable table and are left out when
// names are. Each line after it is one entry, by seq:
//
//	{"entry":     base64 of the entry's bytes: the Merkle leaf,
//	 "event":     base64 of the event's bytes; left out when erased,
//	 "signature": base64 of the device's signature, as in the entry,
//	 "proof":     [base64 of 32 bytes], the inclusion proof, deepest hash first,
//	 "view":      the event as protojson, to be read; the bytes rule}
//
// Nothing else is needed to check it: every event has the hash its entry says,
// every signature fits its device's key, every entry lies under the root of the
// checkpoint, and the checkpoint bears the log's signature. That proves that the
// log holds these entries in this order and who wrote them as far as the device
// keys are known to be theirs; compare log_key with one learned another way.
//
// Where something does not hold, who stands by what is there says by whom it cannot
// have been changed. Three things speak for an entry: its event has the hash it names; the
// device signed that hash; it lies under the checkpoint.
//
//	hash  signature  tree   so
//	no    yes        yes    the bytes were changed in this copy, with neither key
//	any   no         yes    put in the log in that name by whoever could write there, and
//	                        not with the device's key
//	yes   yes        no     the words are the device's; place, time or sender were made up,
//	                        with neither the device's key nor the log's
//	no    yes        no     other words were signed: changed with neither key
//	any   no         no     made up or changed with neither key
//
// Since when: after the server took it, by the moment in the entry, where the log stands
// by the entry; a home adds when it last proved its own.
//
// Writing what was read gives the same lines, byte for byte.
package export
