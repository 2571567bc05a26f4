package ledger

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

const proofHeader = "c2sp.org/tlog-proof@v1"

// Proof shows offline that a signed log holds a record (C2SP tlog-proof). Stored files end in
// .tlog-proof.
type Proof struct {
	Index      int64            // the record's seq
	Hashes     tlog.RecordProof // from the leaf's sibling up
	Extra      []byte           // opaque and not authenticated; usually empty
	Checkpoint []byte           // the signed checkpoint, verbatim
}

// Prove returns the proof for record seq under a signed checkpoint, which one of vkeys must have
// signed. It is checked against the checkpoint's root before it is returned.
func Prove(seq int64, signed []byte, vkeys []string, r tlog.HashReader) (Proof, error) {
	c, err := Open(signed, vkeys)
	if err != nil {
		return Proof{}, err
	}
	hashes, err := Inclusion(c.Size, seq, r)
	if err != nil {
		return Proof{}, err
	}
	leaf, err := r.ReadHashes([]int64{tlog.StoredHashIndex(0, seq)})
	if err != nil {
		return Proof{}, err
	}
	if len(leaf) != 1 {
		return Proof{}, fmt.Errorf("the leaf hash of record %d was not found", seq)
	}
	if err := tlog.CheckRecord(hashes, c.Size, c.Root, seq, leaf[0]); err != nil {
		return Proof{}, fmt.Errorf("the stored hashes do not lead from record %d to the checkpoint of size %d: %w", seq, c.Size, err)
	}
	return Proof{Index: seq, Hashes: hashes, Checkpoint: signed}, nil
}

// Text returns the proof as a file.
func (p Proof) Text() []byte {
	b := append([]byte(proofHeader), '\n')
	if len(p.Extra) > 0 {
		b = base64.StdEncoding.AppendEncode(append(b, "extra "...), p.Extra)
		b = append(b, '\n')
	}
	b = strconv.AppendInt(append(b, "index "...), p.Index, 10)
	b = append(b, '\n')
	for _, h := range p.Hashes {
		b = append(append(b, h.String()...), '\n')
	}
	return append(append(b, '\n'), p.Checkpoint...)
}

// Turn is one step on the way from a record's leaf to the root of the tree: the hash beside the one that
// is known, which is joined to it.
type Turn struct {
	Beside tlog.Hash
	// Left says that the hash beside comes first.
	Left bool
}

// Turns returns the way from the leaf up to the root of a tree of some size (RFC 9162, section 2.1.3.2), for
// whoever wants to walk it by hand.
func (p Proof) Turns(size int64) []Turn {
	turns := make([]Turn, 0, len(p.Hashes))
	for at, last := p.Index, size-1; len(turns) < len(p.Hashes); at, last = at/2, last/2 {
		left := at%2 == 1
		for !left && at == last { // nothing is beside it on this level
			at, last = at/2, last/2
			left = at%2 == 1
		}
		turns = append(turns, Turn{p.Hashes[len(turns)], left})
	}
	return turns
}

// ParseProof reads what Text writes and nothing else. It verifies nothing; VerifyProof does.
func ParseProof(text []byte) (Proof, error) {
	head, checkpoint, found := bytes.Cut(text, []byte("\n\n"))
	lines := strings.Split(string(head), "\n")
	if !found || lines[0] != proofHeader {
		return Proof{}, fmt.Errorf("malformed proof: expected the line %s, the proof, an empty line and a checkpoint", proofHeader)
	}
	p, lines := Proof{Checkpoint: checkpoint}, lines[1:]
	var err, indexErr error
	if extra, ok := strings.CutPrefix(first(lines), "extra "); ok {
		p.Extra, err = base64.StdEncoding.DecodeString(extra)
		lines = lines[1:]
	}
	index, ok := strings.CutPrefix(first(lines), "index ")
	p.Index, indexErr = strconv.ParseInt(index, 10, 64)
	if err := errors.Join(err, indexErr); !ok || err != nil || p.Index < 0 {
		return Proof{}, errors.Join(errors.New("malformed proof: the extra or index line is wrong"), err)
	}
	for _, line := range lines[1:] {
		h, err := tlog.ParseHash(line)
		if err != nil {
			return Proof{}, fmt.Errorf("malformed proof: %q is not a hash", line)
		}
		p.Hashes = append(p.Hashes, h)
	}
	if !bytes.Equal(p.Text(), text) {
		return Proof{}, errors.New("malformed proof: a number or base64 text is not in its one form")
	}
	return p, nil
}

func first(lines []string) string {
	if len(lines) == 0 {
		return ""
	}
	return lines[0]
}

// VerifyProof returns the checkpoint under which the proof shows that record is in the log, one of
// vkeys having signed it. The place of the record is the proof's Index.
func VerifyProof(text, record []byte, vkeys []string) (Checkpoint, error) {
	p, err := ParseProof(text)
	if err != nil {
		return Checkpoint{}, err
	}
	c, err := Open(p.Checkpoint, vkeys)
	if err != nil {
		return Checkpoint{}, err
	}
	if err := CheckInclusion(p.Hashes, c.Size, c.Root, p.Index, record); err != nil {
		return Checkpoint{}, err
	}
	return c, nil
}
