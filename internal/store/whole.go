package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// verifyBatch is how many records are read before they are hashed together.
const verifyBatch = 1024

// Verify re-hashes every record of a ledger and compares the tree with the head and with every signed
// checkpoint, in the database and outside of it (nil when there is none, and read before this begins). Then
// it hashes every file that a record attaches, a voided one as well. It trusts nothing but the bytes and the
// key in vkeys (the ledger's own when empty). There are two readers or more: all but the last take turns, and the last reads the texts, from a moment not
// before theirs. A fault is a *ledger.FaultError that
// names the first bad record.
func Verify(ctx context.Context, readers []Conn, outside []byte, vkeys []string, progress func(done, size int64)) (Verified, error) {
	// A transaction sees what there is at its first query. The first reader's comes first; another
	// one may see more records behind the head, which it is not asked for, and none changed.
	for _, s := range readers {
		if err := s.Begin(ctx); err != nil {
			return Verified{}, err
		}
		defer func() { _ = s.Rollback(context.WithoutCancel(ctx)) }() // nothing was written, and the engine may have ended it
	}
	return verify(ctx, readers, outside, vkeys, progress)
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

// batch is what a reader found of one range of records.
type batch struct {
	rows []ledger.Row
	// room holds the bytes of the rows.
	room []byte
	err  error
}

// keep copies bytes that the engine takes back.
func (b *batch) keep(p []byte) []byte {
	from := len(b.room)
	b.room = append(b.room, p...)
	return b.room[from:len(b.room):len(b.room)]
}

// read fills the batch with the records of a range, the first ones if there are very many.
func (b *batch) read(ctx context.Context, s Conn, site string, from, to int64) {
	if from == 0 { // and what lies before the first record, where nothing should be
		from = math.MinInt64
	}
	b.rows, b.room = b.rows[:0], b.room[:0]
	b.err = s.Each(ctx, `SELECT seq, bytes, hashes FROM record WHERE site = $1 AND seq >= $2 AND seq <= $3 ORDER BY seq LIMIT $4`, func(row Rows) error {
		var seq int64
		var record, hashes sql.RawBytes
		err := row.Scan(&seq, &record, &hashes)
		b.rows = append(b.rows, ledger.Row{Seq: seq, Record: b.keep(record), Hashes: b.keep(hashes)})
		return err
	}, site, from, to, verifyBatch+1)
}

// readBatches reads the records in order, the readers by turns and ahead of the hashing, and then
// what lies behind them, where nothing should be. It ends early with a batch that lacks a record.
func readBatches(ctx context.Context, readers []Conn, site string, size int64) iter.Seq2[[]ledger.Row, error] {
	return func(yield func([]ledger.Row, error) bool) {
		ctx, cancel := context.WithCancel(ctx)
		count := (size + verifyBatch - 1) / verifyBatch
		turns := make([]chan *batch, len(readers))
		var wg sync.WaitGroup
		defer wg.Wait()
		defer cancel()
		for i, s := range readers {
			turns[i] = make(chan *batch, 2)
			wg.Go(func() {
				// One is being filled, two wait and one is being hashed, so the oldest is free again.
				var ring [4]batch
				for n := int64(i); n < count; n += int64(len(readers)) {
					b := &ring[n/int64(len(readers))%int64(len(ring))]
					b.read(ctx, s, site, n*verifyBatch, min(size, (n+1)*verifyBatch)-1)
					select {
					case turns[i] <- b:
					case <-ctx.Done():
						return
					}
				}
			})
		}
		for n := range count {
			select {
			case b := <-turns[int(n)%len(turns)]:
				if !yield(b.rows, b.err) || b.err != nil || int64(len(b.rows)) < min(verifyBatch, size-n*verifyBatch) {
					return
				}
			case <-ctx.Done():
				yield(nil, ctx.Err())
				return
			}
		}
		wg.Wait()
		// Only the first reader sees the same moment as the head.
		var behind batch
		behind.read(ctx, readers[0], site, size, math.MaxInt64)
		yield(behind.rows, behind.err)
	}
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

// projections are the tables that Rebuild fills, each with the statements that empty it and show it.
var projections = []struct{ table, empty, show string }{
	{"event", `DELETE FROM event WHERE site = $1`, `SELECT * FROM event WHERE site = $1 ORDER BY scope, type, at, seq`},
	{"used", `DELETE FROM used WHERE site = $1`, `SELECT * FROM used WHERE site = $1 ORDER BY scope, ended, at, seq`},
	{"entity", `DELETE FROM entity WHERE site = $1`, `SELECT * FROM entity WHERE site = $1 ORDER BY type, key, seq`},
	{"decided", `DELETE FROM decided WHERE site = $1`, `SELECT * FROM decided WHERE site = $1 ORDER BY rules`},
	{"reading", `DELETE FROM reading WHERE site = $1`, `SELECT * FROM reading WHERE site = $1 ORDER BY seq`},
	{"doubted", `DELETE FROM doubted WHERE site = $1`, `SELECT * FROM doubted WHERE site = $1 ORDER BY reading, seq`},
	{"checked", `DELETE FROM checked WHERE site = $1`, `SELECT * FROM checked WHERE site = $1 ORDER BY seq`},
	{"hold", `DELETE FROM hold WHERE site = $1`, `SELECT * FROM hold WHERE site = $1 ORDER BY seq`},
	{"signal", `DELETE FROM signal WHERE site = $1`, `SELECT * FROM signal WHERE site = $1 ORDER BY seq`},
	{"erased", `DELETE FROM erased WHERE site = $1`, `SELECT * FROM erased WHERE site = $1 ORDER BY seq, field`},
	{"handover", `DELETE FROM handover WHERE site = $1`, `SELECT * FROM handover WHERE site = $1 ORDER BY seq`},
	{"search_block", `DELETE FROM search_block WHERE site = $1`, `SELECT * FROM search_block WHERE site = $1 ORDER BY term, block`},
	{"search_time", `DELETE FROM search_time WHERE site = $1`, `SELECT * FROM search_time WHERE site = $1 ORDER BY block`},
}

// Rebuild empties every table that is not the ledger and fills it again from the records, in one
// transaction of the writer, while the reader reads them. It works on tables that lag behind the ledger,
// which Start refuses.
func Rebuild(ctx context.Context, reader, writer Conn, progress func(done, size int64)) (size int64, err error) {
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
	for _, p := range projections {
		if _, err := writer.Exec(ctx, p.empty, db.site.Code); err != nil {
			return 0, err
		}
	}
	tx := &Tx{db: db, s: writer, ctx: ctx, write: &writing{gone: ctx.Err}}
	var done int64
	err = reader.Each(ctx, `SELECT bytes FROM record WHERE site = $1 ORDER BY seq`, func(row Rows) error {
		var raw []byte
		if err := row.Scan(&raw); err != nil {
			return err
		}
		r, err := ledger.Decode(raw)
		if err != nil {
			return fmt.Errorf("record %d: %w", done, err)
		}
		where, err := record.Place(r)
		if err != nil {
			return err
		}
		if done++; progress != nil && done%verifyBatch == 0 {
			progress(done, size)
		}
		return tx.appending().project(r, where)
	}, db.site.Code)
	if err != nil {
		return 0, err
	}
	if done != size {
		return 0, broken("the head says %d records, %d are stored", size, done)
	}
	if _, err := writer.Exec(ctx, `UPDATE head SET projected = $1 WHERE site = $2`, done, db.site.Code); err != nil {
		return 0, err
	}
	if err := writer.Commit(ctx); err != nil {
		return 0, err
	}
	return size, nil
}

// Checkpoint signs the present head if that is not done yet and returns the signed note.
func (db *DB) Checkpoint(ctx context.Context) ([]byte, error) {
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
	c, err := ledger.Open(note, []string{tx.db.site.VKey})
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
