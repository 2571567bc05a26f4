package ledger

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"fmt"
)

// SaltSize is the least number of random bytes in a salt.
const SaltSize = 16

// Commit returns what a record may hold in place of a value that must be erasable, such as a link
// to a patient: SHA-256(salt || value) in lower-case hexadecimal. Salt and value live outside the
// ledger; once the salt is gone the commitment tells nothing and the ledger still verifies.
//
// Salts that are compared must all have one length: whoever may choose the length could move the
// first bytes of a value into the salt. Commit panics on a salt of less than SaltSize bytes, since
// short values could be guessed.
func Commit(salt []byte, value string) string {
	if len(salt) < SaltSize {
		panic(fmt.Sprintf("ledger: a salt of %d bytes, expected %d or more", len(salt), SaltSize))
	}
	h := sha256.New()
	h.Write(salt)
	h.Write([]byte(value))
	return hex.EncodeToString(h.Sum(nil))
}

// CheckCommitment says whether commitment is that of value under salt; never with a salt that is
// missing or too short.
func CheckCommitment(commitment string, salt []byte, value string) bool {
	return len(salt) >= SaltSize && subtle.ConstantTimeCompare([]byte(commitment), []byte(Commit(salt, value))) == 1
}
