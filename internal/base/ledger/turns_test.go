package ledger_test

import (
	"crypto/rand"
	"fmt"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/ledger"
)

// Whoever walks the turns of a proof comes out at the signed root, for every place in trees of many sizes.
func TestTurns(t *testing.T) {
	t.Parallel()
	skey, vkey, err := ledger.GenerateKey(rand.Reader, "test.example/turns")
	if err != nil {
		t.Fatal(err)
	}
	signer, err := ledger.ParseSigner(skey)
	if err != nil {
		t.Fatal(err)
	}
	var hashes []tlog.Hash
	read := tlog.HashReaderFunc(func(places []int64) ([]tlog.Hash, error) {
		found := make([]tlog.Hash, len(places))
		for i, p := range places {
			found[i] = hashes[p]
		}
		return found, nil
	})
	for size := int64(1); size <= 70; size++ {
		more, err := tlog.StoredHashes(size-1, fmt.Append(nil, size), read)
		if err != nil {
			t.Fatal(err)
		}
		hashes = append(hashes, more...)
		root, err := tlog.TreeHash(size, read)
		if err != nil {
			t.Fatal(err)
		}
		note, err := signer.Sign(ledger.Checkpoint{Origin: signer.Origin(), Size: size, Root: root})
		if err != nil {
			t.Fatal(err)
		}
		for seq := range size {
			p, err := ledger.Prove(seq, note, []string{vkey}, read)
			if err != nil {
				t.Fatal(err)
			}
			h := tlog.RecordHash(fmt.Append(nil, seq+1))
			for _, turn := range p.Turns(size) {
				if turn.Left {
					h = tlog.NodeHash(turn.Beside, h)
				} else {
					h = tlog.NodeHash(h, turn.Beside)
				}
			}
			if h != root {
				t.Errorf("record %d of %d: the turns lead to %s, want %s", seq, size, h, root)
			}
		}
	}
}
