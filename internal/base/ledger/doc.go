// Package ledger answers what was recorded at a site, in which order, and whether anything was
// changed, dropped or cut off since. It keeps one append-only Merkle log per site.
//
// It never judges what a record means, never reads a clock, a file or a database by itself, and
// offers no way to change or remove a record: a correction is a further record that names the one
// it corrects and says why.
//
// Read Record first, then Frontier (how a log grows), Checkpoint (how its state is signed),
// Verifier and VerifyExport (how it is checked). The bytes below are promised: a log written by one
// version of the program verifies with every later one, and testdata/v1 is kept to prove it.
//
// # Record, version 1
//
// A record is one JSON object in the form of RFC 8785: UTF-8, no spaces, keys in the order below,
// at most 65535 bytes, no line end. Fields marked ? are left out when empty.
//
//	at         whole number, microseconds since 1970-01-01T00:00:00Z, when it happened as claimed
//	because ?  array of record ids that this record follows from
//	body       object; what it holds depends on type; its numbers are whole and below 2^53,
//	           other quantities are strings such as "6.4"
//	body_v   ? version of what the body holds, from 2; left out when it is the first one of its type
//	by         code of the person who acted, "" if none did
//	corrects ? id of the record that this one corrects or voids
//	device ?   name of the device it came from
//	id         UUID of version 7 (made here) or 8 (derived from an imported row), lower case
//	reason ?   why; always there when corrects is
//	recorded   like at, when it was written by this computer
//	seq        0 for the first record, then one more each
//	site       name of the site, the same throughout
//	type       what kind of record; neither type nor site holds a quote, a backslash or a control
//	           character
//	v          1
//
// No record holds a patient's data: in their place stands a salted commitment (Commit), whose salt
// and value are kept, and may be erased, elsewhere. The same is true of every text that somebody typed
// freely, such as a note or the reason: in its place stands the text "sha256:" and 64 hexadecimal
// digits in lower case, which are SHA-256(salt || text) with a salt of 32 random bytes of its own. No
// other text of a record has that form. Which fields these are docs/records.md says; one that is empty
// stays empty. Once salt and text are erased the commitment tells nothing, and the log still verifies.
//
// # Tree, checkpoint, proof
//
// The tree is that of RFC 6962 section 2.1: leaf = SHA-256(0x00 || record), node =
// SHA-256(0x01 || left || right), empty tree = SHA-256 of nothing. Beside each record is stored one
// blob: the leaf hash and one hash for each subtree that the record completes, lowest first.
//
// A checkpoint is a C2SP signed note with three lines, each ended by a line feed (0x0A): origin,
// size in decimal, root in base64. After an empty line follow signature lines: an em dash
// (U+2014), a space, the key's name, a space, and base64 of 4 bytes key id and 64 bytes Ed25519
// signature over the three lines. Key id = first 4 bytes of SHA-256(name || 0x0A || 0x01 ||
// public key).
//
// A proof is a C2SP tlog-proof: the line c2sp.org/tlog-proof@v1, optionally "extra " and base64,
// "index " and the seq, the hashes in base64 one a line from the leaf's sibling up, an empty line,
// the checkpoint.
//
// # Export
//
// An export has the files of C2SP tlog-tiles; n is written as x001/x234/067, full files hold 256
// entries and others end in .p/ and their number:
//
//	checkpoint           the signed checkpoint
//	tile/entries/<n>     records, each after its length as big-endian uint16
//	tile/0/<n>           leaf hashes of the same records, 32 bytes each
//	tile/<level>/<n>     roots of full tiles one level down
//
// Where the free texts are handed out too, texts.jsonl has one JSON object a line for each that was not
// erased, in the order of the records:
//
//	seq     of the record
//	field   "reason", or "body." and the way into the body: "body.note", "body.round.points[2].not_applicable"
//	salt    32 bytes in base64
//	text    as it was typed
//
// # What can be checked
//
// Whoever holds an export and the public key can check that the checkpoint is signed, that every
// record leads to its root, that seq has no gaps and counts to size, that an older checkpoint names
// the beginning of this log, and that a printed report's records are in it. A checkpoint that was
// handed out (printed, mailed, given to a second site) makes a later cut or rewriting visible.
//
// What cannot be proved: that a value was true when it was entered, that nothing was left
// unrecorded, that at is right (recorded only bounds it), that two parties were shown the same log
// unless they compare checkpoints, and anything after the last checkpoint that left the computer.
//
// # Checking by hand
//
// With vkey a file that holds the public key's line, openssl and sha256sum are enough:
//
//	sed '/^$/,$d' checkpoint >text
//	sed -n '/^$/,$p' checkpoint | sed -n 's/^[^ ]* [^ ]* //p' | head -n 1 | base64 -d | tail -c 64 >sig
//	{ printf '\060\052\060\005\006\003\053\145\160\003\041\000'; cut -d+ -f3- vkey | base64 -d | tail -c 32; } >key.der
//	openssl pkeyutl -verify -pubin -keyform DER -inkey key.der -rawin -in text -sigfile sig
//	{ printf '\000'; cat record.json; } | sha256sum    # the leaf hash of one record
//	{ printf '\001'; cat left right; } | sha256sum     # the node over two hashes of 32 bytes
//	{ base64 -d salt; printf 'the text'; } | sha256sum # what stands behind "sha256:" in its record
//
// (The twelve bytes before the key are the DER prefix of an Ed25519 public key, RFC 8410.)
package ledger
