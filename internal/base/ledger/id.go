package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io"

	"github.com/google/uuid"

	"rinsate/internal/base/unit"
)

// ID names a record for ever: a UUID of version 7 (new records) or 8 (records derived from an
// imported row), in lower case with hyphens. Records are ordered by Seq, never by ID.
type ID string

// NewID returns a UUID of version 7 (RFC 9562 section 5.7): the millisecond of now, then 74 bits
// from rand. It shows when it was made, so it must not stand for a patient. NewID panics when
// rand fails, since ids without randomness would collide; crypto/rand.Reader never does.
func NewID(now unit.Instant, rand io.Reader) ID {
	var u uuid.UUID
	binary.BigEndian.PutUint64(u[:], uint64(now/1000)<<16)
	if _, err := io.ReadFull(rand, u[6:]); err != nil {
		panic(fmt.Sprintf("ledger: no randomness for an id: %v", err))
	}
	return stamp(u, 7)
}

// DerivedID returns a UUID of version 8 (RFC 9562 section 5.8) that depends on parts alone, so
// that the same row imported twice has the same id: the first 16 bytes of SHA-256 over every part
// preceded by its length as a big-endian uint64, then the version and variant bits.
func DerivedID(parts ...string) ID {
	h := sha256.New()
	for _, p := range parts {
		h.Write(binary.BigEndian.AppendUint64(nil, uint64(len(p))))
		h.Write([]byte(p))
	}
	return stamp(uuid.UUID(h.Sum(nil)[:16]), 8)
}

// ParseID reads a UUID of version 7 or 8 with hyphens, in either case; the result is lower case.
func ParseID(s string) (ID, error) {
	u, err := uuid.Parse(s)
	if err != nil || len(s) != 36 || u.Variant() != uuid.RFC4122 || u.Version() != 7 && u.Version() != 8 {
		return "", fmt.Errorf("%q is not a record id: expected a UUID of version 7 or 8 such as 017f22e2-79b0-7cc3-98c4-dc0c0c07398f", s)
	}
	return ID(u.String()), nil
}

func stamp(u uuid.UUID, version byte) ID {
	u[6] = u[6]&0x0f | version<<4
	u[8] = u[8]&0x3f | 0x80
	return ID(u.String())
}

// proper says whether id is exactly what ParseID returns, without allocating.
func (id ID) proper() bool {
	if len(id) != 36 {
		return false
	}
	for i := range len(id) {
		var ok bool
		b := id[i]
		switch i {
		case 8, 13, 18, 23:
			ok = b == '-'
		case 14:
			ok = b == '7' || b == '8'
		case 19:
			ok = b == '8' || b == '9' || b == 'a' || b == 'b'
		default:
			ok = b >= '0' && b <= '9' || b >= 'a' && b <= 'f'
		}
		if !ok {
			return false
		}
	}
	return true
}
