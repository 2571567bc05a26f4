package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// Verify re-hashes every record of a ledger and compares the tree with the head and with every signed
// checkpoint, in the database and outside of it (nil when there is none, and read before this begins). Then
// it hashes every file that a record attaches, a voided one as well. It trusts nothing but the bytes and the
// key in vkeys (the ledger's own when empty). There are two readers or more: all but the last take turns, and the
// last reads the texts, from a moment not before theirs. A fault is a *ledger.FaultError that names the first bad
// record. A ledger that is whole is then compared with the tables that follow from it (Compare), whose differences
// are no error: they are mended by Rebuild.
func Verify(ctx context.Context, readers []Conn, shadow Conn, outside []byte, vkeys []string, progress func(done, size int64)) (Verified, error) {
	// A transaction sees what there is at its first query. The first reader's comes first; another
	// one may see more records behind the head, which it is not asked for, and none changed.
	for _, s := range readers {
		if err := s.Begin(ctx); err != nil {
			return Verified{}, err
		}
		defer func() { _ = s.Rollback(context.WithoutCancel(ctx)) }() // nothing was written, and the engine may have ended it
	}
	v, err := verify(ctx, readers, outside, vkeys, progress)
	if err != nil {
		return v, err
	}
	v.Tables, err = Compare(ctx, readers[0], shadow, v.Site, v.Size)
	return v, err
}

func verify(ctx context.Context, readers []Conn, outside []byte, vkeys []string, progress func(done, size int64)) (Verified, error) {
	var v Verified
	var vkey string
	s := readers[0]
	if err := s.Row(ctx, `SELECT site, vkey FROM site ORDER BY site LIMIT 1`).Scan(&v.Site, &vkey); err != nil {
		return v, fmt.Errorf("read the site: %w", err)
	}
	if len(vkeys) == 0 {
		vkeys = []string{vkey}
	}
	var size int64
	var root []byte
	if err := s.Row(ctx, `SELECT size, root FROM head WHERE site = $1`, v.Site).Scan(&size, &root); err != nil {
		return v, fmt.Errorf("read the head: %w", err)
	}
	if len(root) != len(ledger.Checkpoint{}.Root) {
		return v, &ledger.FaultError{Seq: -1, Problem: fmt.Sprintf("the head holds %d bytes for a root hash", len(root))}
	}
	checkpoints, err := openCheckpoints(ctx, s, v.Site, outside, vkeys)
	if err != nil {
		return v, err
	}
	v.Checkpoints = len(checkpoints)
	verifier := ledger.NewVerifier(checkpoints...)
	var files attached
	texts := textVerifier{s: readers[len(readers)-1], site: v.Site, gone: map[record.FreeText]textPlace{}, erased: map[record.FreeText]int64{}}
	for rows, err := range readBatches(ctx, readers[:len(readers)-1], v.Site, size) {
		if err != nil {
			return v, err
		}
		if err := verifier.FeedAll(rows); err != nil {
			return v, err
		}
		if err := files.collect(rows); err != nil {
			return v, err
		}
		if err := texts.feed(ctx, rows); err != nil {
			return v, err
		}
		if progress != nil {
			progress(verifier.Size(), size)
		}
	}
	if err := verifier.Finish(size, [32]byte(root)); err != nil {
		return v, err
	}
	if got := verifier.Site(); size > 0 && got != v.Site {
		return v, &ledger.FaultError{Seq: 0, Problem: fmt.Sprintf("the records belong to site %q, the database to %q", got, v.Site)}
	}
	v.Size, v.Root = size, verifier.Root().String()
	if v.Files, err = files.verify(ctx, s, v.Site); err != nil {
		return v, err
	}
	v.Texts, err = texts.finish(ctx, size)
	return v, err
}

// openCheckpoints reads the signed checkpoints of the database, and adds the one beside it.
func openCheckpoints(ctx context.Context, s Conn, site string, outside []byte, vkeys []string) ([]ledger.Checkpoint, error) {
	var all []ledger.Checkpoint
	add := func(where string, note []byte) error {
		c, err := ledger.Open(note, vkeys)
		if err != nil {
			return &ledger.FaultError{Seq: -1, Problem: fmt.Sprintf("%s was not signed by the ledger's key: %v", where, err)}
		}
		all = append(all, c)
		return nil
	}
	err := s.Each(ctx, `SELECT size, note FROM checkpoint WHERE site = $1 ORDER BY size`, func(row Rows) error {
		var size int64
		var note string
		if err := row.Scan(&size, &note); err != nil {
			return err
		}
		return add(fmt.Sprintf("the checkpoint for %d records", size), []byte(note))
	}, site)
	if err != nil {
		return nil, err
	}
	if outside == nil {
		return all, nil
	}
	return all, add("the checkpoint beside the database", outside)
}

// Rebuild empties every table that is not the ledger and fills it again from the records, in one
// transaction of the writer. It works on tables that lag behind the ledger, which Start refuses.
func Rebuild(ctx context.Context, writer Conn, progress func(done, size int64)) (size int64, err error) {
	db := &DB{writer: writer}
	if err := writer.Row(ctx, `SELECT site FROM site ORDER BY site LIMIT 1`).Scan(&db.site.Code); err != nil {
		return 0, fmt.Errorf("read the site: %w", err)
	}
	if err := writer.Row(ctx, `SELECT size FROM head WHERE site = $1`, db.site.Code).Scan(&size); err != nil {
		return 0, fmt.Errorf("read the head: %w", err)
	}
	if err := writer.Begin(ctx); err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			undo := writer.Rollback(context.WithoutCancel(ctx))
			err = errors.Join(err, undo)
		}
	}()
	tx := &Tx{db: db, s: writer, ctx: ctx, write: &writing{gone: ctx.Err}}
	if err := tx.appending().rebuild(size, progress); err != nil {
		return 0, err
	}
	if _, err := writer.Exec(ctx, `UPDATE head SET projected = $1 WHERE site = $2`, size, db.site.Code); err != nil {
		return 0, err
	}
	if err := writer.Commit(ctx); err != nil {
		return 0, err
	}
	return size, nil
}

// rebuild empties the tables and fills them from the first records.
func (tx appending) rebuild(size int64, progress func(done, size int64)) error {
	for _, p := range projections {
		if _, err := tx.s.Exec(tx.ctx, p.empty, tx.db.site.Code); err != nil {
			return err
		}
	}
	return tx.refill(tx.s, size, progress)
}

// Checkpoint signs the present head if that is not done yet and returns the signed note. Where nothing can be written
// the note is not kept: it is signed for what is durable, and so one that the ledger goes on from.
func (db *DB) Checkpoint(ctx context.Context) ([]byte, error) {
	if db.looking {
		var h Head
		err := db.Read(ctx, func(tx *Tx) (err error) {
			h, err = HeadNow(tx)
			return err
		})
		if err != nil {
			return nil, err
		}
		return db.signer.Sign(ledger.Checkpoint{Origin: db.site.Origin, Size: h.Size, Root: h.Root})
	}
	var note string
	err := db.Write(ctx, func(tx *Tx) error {
		size := tx.write.head.frontier.Size()
		if size != db.head.signed {
			// The frontier of the savepoint is the one that the commit will store.
			h := tx.write.head
			signed, err := db.signer.Sign(ledger.Checkpoint{Origin: db.site.Origin, Size: size, Root: h.frontier.Root()})
			if err != nil {
				return err
			}
			if _, err := tx.s.Exec(ctx, `INSERT INTO checkpoint (site, size, note, at) VALUES ($1, $2, $3, $4)`,
				db.site.Code, size, string(signed), int64(max(tx.Now, h.recorded))); err != nil {
				return err
			}
			tx.write.head.signed, tx.write.head.signedAt = size, max(tx.Now, h.recorded)
		}
		return tx.s.Row(ctx, `SELECT note FROM checkpoint WHERE site = $1 AND size = $2`, db.site.Code, size).Scan(&note)
	})
	return []byte(note), err
}

// Newest returns the last checkpoint that was signed and when; it is empty as long as none was.
func (tx *Tx) Newest() (note []byte, at unit.Instant, err error) {
	var text string
	var when int64
	err = tx.s.Row(tx.ctx, `SELECT note, at FROM checkpoint WHERE site = $1 ORDER BY size DESC LIMIT 1`, tx.db.site.Code).Scan(&text, &when)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, 0, nil
	}
	return []byte(text), unit.Instant(when), err
}

// Prove returns an offline proof that the ledger holds a record, under a checkpoint signed now.
func (db *DB) Prove(ctx context.Context, id ledger.ID) (proof ledger.Proof, record []byte, err error) {
	note, err := db.Checkpoint(ctx)
	if err != nil {
		return proof, nil, err
	}
	err = db.Read(ctx, func(tx *Tx) error {
		proof, record, err = tx.appending().proveUnder(note, id)
		return err
	})
	return proof, record, err
}

// ProveNewest is Prove under the newest checkpoint that there is, and under one signed now when the record
// is younger than that. signed is when it was.
func (db *DB) ProveNewest(ctx context.Context, id ledger.ID) (proof ledger.Proof, record []byte, signed unit.Instant, err error) {
	young := false
	prove := func(tx *Tx) error {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		note, at, err := tx.Newest()
		if err != nil {
			return err
		}
		signed = at
		if young = note == nil; young {
			return nil
		}
		c, err := ledger.Open(note, []string{db.site.VKey})
		if err != nil {
			return err
		}
		if young = c.Size <= kept.Seq; young {
			return nil
		}
		proof, record, err = tx.appending().proveUnder(note, id)
		return err
	}
	if err := db.Read(ctx, prove); err != nil || !young {
		return proof, record, signed, err
	}
	if _, err := db.Checkpoint(ctx); err != nil {
		return proof, nil, 0, err
	}
	err = db.Read(ctx, prove)
	return proof, record, signed, err
}

// proveUnder proves under a checkpoint, and verifies the proof with nothing but the record and the key, as
// whoever is given it does.
func (tx appending) proveUnder(note []byte, id ledger.ID) (proof ledger.Proof, record []byte, err error) {
	kept, err := tx.Record(id)
	if err != nil {
		return proof, nil, err
	}
	if record, err = tx.raw(kept.Seq); err != nil {
		return proof, nil, err
	}
	keys := []string{tx.db.site.VKey}
	if proof, err = ledger.Prove(kept.Seq, note, keys, tx.db.hashReader(tx.ctx, tx.s)); err != nil {
		return proof, nil, err
	}
	_, err = ledger.VerifyProof(proof.Text(), record, keys)
	return proof, record, err
}

// Consistent says whether this ledger begins with everything that an earlier checkpoint of it was signed
// for, and returns what that one states. A note that is none, or that another key signed, is Invalid; a
// ledger that does not begin so is Broken.
func (tx *Tx) Consistent(note []byte) (ledger.Checkpoint, error) {
	return tx.appending().consistent(note, []string{tx.db.site.VKey})
}

// BeginsWith is Consistent on a ledger that nobody has opened, by the keys that are given, or its own.
func BeginsWith(ctx context.Context, s Conn, note []byte, vkeys []string) (ledger.Checkpoint, error) {
	tx := &Tx{db: &DB{}, s: s, ctx: ctx}
	if err := s.Row(ctx, `SELECT site, vkey FROM site ORDER BY site LIMIT 1`).Scan(&tx.db.site.Code, &tx.db.site.VKey); err != nil {
		return ledger.Checkpoint{}, fmt.Errorf("read the site: %w", err)
	}
	if len(vkeys) == 0 {
		vkeys = []string{tx.db.site.VKey}
	}
	return tx.appending().consistent(note, vkeys)
}

func (tx appending) consistent(note []byte, vkeys []string) (ledger.Checkpoint, error) {
	c, err := ledger.Open(note, vkeys)
	if err != nil {
		return c, &fault.Error{
			Code:    fault.Invalid,
			Message: "this is no checkpoint that this ledger's key signed: " + err.Error(),
			Hint:    "paste the whole text of the file, with the empty line and the line of the signature",
			Cause:   err,
		}
	}
	size, err := tx.Size()
	if err != nil {
		return c, err
	}
	if c.Size > size {
		return c, broken("the checkpoint was signed for %d records, the ledger holds %d: records are missing", c.Size, size)
	}
	if c.Size == 0 {
		return c, nil
	}
	root, err := ledger.RootAt(c.Size, tx.db.hashReader(tx.ctx, tx.s))
	if err != nil {
		return c, err
	}
	if root != c.Root {
		return c, broken("the first %d records are not those that the checkpoint was signed for", c.Size)
	}
	return c, nil
}

// Export writes the whole ledger, under a checkpoint signed now, as static files into a new folder:
// C2SP tlog-tiles, the public key as "vkey", and nothing about patients.
func (db *DB) Export(ctx context.Context, folder string) (size int64, err error) {
	if entries, err := os.ReadDir(folder); err == nil && len(entries) > 0 {
		return 0, &fault.Error{Code: fault.Conflict, Message: fmt.Sprintf("%s is not empty", folder), Hint: "choose a new folder for the export"}
	}
	return db.ExportTo(ctx, func(path string, data []byte) error {
		full := filepath.Join(folder, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			return err
		}
		return os.WriteFile(full, data, 0o644) //nolint:gosec // an export is meant to be read by others
	})
}

// ExportTo gives the files of Export to sink, one after the other, each under its path in the export.
func (db *DB) ExportTo(ctx context.Context, sink func(path string, data []byte) error) (size int64, err error) {
	note, err := db.Checkpoint(ctx)
	if err != nil {
		return 0, err
	}
	c, err := ledger.Open(note, []string{db.site.VKey})
	if err != nil {
		return 0, err
	}
	err = db.Read(ctx, func(tx *Tx) error {
		if err := sink("vkey", []byte(db.site.VKey+"\n")); err != nil {
			return err
		}
		return ledger.Export(sink, note, []string{db.site.VKey}, func(yield func([]byte, error) bool) {
			for seq := int64(0); seq < c.Size; seq++ {
				raw, err := tx.raw(seq)
				if !yield(raw, err) || err != nil {
					return
				}
			}
		})
	})
	return c.Size, err
}

// ExportTexts writes the free texts of the first records with their salts into a file, by which whoever has
// an export of these records can check them (ledger.TextsFile).
func ExportTexts(ctx context.Context, db *DB, size int64, path string) (count int, err error) {
	var b bytes.Buffer
	err = db.Read(ctx, func(tx *Tx) error {
		return eachText(ctx, tx.s, tx.db.site.Code, 0, size-1, func(seq int64, t salted) error {
			if t.erased() {
				return nil
			}
			count++
			line, err := json.Marshal(ledger.TextLine{Seq: seq, Field: t.field, Salt: t.salt, Text: string(t.value)})
			b.Write(append(line, '\n'))
			return err
		})
	})
	if err != nil {
		return 0, err
	}
	return count, os.WriteFile(path, b.Bytes(), 0o600)
}

// Dump returns every row of the rebuildable tables as text, in order, for comparing two states of
// them to the last row.
func (tx *Tx) Dump() ([]string, error) {
	var all []string
	for _, p := range projections {
		if err := tx.appending().dump(p.table, p.show, &all); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (tx appending) dump(table, show string, all *[]string) error {
	return tx.s.Each(tx.ctx, show, func(row Rows) error {
		columns, err := row.Columns()
		if err != nil {
			return err
		}
		values := make([]any, len(columns))
		for i := range values {
			values[i] = new(any)
		}
		if err := row.Scan(values...); err != nil {
			return err
		}
		var line strings.Builder
		line.WriteString(table)
		for i, v := range values {
			fmt.Fprintf(&line, " %s=%v", columns[i], *v.(*any))
		}
		*all = append(*all, line.String())
		return nil
	}, tx.db.site.Code)
}
