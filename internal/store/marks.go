package store

import (
	"encoding/binary"
	"fmt"
	"iter"
	"math/bits"

	"rinsate/internal/base/fault"
)

// blockSize is how many records the index takes together.
const blockSize = 2048

// marks says which records of a block are meant.
type marks [blockSize / 64]uint64

// all are the records of a whole block.
func all() (m marks) {
	for i := range m {
		m[i] = ^uint64(0)
	}
	return m
}

func (m *marks) set(i int64) { m[i/64] |= 1 << (i % 64) }

func (m *marks) and(o *marks) {
	for i := range m {
		m[i] &= o[i]
	}
}

func (m *marks) or(o *marks) {
	for i := range m {
		m[i] |= o[i]
	}
}

// below leaves only the first n records.
func (m *marks) below(n int64) {
	for i := range m {
		switch from := int64(i) * 64; {
		case from >= n:
			m[i] = 0
		case from+64 > n:
			m[i] &= 1<<(n-from) - 1
		}
	}
}

func (m *marks) count() (n int) {
	for _, w := range m {
		n += bits.OnesCount64(w)
	}
	return n
}

// backwards yields the places of the marked records, the last first.
func (m *marks) backwards() iter.Seq[int64] {
	return func(yield func(int64) bool) {
		for i := len(m) - 1; i >= 0; i-- {
			for w := m[i]; w != 0; {
				top := 63 - bits.LeadingZeros64(w)
				w &^= 1 << top
				if !yield(int64(i)*64 + int64(top)) {
					return
				}
			}
		}
	}
}

// bytes writes the marks in the shorter of their two forms, so that equal marks have equal bytes.
func (m *marks) bytes() []byte {
	if n := m.count(); 2*n < blockSize/8 {
		b := make([]byte, 0, 2*n)
		for i := range m {
			for w := m[i]; w != 0; w &= w - 1 {
				b = binary.BigEndian.AppendUint16(b, uint16(i*64+bits.TrailingZeros64(w)))
			}
		}
		return b
	}
	b := make([]byte, 0, blockSize/8)
	for _, w := range m {
		b = binary.BigEndian.AppendUint64(b, w)
	}
	return b
}

// readMarks reads what bytes wrote.
func readMarks(b []byte) (m marks, err error) {
	switch {
	case len(b) == blockSize/8:
		for i := range m {
			m[i] = binary.BigEndian.Uint64(b[8*i:])
		}
	case len(b)%2 == 0 && len(b) < blockSize/8:
		for ; len(b) > 0; b = b[2:] {
			i := binary.BigEndian.Uint16(b)
			if i >= blockSize {
				return m, damagedIndex(fmt.Sprintf("there is no record %d in a block", i))
			}
			m.set(int64(i))
		}
	default:
		return m, damagedIndex(fmt.Sprintf("marks of %d bytes", len(b)))
	}
	return m, nil
}

// damagedIndex says that the index is not what this program wrote.
func damagedIndex(what string) error {
	return &fault.Error{Code: fault.Broken, Message: "the index of the records is damaged: " + what, Hint: "rebuild the tables with: rinsate ledger rebuild"}
}
