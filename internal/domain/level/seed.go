package level

import "crypto/sha256"

// seed turns a text into the state of a generator, another one for each use of the same text.
func seed(text, use string) [32]byte {
	return sha256.Sum256([]byte(use + "\x00" + text))
}
