package store

import (
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// tail keeps what the records behind the last full block of the index are found by, since a record never
// changes.
type tail struct {
	mu sync.Mutex
	// records are those from the place first on.
	first   int64
	records []record.Found
}

// since returns the records from a place, where a block begins, to the end of a ledger of some size.
func (t *tail) since(tx *Tx, from, size int64) ([]record.Found, error) {
	if tx.write != nil { // what is not committed must not be kept
		return tx.appending().indexed(from, size)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	switch {
	case from < t.first: // an older state than others have asked about
		return tx.appending().indexed(from, size)
	case from > t.first:
		t.first, t.records = from, nil
	}
	if known := t.first + int64(len(t.records)); known < size {
		more, err := tx.appending().indexed(known, size)
		if err != nil {
			return nil, err
		}
		t.records = append(t.records, more...)
	}
	return t.records[: size-from : size-from], nil
}

// indexed reads what the records from..to-1 are found by.
func (tx appending) indexed(from, to int64) ([]record.Found, error) {
	list := make([]record.Found, 0, to-from)
	err := tx.s.Each(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND seq >= $2 AND seq < $3 ORDER BY seq`, func(row Rows) error {
		var raw sql.RawBytes
		if err := row.Scan(&raw); err != nil {
			return err
		}
		r, err := decode(tx.Tx, raw)
		if err != nil {
			return err
		}
		f, err := record.Index(r)
		list = append(list, f)
		return err
	}, tx.db.site.Code, from, to)
	if err == nil && int64(len(list)) != to-from {
		err = fmt.Errorf("%d records are stored from %d to %d", len(list), from, to-1)
	}
	return list, err
}

// withStates returns the terms of the records, with what later ones of them did to earlier ones.
func withStates(records []record.Found) [][]string {
	terms := make([][]string, len(records))
	places := make(map[ledger.ID]int, len(records))
	for i, f := range records {
		terms[i], places[f.ID] = f.Terms, i
		if at, ok := places[f.Replaces]; ok {
			terms[at] = slices.Concat(terms[at], record.StateTerms(f.Did))
		}
	}
	return terms
}

// seal writes a block of the index that the last record has filled.
func (tx appending) seal(last ledger.Record) error {
	if (last.Seq+1)%blockSize != 0 {
		return nil
	}
	block := last.Seq / blockSize
	records, err := tx.indexed(block*blockSize, last.Seq+1)
	if err != nil {
		return err
	}
	times := make([]byte, 0, 8*len(records))
	terms := map[string]*marks{}
	for i, list := range withStates(records) {
		times = binary.BigEndian.AppendUint64(times, uint64(records[i].At))
		for _, term := range list {
			m := terms[term]
			if m == nil {
				m = new(marks)
				terms[term] = m
			}
			m.set(int64(i))
		}
	}
	for _, term := range slices.Sorted(maps.Keys(terms)) {
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO search_block (site, term, block, marks) VALUES ($1, $2, $3, $4)`,
			last.Site, term, block, terms[term].bytes()); err != nil {
			return err
		}
	}
	_, err = tx.s.Exec(tx.ctx, `INSERT INTO search_time (site, block, times) VALUES ($1, $2, $3)`, last.Site, block, times)
	return err
}

// changed tells the index what r did to an older record. One in the same block as r learns it when the
// block is sealed.
func (tx appending) changed(old int64, r ledger.Record) error {
	block := old / blockSize
	if block == r.Seq/blockSize {
		return nil
	}
	f, err := record.Index(r)
	if err != nil {
		return err
	}
	for _, term := range record.StateTerms(f.Did) {
		var raw []byte
		err := tx.s.Row(tx.ctx, `SELECT marks FROM search_block WHERE site = $1 AND term = $2 AND block = $3`, r.Site, term, block).Scan(&raw)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		m, err := readMarks(raw)
		if err != nil {
			return err
		}
		m.set(old % blockSize)
		if _, err := tx.s.Exec(tx.ctx, `INSERT INTO search_block (site, term, block, marks) VALUES ($1, $2, $3, $4)
			ON CONFLICT (site, term, block) DO UPDATE SET marks = excluded.marks`, r.Site, term, block, m.bytes()); err != nil {
			return err
		}
	}
	return nil
}

// sealed returns the records that the blocks of the index hold, for a ledger of some size.
func sealed(size int64) int64 { return size / blockSize * blockSize }

// catchUp fills the index of a data folder that an older program wrote, in one transaction. It costs one
// query where there is nothing to do.
func (db *DB) catchUp(ctx context.Context) (err error) {
	size, s := db.head.frontier.Size(), db.writer
	var done int64
	if err := s.Row(ctx, `SELECT block + 1 FROM search_time WHERE site = $1 AND block >= $2 ORDER BY block DESC LIMIT 1`, db.site.Code, 0).
		Scan(&done); err != nil &&
		!errors.Is(err, sql.ErrNoRows) {
		return err
	}
	if done*blockSize >= sealed(size) {
		return nil
	}
	if err := s.Begin(ctx); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			undo := s.Rollback(context.WithoutCancel(ctx))
			err = errors.Join(err, undo)
		}
	}()
	tx := &Tx{db: db, s: s, ctx: ctx, write: &writing{}}
	for from := done * blockSize; from < sealed(size); from += blockSize {
		if err := tx.appending().catchUpBlock(from); err != nil {
			return err
		}
	}
	if err := tx.appending().replay(sealed(size), size); err != nil {
		return err
	}
	err = s.Commit(ctx)
	return err
}

// catchUpBlock indexes one full block of old records.
func (tx appending) catchUpBlock(from int64) error {
	if err := tx.replay(from, from+blockSize); err != nil {
		return err
	}
	return tx.seal(ledger.Record{Site: tx.db.site.Code, Seq: from + blockSize - 1})
}

// replay tells the index what the records from..to-1 did to those of earlier blocks.
func (tx appending) replay(from, to int64) error {
	var replacing []ledger.Record
	err := tx.s.Each(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND seq >= $2 AND seq < $3 ORDER BY seq`, func(row Rows) error {
		var raw []byte
		if err := row.Scan(&raw); err != nil {
			return err
		}
		r, err := decode(tx.Tx, raw)
		if err != nil {
			return err
		}
		f, err := record.Index(r)
		if err == nil && f.Replaces != "" {
			replacing = append(replacing, r)
		}
		return err
	}, tx.db.site.Code, from, to)
	if err != nil {
		return err
	}
	for _, r := range replacing {
		f, err := record.Index(r)
		if err != nil {
			return err
		}
		old, err := tx.Record(f.Replaces)
		if err != nil {
			return err
		}
		if err := tx.changed(old.Seq, r); err != nil {
			return err
		}
	}
	return nil
}

// happened reads when the records of a block happened.
func (tx appending) happened(block int64) (func(place int64) unit.Instant, error) {
	var raw []byte
	if err := tx.s.Row(tx.ctx, `SELECT times FROM search_time WHERE site = $1 AND block = $2`, tx.db.site.Code, block).Scan(&raw); err != nil {
		return nil, err
	}
	if len(raw) != 8*blockSize {
		return nil, damagedIndex(fmt.Sprintf("times of %d bytes", len(raw)))
	}
	return func(place int64) unit.Instant { return unit.Instant(binary.BigEndian.Uint64(raw[8*place:])) }, nil
}

// disinfected writes what a disinfection shares with others.
func (tx appending) disinfected(r ledger.Record, p record.Placing, d record.Disinfected) error {
	failed := 0
	if d.Failed {
		failed = 1
	}
	_, err := tx.s.Exec(tx.ctx, `INSERT INTO disinfected (site, seq, scope, at, reprocessor, disinfectant, lot, began, filled, expires, failed, recorded)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`, r.Site, r.Seq, p.Scope, int64(p.At), d.Reprocessor, d.Disinfectant, d.Lot,
		int64(d.Began), int64(d.Filled), int64(d.Expires), failed, int64(r.Recorded))
	return err
}
