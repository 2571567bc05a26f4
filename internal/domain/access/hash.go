package access

import (
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost is what a hash of a secret takes: memory in KiB, passes over it, and lanes.
type Cost struct {
	Memory uint32
	Passes uint32
	Lanes  uint8
}

// Standard is the cost of new hashes: Argon2id with 19 MiB, two passes and one lane (OWASP Password
// Storage Cheat Sheet, 2025).
var Standard = Cost{Memory: 19456, Passes: 2, Lanes: 1}

// Lengths of a hash, in bytes, and the least and most that is accepted: RFC 9106 section 3.1 asks for a
// salt of 8 bytes or more and recommends 16, and a tag of 4 or more. The upper bounds, as those of the
// cost below, keep a text that somebody has put into the database from using up the machine.
const (
	saltLength, keyLength = 16, 32

	shortestSalt, longestSalt = 8, 64
	shortestKey, longestKey   = 16, 64
	longestHash               = 256
	mostMemory                = 256 << 10 // KiB
	mostPasses                = 16
	mostLanes                 = 4
)

// Hash is a salted, slow hash of a password or a PIN.
type Hash struct {
	Cost      Cost
	Salt, Key []byte
}

// check refuses a cost that is weaker than the algorithm allows or too dear for this machine.
func (c Cost) check() error {
	switch {
	case c.Passes < 1 || c.Passes > mostPasses:
		return fmt.Errorf("t=%d is outside 1 to %d", c.Passes, mostPasses)
	case c.Lanes < 1 || c.Lanes > mostLanes:
		return fmt.Errorf("p=%d is outside 1 to %d", c.Lanes, mostLanes)
	case c.Memory < 8*uint32(c.Lanes) || c.Memory > mostMemory:
		return fmt.Errorf("m=%d is outside %d to %d", c.Memory, 8*uint32(c.Lanes), mostMemory)
	}
	return nil
}

// HashSecret hashes the normal form of a password or a PIN with a new salt from random.
func HashSecret(secret string, cost Cost, random io.Reader) (Hash, error) {
	if err := cost.check(); err != nil {
		return Hash{}, fmt.Errorf("%w: cost of a hash: %w", ErrArgument, err)
	}
	if err := checkText(secret); err != nil {
		return Hash{}, err
	}
	salt := make([]byte, saltLength)
	if _, err := io.ReadFull(random, salt); err != nil {
		return Hash{}, fmt.Errorf("no randomness for a salt: %w", err)
	}
	return Hash{cost, salt, derive(secret, cost, salt, keyLength)}, nil
}

// Decoy returns a hash that no secret has; checking against it takes as long as against a real one of
// that cost. It stands in for the hash of an account that does not exist.
func Decoy(cost Cost) Hash {
	return Hash{cost, make([]byte, saltLength), make([]byte, keyLength)}
}

func derive(secret string, c Cost, salt []byte, length int) []byte {
	return argon2.IDKey([]byte(Normal(secret)), salt, c.Passes, c.Memory, c.Lanes, uint32(length)) //nolint:gosec // lengths are at most 64
}

// Matches says whether the secret is the one that was hashed. The hashes are compared in constant time.
// A secret that CheckPassword would refuse for its length or its characters never matches.
func (h Hash) Matches(secret string) bool {
	if h.check() != nil || checkText(secret) != nil {
		return false
	}
	return subtle.ConstantTimeCompare(derive(secret, h.Cost, h.Salt, len(h.Key)), h.Key) == 1
}

// Dated says that the hash was made at another cost or length than new ones are, so that it should be
// made anew when the secret is next at hand.
func (h Hash) Dated(cost Cost) bool {
	return h.Cost != cost || len(h.Salt) != saltLength || len(h.Key) != keyLength
}

func (h Hash) check() error {
	if err := h.Cost.check(); err != nil {
		return err
	}
	if len(h.Salt) < shortestSalt || len(h.Salt) > longestSalt || len(h.Key) < shortestKey || len(h.Key) > longestKey {
		return fmt.Errorf("the salt has %d bytes and the hash %d", len(h.Salt), len(h.Key))
	}
	return nil
}

// String returns the hash in the PHC string format:
// $argon2id$v=19$m=19456,t=2,p=1$salt$hash, the last two in base64 without padding.
func (h Hash) String() string {
	text := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.Cost.Memory, h.Cost.Passes, h.Cost.Lanes,
		text.EncodeToString(h.Salt), text.EncodeToString(h.Key))
}

// ParseHash reads what String writes and nothing else: another algorithm or version, another order,
// leading zeros, padding, and costs beyond the limits are errors that wrap ErrArgument.
func ParseHash(text string) (Hash, error) {
	h, err := parseHash(text)
	if err != nil {
		return Hash{}, fmt.Errorf("%w: hash of a secret: %w", ErrArgument, err)
	}
	return h, nil
}

func parseHash(text string) (h Hash, err error) {
	if len(text) > longestHash {
		return h, fmt.Errorf("it is %d bytes long, the limit is %d", len(text), longestHash)
	}
	parts := strings.Split(text, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return h, errors.New("it is not of the form $argon2id$v=19$m=...,t=...,p=...$salt$hash")
	}
	costs := strings.Split(parts[3], ",")
	if len(costs) != 3 {
		return h, fmt.Errorf("%q is not a cost of the form m=,t=,p= with a number each", parts[3])
	}
	var values [3]uint64
	for i, limit := range [3]struct {
		name string
		bits int
	}{{"m=", 32}, {"t=", 32}, {"p=", 8}} {
		digits, found := strings.CutPrefix(costs[i], limit.name)
		if values[i], err = strconv.ParseUint(digits, 10, limit.bits); err != nil || !found {
			return h, fmt.Errorf("%q is not a cost of the form %snumber", costs[i], limit.name)
		}
	}
	h.Cost = Cost{uint32(values[0]), uint32(values[1]), uint8(values[2])}
	if h.Salt, err = base64.RawStdEncoding.Strict().DecodeString(parts[4]); err != nil {
		return h, fmt.Errorf("salt: %w", err)
	}
	if h.Key, err = base64.RawStdEncoding.Strict().DecodeString(parts[5]); err != nil {
		return h, fmt.Errorf("key: %w", err)
	}
	if err := h.check(); err != nil {
		return h, err
	}
	if h.String() != text { // leading zeros, line ends inside base64
		return h, errors.New("it is not in its canonical form")
	}
	return h, nil
}
