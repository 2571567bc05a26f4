package store

import (
	"crypto/hmac"
	"crypto/sha256"
)

// Disguise returns bytes that stand for a name: the same for the same name as long as the site has its
// signing key, and of no use to anybody who does not have that key. Sorted by them, names come in an
// order that tells nothing of them.
func (db *DB) Disguise(name string) [sha256.Size]byte {
	mac := hmac.New(sha256.New, db.disguise)
	mac.Write([]byte(name))
	return [sha256.Size]byte(mac.Sum(nil))
}

// disguiseKey derives the key of Disguise from the file of the signing key, so that there is one secret
// of a site and not two (HKDF's extract step: RFC 5869, section 2.2).
func disguiseKey(signing []byte) []byte {
	mac := hmac.New(sha256.New, []byte("rinsate disguise of names"))
	mac.Write(signing)
	return mac.Sum(nil)
}
