// Package secret answers how a short secret is kept so that only whoever has a key can read it, such as a patient's
// number: a value is sealed together with what it belongs to, so that a sealed value that was changed, or moved to
// another place, does not open. It can be found again by a keyed hash, which tells nothing without the key.
//
// A key is a file of its own: it never lies in the database whose values it opens. Read Key first.
package secret

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
)

// The errors of Open.
var (
	// ErrOtherKey is a value that was sealed with another key.
	ErrOtherKey = errors.New("sealed with another key")
	// ErrChanged is a value that was changed, or moved away from what it belongs to.
	ErrChanged = errors.New("changed since it was sealed, or moved to another place")
)

// Key seals values and opens them. The zero Key is none.
type Key struct {
	id     [idSize]byte
	aead   cipher.AEAD
	finder []byte
}

const (
	prefix   = "rinsate-patients-key-1 "
	rootSize = 32
	idSize   = 8
	// version is the first byte of what was sealed.
	version = 1
	// block is what lengths are rounded up to, so that a sealed value does not tell how long it is.
	block = 64
)

// Generate returns the text of a new key, as a file holds it.
func Generate(random io.Reader) ([]byte, error) {
	root := make([]byte, rootSize)
	if _, err := io.ReadFull(random, root); err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	return []byte(prefix + base64.StdEncoding.EncodeToString(root) + "\n"), nil
}

// Parse reads the text of a key. What seals, what finds and what names the key are derived from it, each apart from the
// others (HKDF with SHA-256, RFC 5869).
func Parse(text []byte) (Key, error) {
	encoded, ok := strings.CutPrefix(strings.TrimSpace(string(text)), strings.TrimSpace(prefix)+" ")
	root, err := base64.StdEncoding.DecodeString(encoded)
	if !ok || err != nil || len(root) != rootSize {
		return Key{}, errors.New("it does not hold a key: one line that begins with " + strings.TrimSpace(prefix))
	}
	derive := func(what string, size int) []byte {
		key, err := hkdf.Key(sha256.New, root, nil, "rinsate patients "+what, size)
		if err != nil {
			panic(err) // only for sizes that no caller asks for
		}
		return key
	}
	c, err := aes.NewCipher(derive("seal", 32))
	if err != nil {
		return Key{}, fmt.Errorf("key: %w", err)
	}
	k := Key{finder: derive("find", 32)}
	if k.aead, err = cipher.NewGCM(c); err != nil {
		return Key{}, fmt.Errorf("key: %w", err)
	}
	copy(k.id[:], derive("name", idSize))
	return k, nil
}

// Known says whether it is a key.
func (k Key) Known() bool { return k.aead != nil }

// ID names the key: it stands in whatever was sealed with it, from the second byte on, and tells nothing of the key.
func (k Key) ID() []byte { return bytes.Clone(k.id[:]) }

// Seal returns a value that only Open with the same key and the same words for what it belongs to gives back. Each time it is
// another text: AES-256-GCM with a random nonce (NIST SP 800-38D), which is safe for some thousand million values.
func (k Key) Seal(random io.Reader, value []byte, belongs ...string) ([]byte, error) {
	sealed := append(append(make([]byte, 0, 128+len(value)), version), k.id[:]...)
	nonce := make([]byte, k.aead.NonceSize())
	if _, err := io.ReadFull(random, nonce); err != nil {
		return nil, fmt.Errorf("seal: %w", err)
	}
	plain := binary.BigEndian.AppendUint32(nil, uint32(len(value))) //nolint:gosec // values are short
	plain = append(plain, value...)
	plain = append(plain, make([]byte, (block-len(plain)%block)%block)...)
	return k.aead.Seal(append(sealed, nonce...), nonce, plain, bound(belongs)), nil
}

// Open returns what was sealed, ErrOtherKey or ErrChanged.
func (k Key) Open(sealed []byte, belongs ...string) ([]byte, error) {
	if len(sealed) < 1+idSize+k.aead.NonceSize() || sealed[0] != version {
		return nil, ErrChanged
	}
	if !bytes.Equal(sealed[1:1+idSize], k.id[:]) {
		return nil, ErrOtherKey
	}
	rest := sealed[1+idSize:]
	plain, err := k.aead.Open(nil, rest[:k.aead.NonceSize()], rest[k.aead.NonceSize():], bound(belongs))
	if err != nil || len(plain) < 4 {
		return nil, ErrChanged
	}
	n := binary.BigEndian.Uint32(plain)
	if uint64(n) > uint64(len(plain)-4) {
		return nil, ErrChanged
	}
	return plain[4 : 4+n], nil
}

// Find returns by what a value is found again: the same for the same value and place, and nothing to whoever lacks the key.
func (k Key) Find(value string, belongs ...string) []byte {
	mac := hmac.New(sha256.New, k.finder)
	mac.Write(bound(append(belongs, value)))
	return mac.Sum(nil)
}

// bound puts words one after the other so that no two lists of words give the same bytes.
func bound(words []string) []byte {
	var all []byte
	for _, w := range words {
		all = append(binary.AppendUvarint(all, uint64(len(w))), w...)
	}
	return all
}
