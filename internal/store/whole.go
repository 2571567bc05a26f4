package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"

	"rinsate/internal/ledger"
)

// verifyBatch is how many records are read before they are hashed together.
const verifyBatch = 1024

// Verified is the result of a verification that found nothing wrong.
type Verified struct {
	Site        string `json:"site"`
	Size        int64  `json:"size"`
	Root        string `json:"root"`
	Checkpoints int    `json:"checkpoints"`
}

// Verify re-hashes every record of a data folder and compares the tree with the head and with every
// signed checkpoint, in the database and beside it. It trusts nothing but the bytes and the key in
// vkeys (the folder's own when empty), and opens the database without any other check, so that it
// can look at a folder that Open refuses. A fault is a *ledger.FaultError that names the first bad
// record.
func Verify(ctx context.Context, dir string, vkeys []string, progress func(done, size int64)) (Verified, error) {
	var v Verified
	path := filepath.Join(dir, databaseFile)
	if _, err := os.Stat(path); err != nil {
		return v, &Error{Code: NotFound, Message: fmt.Sprintf("there is no ledger in %s", dir), Hint: "check the folder (--data)", Cause: err}
	}
	pool, err := sql.Open("sqlite", dsn(path, "_pragma=query_only(1)", "_pragma=cache_size(-16384)", "mode=ro"))
	if err != nil {
		return v, err
	}
	s, err := newSession(ctx, pool)
	if err != nil {
		return v, errors.Join(err, pool.Close())
	}
	defer func() { _ = errors.Join(s.close(), pool.Close()) }()
	// The checkpoint beside the database is read before the records, and these as they were at one
	// moment: a program that goes on writing meanwhile must not look like a fault.
	outside, err := os.ReadFile(filepath.Join(dir, checkpointFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return v, fmt.Errorf("read the checkpoint beside the database: %w", err)
	}
	if _, err := s.exec(ctx, `BEGIN`); err != nil {
		return v, err
	}
	defer func() {
		_, end := s.exec(context.WithoutCancel(ctx), `COMMIT`)
		_ = end // nothing was written
	}()
	return verify(ctx, s, outside, vkeys, progress)
}

func verify(ctx context.Context, s *session, outside []byte, vkeys []string, progress func(done, size int64)) (Verified, error) {
	var v Verified
	var vkey string
	if err := s.row(ctx, `SELECT site, vkey FROM site ORDER BY site LIMIT 1`).Scan(&v.Site, &vkey); err != nil {
		return v, fmt.Errorf("read the site: %w", err)
	}
	if len(vkeys) == 0 {
		vkeys = []string{vkey}
	}
	var size int64
	var root []byte
	if err := s.row(ctx, `SELECT size, root FROM head WHERE site = $1`, v.Site).Scan(&size, &root); err != nil {
		return v, fmt.Errorf("read the head: %w", err)
	}
	checkpoints, err := openCheckpoints(ctx, s, v.Site, outside, vkeys)
	if err != nil {
		return v, err
	}
	v.Checkpoints = len(checkpoints)
	verifier := ledger.NewVerifier(checkpoints...)
	batches, failed := readBatches(ctx, s, v.Site)
	for rows := range batches {
		if err := verifier.FeedAll(rows); err != nil {
			return v, err
		}
		if progress != nil {
			progress(verifier.Size(), size)
		}
	}
	if err := <-failed; err != nil {
		return v, err
	}
	if err := verifier.Finish(size, [32]byte(root)); err != nil {
		return v, err
	}
	v.Size, v.Root = size, verifier.Root().String()
	return v, nil
}

// readBatches reads rows ahead of the hashing, which goes on at the same time.
func readBatches(ctx context.Context, s *session, site string) (iter.Seq[[]ledger.Row], <-chan error) {
	failed := make(chan error, 1)
	return func(yield func([]ledger.Row) bool) {
		ctx, cancel := context.WithCancel(ctx)
		batches := make(chan []ledger.Row, 4)
		go func() {
			defer close(batches)
			var rows []ledger.Row
			err := s.each(ctx, `SELECT seq, bytes, hashes FROM record WHERE site = $1 ORDER BY seq`, func(row scanner) error {
				var r ledger.Row
				if err := row.Scan(&r.Seq, &r.Record, &r.Hashes); err != nil {
					return err
				}
				if rows = append(rows, r); len(rows) < verifyBatch {
					return nil
				}
				select {
				case batches <- rows:
					rows = make([]ledger.Row, 0, verifyBatch)
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			}, site)
			if err == nil && len(rows) > 0 {
				select {
				case batches <- rows:
				case <-ctx.Done():
				}
			}
			failed <- err
		}()
		defer func() {
			cancel()
			for range batches { //nolint:revive // drain until the reader has let go of the connection
			}
		}()
		for rows := range batches {
			if !yield(rows) {
				return
			}
		}
	}, failed
}

// openCheckpoints reads the signed checkpoints of the database, and adds the one beside it.
func openCheckpoints(ctx context.Context, s *session, site string, outside []byte, vkeys []string) ([]ledger.Checkpoint, error) {
	var all []ledger.Checkpoint
	add := func(where string, note []byte) error {
		c, err := ledger.Open(note, vkeys)
		if err != nil {
			return &ledger.FaultError{Seq: -1, Problem: fmt.Sprintf("%s was not signed by the ledger's key: %v", where, err)}
		}
		all = append(all, c)
		return nil
	}
	err := s.each(ctx, `SELECT size, note FROM checkpoint WHERE site = $1 ORDER BY size`, func(row scanner) error {
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
	{"entity", `DELETE FROM entity WHERE site = $1`, `SELECT * FROM entity WHERE site = $1 ORDER BY type, key, seq`},
	{"reading", `DELETE FROM reading WHERE site = $1`, `SELECT * FROM reading WHERE site = $1 ORDER BY seq`},
	{"hold", `DELETE FROM hold WHERE site = $1`, `SELECT * FROM hold WHERE site = $1 ORDER BY seq`},
}

// Rebuild empties every table that is not the ledger and fills it again from the records, in one
// transaction. It works on a folder whose tables lag behind the ledger, which Open refuses.
func Rebuild(ctx context.Context, dir string, progress func(done, size int64)) (size int64, err error) {
	path := filepath.Join(dir, databaseFile)
	if _, err := os.Stat(path); err != nil {
		return 0, &Error{Code: NotFound, Message: fmt.Sprintf("there is no ledger in %s", dir), Hint: "check the folder (--data)", Cause: err}
	}
	lock, err := acquire(dir)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	pool, err := sql.Open("sqlite", dsn(path, "_pragma=journal_mode(WAL)", "_pragma=synchronous(FULL)", "_pragma=cache_size(-65536)"))
	if err != nil {
		return 0, err
	}
	if err := migrate(ctx, pool); err != nil {
		return 0, err
	}
	pool.SetMaxOpenConns(2) // one reads the records while the other fills the tables
	defer func() { err = errors.Join(err, pool.Close()) }()
	reader, err := newSession(ctx, pool)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, reader.close()) }()
	writer, err := newSession(ctx, pool)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, writer.close()) }()
	return rebuild(ctx, reader, writer, progress)
}

func rebuild(ctx context.Context, reader, writer *session, progress func(done, size int64)) (size int64, err error) {
	db := &DB{writer: writer}
	if err := writer.row(ctx, `SELECT site FROM site ORDER BY site LIMIT 1`).Scan(&db.site.Code); err != nil {
		return 0, fmt.Errorf("read the site: %w", err)
	}
	if err := writer.row(ctx, `SELECT size FROM head WHERE site = $1`, db.site.Code).Scan(&size); err != nil {
		return 0, fmt.Errorf("read the head: %w", err)
	}
	if _, err := writer.exec(ctx, `BEGIN IMMEDIATE`); err != nil {
		return 0, err
	}
	defer func() {
		if err != nil {
			_, undo := writer.exec(context.WithoutCancel(ctx), `ROLLBACK`)
			err = errors.Join(err, undo)
		}
	}()
	for _, p := range projections {
		if _, err := writer.exec(ctx, p.empty, db.site.Code); err != nil {
			return 0, err
		}
	}
	tx := &Tx{db: db, s: writer, ctx: ctx, write: &writing{gone: ctx.Err}}
	var done int64
	err = reader.each(ctx, `SELECT bytes FROM record WHERE site = $1 ORDER BY seq`, func(row scanner) error {
		var raw []byte
		if err := row.Scan(&raw); err != nil {
			return err
		}
		r, err := ledger.Decode(raw)
		if err != nil {
			return fmt.Errorf("record %d: %w", done, err)
		}
		where, err := place(r)
		if err != nil {
			return err
		}
		if done++; progress != nil && done%verifyBatch == 0 {
			progress(done, size)
		}
		return tx.project(r, where)
	}, db.site.Code)
	if err != nil {
		return 0, err
	}
	if done != size {
		return 0, broken("the head says %d records, %d are stored", size, done)
	}
	if _, err := writer.exec(ctx, `UPDATE head SET projected = $1 WHERE site = $2`, done, db.site.Code); err != nil {
		return 0, err
	}
	if _, err := writer.exec(ctx, `COMMIT`); err != nil {
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
			if _, err := tx.s.exec(ctx, `INSERT INTO checkpoint (site, size, note, at) VALUES ($1, $2, $3, $4)`,
				db.site.Code, size, string(signed), int64(max(tx.Now, h.recorded))); err != nil {
				return err
			}
			tx.write.head.signed, tx.write.head.signedAt = size, max(tx.Now, h.recorded)
		}
		return tx.s.row(ctx, `SELECT note FROM checkpoint WHERE site = $1 AND size = $2`, db.site.Code, size).Scan(&note)
	})
	return []byte(note), err
}

// Prove returns an offline proof that the ledger holds a record, under a checkpoint signed now.
func (db *DB) Prove(ctx context.Context, id ledger.ID) (proof ledger.Proof, record []byte, err error) {
	note, err := db.Checkpoint(ctx)
	if err != nil {
		return proof, nil, err
	}
	err = db.Read(ctx, func(tx *Tx) error {
		kept, err := tx.Record(id)
		if err != nil {
			return err
		}
		if record, err = tx.raw(kept.Seq); err != nil {
			return err
		}
		proof, err = ledger.Prove(kept.Seq, note, []string{db.site.VKey}, db.hashReader(ctx, tx.s))
		return err
	})
	return proof, record, err
}

func (tx *Tx) raw(seq int64) ([]byte, error) {
	var raw []byte
	err := tx.s.row(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND seq = $2`, tx.db.site.Code, seq).Scan(&raw)
	return raw, err
}

// Export writes the whole ledger, under a checkpoint signed now, as static files into a new folder:
// C2SP tlog-tiles, the public key as "vkey", and nothing about patients.
func (db *DB) Export(ctx context.Context, folder string) (size int64, err error) {
	if entries, err := os.ReadDir(folder); err == nil && len(entries) > 0 {
		return 0, &Error{Code: Conflict, Message: fmt.Sprintf("%s is not empty", folder), Hint: "choose a new folder for the export"}
	}
	note, err := db.Checkpoint(ctx)
	if err != nil {
		return 0, err
	}
	c, err := ledger.Open(note, []string{db.site.VKey})
	if err != nil {
		return 0, err
	}
	sink := func(path string, data []byte) error {
		full := filepath.Join(folder, filepath.FromSlash(path))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			return err
		}
		return os.WriteFile(full, data, 0o644) //nolint:gosec // an export is meant to be read by others
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

// Dump returns every row of the rebuildable tables as text, in order, for comparing two states of
// them to the last row.
func (tx *Tx) Dump() ([]string, error) {
	var all []string
	for _, p := range projections {
		if err := tx.dump(p.table, p.show, &all); err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (tx *Tx) dump(table, show string, all *[]string) error {
	rows, err := tx.s.conn.QueryContext(tx.ctx, show, tx.db.site.Code)
	if err != nil {
		return engineError(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		return err
	}
	for rows.Next() {
		values := make([]any, len(columns))
		for i := range values {
			values[i] = new(any)
		}
		if err := rows.Scan(values...); err != nil {
			return err
		}
		var line strings.Builder
		line.WriteString(table)
		for i, v := range values {
			fmt.Fprintf(&line, " %s=%v", columns[i], *v.(*any))
		}
		*all = append(*all, line.String())
	}
	return rows.Err()
}
