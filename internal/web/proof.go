package web

import (
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/web/kit"
)

// proofPart shows that the signed ledger holds a record. It was verified when it was made.
type proofPart struct {
	// Leaf and Root are hashes, Index the place of the record, Size how many records were signed for.
	Leaf, Root, Origin, Signed string
	Index, Size                int64
	Turns                      []turnLine
	// Record, File, Script and Key are where the files are; Name is theirs without its ending.
	Record, File, Script, Key, Name string
	Checkpoint                      string
}

// turnLine is one step from the leaf to the root.
type turnLine struct{ Side, Hash string }

// proofPart proves a record under the newest checkpoint.
func (s recordPages) proofPart(x *kit.Exchange, id string) (*proofPart, error) {
	proof, record, signed, err := s.Desk.DB.ProveNewest(x.R.Context(), ledger.ID(id))
	if err != nil {
		return nil, err
	}
	c, err := ledger.Open(proof.Checkpoint, []string{s.Desk.DB.Site().VKey})
	if err != nil {
		return nil, err
	}
	leaf := tlog.RecordHash(record)
	href := s.RecordHref(id)
	p := &proofPart{
		Leaf:       fmt.Sprintf("%x", leaf[:]),
		Root:       c.Root.String(),
		Origin:     c.Origin,
		Signed:     signed.In(s.Desk.DB.Zone()),
		Index:      proof.Index,
		Size:       c.Size,
		Record:     href + "/record.json",
		File:       href + "/record.tlog-proof",
		Script:     s.URL("/records/ledger/verify.sh"),
		Key:        s.URL("/records/ledger/key.txt"),
		Name:       id,
		Checkpoint: string(proof.Checkpoint),
	}
	for _, t := range proof.Turns(c.Size) {
		side := "right"
		if t.Left {
			side = "left"
		}
		p.Turns = append(p.Turns, turnLine{side, fmt.Sprintf("%x", t.Beside[:])})
	}
	return p, nil
}

const plainText = "text/plain; charset=utf-8"

// proved returns a record of an address with its proof.
func (s recordPages) proved(x *kit.Exchange) (line desk.Line, proof ledger.Proof, record []byte, err error) {
	if err = s.View(x.R.Context(), func(v desk.View) (err error) {
		line, err = v.Show(x.R.PathValue("id"))
		return err
	}); err == nil {
		proof, record, _, err = s.Desk.DB.ProveNewest(x.R.Context(), ledger.ID(line.ID))
	}
	return line, proof, record, err
}

// recordFile hands out the bytes of a record that were hashed.
func (s recordPages) recordFile(x *kit.Exchange) error {
	line, _, record, err := s.proved(x)
	if err != nil {
		return err
	}
	return x.Download(line.ID+".json", "application/json", record)
}

// proofFile hands out the proof of a record.
func (s recordPages) proofFile(x *kit.Exchange) error {
	line, proof, _, err := s.proved(x)
	if err != nil {
		return err
	}
	return x.Download(line.ID+".tlog-proof", plainText, proof.Text())
}

// verifyFile hands out the script by which an outsider verifies.
func (s recordPages) verifyFile(x *kit.Exchange) error {
	return x.Download("verify.sh", plainText, ledger.VerifyScript)
}
