package store

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// hashReader reads the tree's hashes of the site through a connection.
func (db *DB) hashReader(ctx context.Context, s Conn) tlog.HashReader {
	return ledger.HashReader(func(seqs []int64) ([][]byte, error) {
		blobs := make([][]byte, len(seqs))
		for i, seq := range seqs {
			if err := s.Row(ctx, `SELECT hashes FROM record WHERE site = $1 AND seq = $2`, db.site.Code, seq).Scan(&blobs[i]); err != nil {
				return nil, fmt.Errorf("hashes of record %d: %w", seq, err)
			}
		}
		return blobs, nil
	})
}

// reload reads the head of the ledger from the database.
func (db *DB) reload(ctx context.Context, s Conn) error {
	db.entities.forget()
	var size, projected int64
	var root []byte
	var recorded int64
	err := s.Row(ctx, `SELECT size, root, recorded, projected FROM head WHERE site = $1`, db.site.Code).Scan(&size, &root, &recorded, &projected)
	if err != nil {
		return fmt.Errorf("read the head of the ledger: %w", err)
	}
	frontier, err := ledger.NewFrontier(size, db.hashReader(ctx, s))
	if err != nil {
		return broken("the tree of %d records cannot be read: %v", size, err)
	}
	if got := frontier.Root(); !bytes.Equal(got[:], root) {
		return broken("the head says root %x for %d records, the records' hashes give %x", root[:8], size, got[:8])
	}
	if projected != size {
		return broken("the ledger has %d records, the tables hold %d of them; rebuild the tables with: rinsate ledger rebuild", size, projected)
	}
	signed, signedAt := int64(0), int64(0)
	err = s.Row(ctx, `SELECT size, at FROM checkpoint WHERE site = $1 ORDER BY size DESC LIMIT 1`, db.site.Code).Scan(&signed, &signedAt)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("read the last checkpoint: %w", err)
	}
	restore, _, err := restores(&Tx{db: db, s: s, ctx: ctx, epoch: db.decoded.now()})
	if err != nil {
		return fmt.Errorf("read the restores: %w", err)
	}
	db.head = head{
		frontier: frontier,
		root:     frontier.Root(),
		recorded: unit.Instant(recorded),
		signed:   signed,
		signedAt: unit.Instant(signedAt),
		restore:  restore,
		outside:  db.head.outside,
	}
	return nil
}

func broken(format string, args ...any) error {
	return &fault.Error{
		Code:    fault.Broken,
		Message: "the ledger contradicts itself: " + fmt.Sprintf(format, args...),
		Hint:    "change nothing, keep a copy of the data folder, and run: rinsate ledger verify",
	}
}

// cutOff is that a checkpoint was signed for records that are not there.
func cutOff(format string, args ...any) error {
	return &fault.Error{
		Code:    fault.Broken,
		Message: "the ledger contradicts itself: " + fmt.Sprintf(format, args...),
		Hint: "change nothing, keep a copy of the data folder, and run: rinsate ledger verify; where the folder is an older copy that was put back, " +
			"say so with: rinsate restore --in-place",
	}
}

// crossCheck compares the head, the last record, the last checkpoint in the database and the one
// beside it, which was read before. It reads a few rows, whatever the size of the ledger; Verify reads all. A
// checkpoint beside the database of more records than there are is an error, unless the records are said to be a copy.
func (db *DB) crossCheck(ctx context.Context, s Conn, outside []byte, copied bool) error {
	if err := db.reload(ctx, s); err != nil {
		return err
	}
	size := db.head.frontier.Size()
	var last sql.NullInt64
	if err := s.Row(ctx, `SELECT max(seq) FROM record WHERE site = $1`, db.site.Code).Scan(&last); err != nil {
		return fmt.Errorf("read the last record: %w", err)
	}
	if got := last.Int64 + 1; last.Valid && got != size || !last.Valid && size != 0 {
		return broken("the head says %d records, the last one stored is number %d", size, last.Int64)
	}
	if size > 0 {
		var record, hashes []byte
		if err := s.Row(ctx, `SELECT bytes, hashes FROM record WHERE site = $1 AND seq = $2`, db.site.Code, size-1).Scan(&record, &hashes); err != nil {
			return fmt.Errorf("read the last record: %w", err)
		}
		if leaf := tlog.RecordHash(record); len(hashes) < tlog.HashSize || !bytes.Equal(leaf[:], hashes[:tlog.HashSize]) {
			return broken("record %d is not the one that was hashed", size-1)
		}
		end, err := ledger.Tail(record)
		if err != nil {
			return broken("record %d: %v", size-1, err)
		}
		if end.Site != db.site.Code {
			return broken("record %d belongs to site %q, the database to %q", size-1, end.Site, db.site.Code)
		}
	}
	notes := map[string][]byte{}
	if db.head.signed > 0 {
		var note string
		if err := s.Row(ctx, `SELECT note FROM checkpoint WHERE site = $1 AND size = $2`, db.site.Code, db.head.signed).Scan(&note); err != nil {
			return fmt.Errorf("read the last checkpoint: %w", err)
		}
		notes["the last checkpoint in the database"] = []byte(note)
	}
	if outside != nil {
		notes["the checkpoint beside the database"] = outside
	}
	for where, note := range notes {
		c, err := ledger.Open(note, []string{db.site.VKey})
		if err != nil {
			return broken("%s is not signed by this ledger's key: %v", where, err)
		}
		found := &Behind{By: AtComputer, Seen: Head{Size: c.Size, Root: c.Root, Restore: db.head.restore}, Own: size}
		if c.Size > size && copied {
			foundBehind(db, found)
			continue
		}
		if c.Size > size {
			return cutOff("%s was signed for %d records, the database holds %d: records are missing", where, c.Size, size)
		}
		root, err := ledger.RootAt(c.Size, db.hashReader(ctx, s))
		if err != nil {
			return broken("the tree of %d records cannot be read: %v", c.Size, err)
		}
		if root != c.Root && copied {
			foundBehind(db, found)
			continue
		}
		if root != c.Root {
			return broken("%s signed root %x for %d records, the records' hashes give %x", where, c.Root[:8], c.Size, root[:8])
		}
	}
	return nil
}
