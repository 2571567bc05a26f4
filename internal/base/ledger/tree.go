package ledger

import (
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// maxSize bounds the size of a tree that is read from outside. x/mod/sumdb/tlog does not
// terminate for sizes above 2^62, and a seq must be below 2^53 anyway.
const maxSize = maxInteger

// Frontier is the right edge of a Merkle tree (RFC 6962 section 2.1): all that is needed to add
// records and to know the root. The zero value is the empty tree. It is a plain value: a copy is a
// snapshot, to be put back when a transaction fails.
type Frontier struct {
	size int64
	// edge[i] is the hash of the complete subtree of 2^i records that ends the tree, where bit i
	// of size is set.
	edge [53]tlog.Hash
}

// NewFrontier rebuilds the right edge of the tree of the given size from at most 53 of its stored
// hashes.
func NewFrontier(size int64, r tlog.HashReader) (Frontier, error) {
	f := Frontier{size: size}
	if size < 0 || size > maxSize {
		return Frontier{}, fmt.Errorf("a tree of size %d is not possible", size)
	}
	var indexes []int64
	for i := len(f.edge) - 1; i >= 0; i-- {
		if size>>i&1 == 1 {
			indexes = append(indexes, tlog.StoredHashIndex(i, size>>i-1))
		}
	}
	hashes, err := r.ReadHashes(indexes)
	if err != nil {
		return Frontier{}, fmt.Errorf("read the edge of the tree at size %d: %w", size, err)
	}
	if len(hashes) != len(indexes) {
		return Frontier{}, fmt.Errorf("read the edge of the tree at size %d: %d hashes, expected %d", size, len(hashes), len(indexes))
	}
	for i := range f.edge {
		if size>>i&1 == 1 {
			f.edge[i], hashes = hashes[len(hashes)-1], hashes[:len(hashes)-1]
		}
	}
	return f, nil
}

// Append adds a record's bytes and returns the hashes to store with it, lowest level first: its
// leaf hash, then one for every subtree that it completes. They are those of tlog.StoredHashes.
func (f *Frontier) Append(record []byte) []tlog.Hash {
	return f.grow(make([]tlog.Hash, 0, 2), tlog.RecordHash(record))
}

// grow adds a leaf hash and appends the hashes to store to dst.
func (f *Frontier) grow(dst []tlog.Hash, h tlog.Hash) []tlog.Hash {
	dst = append(dst, h)
	i := 0
	for ; f.size>>i&1 == 1; i++ {
		h = tlog.NodeHash(f.edge[i], h)
		dst = append(dst, h)
	}
	f.edge[i] = h
	f.size++
	return dst
}

// Size returns the number of records.
func (f *Frontier) Size() int64 { return f.size }

// Root returns the root hash; that of the empty tree is SHA-256 of nothing.
func (f *Frontier) Root() tlog.Hash {
	root, empty := emptyRoot, true
	for i := range f.edge {
		switch {
		case f.size>>i == 0:
			return root
		case f.size>>i&1 == 0:
		case empty:
			root, empty = f.edge[i], false
		default:
			root = tlog.NodeHash(f.edge[i], root)
		}
	}
	return root
}

// emptyRoot is MTH({}) of RFC 6962; tlog.TreeHash does not read hashes for it.
var emptyRoot, _ = tlog.TreeHash(0, nil)

// JoinHashes returns the hashes that Append gave as the one blob that is stored beside the record.
func JoinHashes(hashes []tlog.Hash) []byte {
	blob := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		blob = append(blob, h[:]...)
	}
	return blob
}

// HashReader reads a tree whose hashes are stored as one blob beside each record. rows is called
// once per read with increasing record numbers and returns their blobs in the same order.
func HashReader(rows func(seqs []int64) ([][]byte, error)) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		if len(indexes) == 0 {
			return nil, nil
		}
		seqs, levels := make([]int64, len(indexes)), make([]int, len(indexes))
		for i, index := range indexes {
			if index < 0 {
				return nil, fmt.Errorf("hash %d does not exist", index)
			}
			level, n := tlog.SplitStoredHashIndex(index)
			// Node n of a level is complete, and stored, with the last record under it.
			seqs[i], levels[i] = (n+1)<<level-1, level
		}
		distinct := slices.Compact(slices.Sorted(slices.Values(seqs)))
		blobs, err := rows(distinct)
		if err != nil {
			return nil, err
		}
		if len(blobs) != len(distinct) {
			return nil, fmt.Errorf("%d of %d records with tree hashes were found", len(blobs), len(distinct))
		}
		hashes := make([]tlog.Hash, len(indexes))
		for i, seq := range seqs {
			at, _ := slices.BinarySearch(distinct, seq)
			blob, from := blobs[at], levels[i]*tlog.HashSize
			if len(blob) < from+tlog.HashSize {
				return nil, fmt.Errorf("the tree hashes of record %d are %d bytes long, expected at least %d", seq, len(blob), from+tlog.HashSize)
			}
			hashes[i] = tlog.Hash(blob[from:])
		}
		return hashes, nil
	})
}

// RootAt returns the root that the tree had when it held size records.
func RootAt(size int64, r tlog.HashReader) (tlog.Hash, error) {
	if size < 0 || size > maxSize {
		return tlog.Hash{}, fmt.Errorf("a tree of size %d is not possible", size)
	}
	return tlog.TreeHash(size, r)
}

// Inclusion returns the proof that the tree of the given size holds record seq.
func Inclusion(size, seq int64, r tlog.HashReader) (tlog.RecordProof, error) {
	if seq < 0 || seq >= size || size > maxSize {
		return nil, fmt.Errorf("record %d is not among the first %d records", seq, size)
	}
	return tlog.ProveRecord(size, seq, r)
}

// CheckInclusion returns nil when proof shows that the tree with the given size and root holds
// record at place seq.
func CheckInclusion(proof tlog.RecordProof, size int64, root tlog.Hash, seq int64, record []byte) error {
	if seq < 0 || seq >= size || size > maxSize {
		return fmt.Errorf("record %d is not among the first %d records", seq, size)
	}
	if err := tlog.CheckRecord(proof, size, root, seq, tlog.RecordHash(record)); err != nil {
		return fmt.Errorf("the proof does not show that these bytes are record %d of %d: %w", seq, size, err)
	}
	return nil
}

// Consistency returns the proof that the tree of size records begins with the tree of old records.
func Consistency(old, size int64, r tlog.HashReader) (tlog.TreeProof, error) {
	if old < 0 || old > size || size > maxSize {
		return nil, fmt.Errorf("a log of %d records cannot have grown to %d", old, size)
	}
	if old == 0 {
		return tlog.TreeProof{}, nil
	}
	return tlog.ProveTree(size, old, r)
}

// CheckConsistency returns nil when proof shows that the log of checkpoint later begins with all
// records of checkpoint earlier.
func CheckConsistency(proof tlog.TreeProof, earlier, later Checkpoint) error {
	if earlier.Size < 0 || earlier.Size > later.Size || later.Size > maxSize {
		return fmt.Errorf("a log of %d records cannot have grown to %d", earlier.Size, later.Size)
	}
	if earlier.Size == 0 {
		if len(proof) > 0 || earlier.Root != emptyRoot {
			return fmt.Errorf("the checkpoint of an empty log is not that of an empty log")
		}
		return nil
	}
	if err := tlog.CheckTree(proof, later.Size, later.Root, earlier.Size, earlier.Root); err != nil {
		return fmt.Errorf("the log of %d records does not begin with the log of %d records: %w", later.Size, earlier.Size, err)
	}
	return nil
}
