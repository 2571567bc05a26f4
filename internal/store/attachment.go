package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// checkContent refuses bytes that are not those which a record names.
func checkContent(p record.Placing, kind record.Kind, content []byte) error {
	switch f := p.File; {
	case f == nil && content == nil:
		return nil
	case f == nil:
		return fmt.Errorf("%s record attaches no file", record.Called(kind))
	case f.Size != int64(len(content)) || f.Digest != hexDigest(content):
		return &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("the %d bytes are not the file that the %s record names", len(content), kind),
			Hint:    "send the record with the file that it was made for",
		}
	}
	return nil
}

func hexDigest(content []byte) string {
	sum := sha256.Sum256(content)
	return hex.EncodeToString(sum[:])
}

// keep stores the bytes of a file unless they are stored already.
func (tx *Tx) keep(digest string, content []byte) error {
	stored, ok, err := readContent(tx.ctx, tx.s, tx.db.site.Code, digest)
	if err != nil {
		return err
	}
	if ok {
		if !bytes.Equal(stored, content) {
			return changedContent(digest)
		}
		return nil
	}
	_, err = tx.s.Exec(tx.ctx, `INSERT INTO content (site, hash, bytes) VALUES ($1, $2, $3)`, tx.db.site.Code, digest, content)
	return err
}

// readContent reads the bytes that are stored under a hash, ok = false when there are none.
func readContent(ctx context.Context, s Conn, site, digest string) (content []byte, ok bool, err error) {
	err = s.Row(ctx, `SELECT bytes FROM content WHERE site = $1 AND hash = $2`, site, digest).Scan(&content)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, false, nil
	}
	return content, err == nil, err
}

// Content returns the bytes of an attached file by their SHA-256 in hexadecimal. It hashes what it
// has read: NotFound says that nothing is stored under the hash, Broken that something else is.
func (tx *Tx) Content(digest string) ([]byte, error) {
	content, ok, err := readContent(tx.ctx, tx.s, tx.db.site.Code, digest)
	switch {
	case err != nil:
		return nil, err
	case !ok:
		return nil, &fault.Error{
			Code:    fault.NotFound,
			Message: fmt.Sprintf("no file with the SHA-256 %s is stored", digest),
			Hint:    "see what is attached to a scope with: rinsate attachments TAG",
		}
	case hexDigest(content) != digest:
		return nil, changedContent(digest)
	}
	return content, nil
}

func changedContent(digest string) error {
	return &fault.Error{
		Code: fault.Broken, Message: fmt.Sprintf("what is stored under the SHA-256 %s is not the file that was attached: the database was changed", digest),
		Hint: "change nothing, keep a copy of the data folder, get the file from the last backup, and run: rinsate ledger verify",
	}
}

// Attachments calls visit for every attachment of a scope, replaced ones as well, the latest first.
func (tx *Tx) Attachments(scope string, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.scope = $2 AND e.type = 'attachment' ORDER BY e.at DESC, e.seq DESC`, visit, tx.db.site.Code, scope)
}

// Handovers calls visit for the hand-over notes since an instant that nothing has replaced, the latest
// first and at most so many.
func (tx *Tx) Handovers(since unit.Instant, limit int, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM handover n JOIN record r ON r.site = n.site AND r.seq = n.seq
		WHERE n.site = $1 AND n.at >= $2 AND n.replaced IS NULL ORDER BY n.at DESC, n.seq DESC LIMIT $3`,
		visit, tx.db.site.Code, int64(since), limit)
}

// attached are the files that records name.
type attached []attachedFile

type attachedFile struct {
	seq    int64
	digest string
}

// attachmentEnd is how the canonical bytes of an attachment end, and no other record's.
const attachmentEnd = `","type":"` + string(record.Attachment) + `","v":1}`

// collect adds the files that records name. The records were verified before.
func (a *attached) collect(rows []ledger.Row) error {
	for _, row := range rows {
		if !bytes.HasSuffix(row.Record, []byte(attachmentEnd)) {
			continue
		}
		r, err := ledger.Decode(row.Record)
		if err != nil {
			return &ledger.FaultError{Seq: row.Seq, Problem: fmt.Sprintf("record %d: %v", row.Seq, err)}
		}
		p, err := record.Place(r)
		if err != nil {
			return &ledger.FaultError{Seq: row.Seq, Problem: err.Error()}
		}
		*a = append(*a, attachedFile{row.Seq, p.File.Digest})
	}
	return nil
}

// verify hashes every file once and returns how many there are.
func (a attached) verify(ctx context.Context, s Conn, site string) (int, error) {
	seen := map[string]bool{}
	for _, f := range a {
		if seen[f.digest] {
			continue
		}
		seen[f.digest] = true
		content, ok, err := readContent(ctx, s, site, f.digest)
		switch {
		case err != nil:
			return 0, err
		case !ok:
			return 0, &ledger.FaultError{Seq: f.seq, Problem: fmt.Sprintf("the file that record %d attaches is missing (SHA-256 %s)", f.seq, f.digest)}
		case hexDigest(content) != f.digest:
			return 0, &ledger.FaultError{
				Seq:     f.seq,
				Problem: fmt.Sprintf("the file that record %d attaches was changed (SHA-256 %s, now %s)", f.seq, f.digest, hexDigest(content)),
			}
		}
	}
	return len(seen), nil
}
