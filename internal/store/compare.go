package store

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// bearing says whom a row bears on that does not follow from the ledger.
type bearing int

const (
	// onScope is a row that bears on whether its own scope may be used.
	onScope bearing = iota
	// onAll may bear on any scope.
	onAll
	// onNone bears on lists, and on no scope.
	onNone
)

// projections are the tables that Rebuild fills and Compare compares, each with the statements that empty it and
// show it.
var projections = []struct {
	table, empty, show string
	bears              bearing
}{
	{"event", `DELETE FROM event WHERE site = $1`, `SELECT * FROM event WHERE site = $1 ORDER BY scope, type, at, seq`, onScope},
	{"used", `DELETE FROM used WHERE site = $1`, `SELECT * FROM used WHERE site = $1 ORDER BY scope, ended, at, seq`, onScope},
	{"entity", `DELETE FROM entity WHERE site = $1`, `SELECT * FROM entity WHERE site = $1 ORDER BY type, key, seq`, onAll},
	{"decided", `DELETE FROM decided WHERE site = $1`, `SELECT * FROM decided WHERE site = $1 ORDER BY rules`, onNone},
	{"reading", `DELETE FROM reading WHERE site = $1`, `SELECT * FROM reading WHERE site = $1 ORDER BY seq`, onScope},
	{"doubted", `DELETE FROM doubted WHERE site = $1`, `SELECT * FROM doubted WHERE site = $1 ORDER BY reading, seq`, onAll},
	{"checked", `DELETE FROM checked WHERE site = $1`, `SELECT * FROM checked WHERE site = $1 ORDER BY seq`, onAll},
	{"disinfected", `DELETE FROM disinfected WHERE site = $1`, `SELECT * FROM disinfected WHERE site = $1 ORDER BY seq`, onAll},
	{"hold", `DELETE FROM hold WHERE site = $1`, `SELECT * FROM hold WHERE site = $1 ORDER BY seq`, onScope},
	{"signal", `DELETE FROM signal WHERE site = $1`, `SELECT * FROM signal WHERE site = $1 ORDER BY seq`, onNone},
	{"erased", `DELETE FROM erased WHERE site = $1`, `SELECT * FROM erased WHERE site = $1 ORDER BY seq, field`, onAll},
	{"handover", `DELETE FROM handover WHERE site = $1`, `SELECT * FROM handover WHERE site = $1 ORDER BY seq`, onNone},
	{"search_block", `DELETE FROM search_block WHERE site = $1`, `SELECT * FROM search_block WHERE site = $1 ORDER BY term, block`, onNone},
	{"search_time", `DELETE FROM search_time WHERE site = $1`, `SELECT * FROM search_time WHERE site = $1 ORDER BY block`, onNone},
}

// Tables names the tables that follow from the ledger.
func Tables() []string {
	names := make([]string, len(projections))
	for i, p := range projections {
		names[i] = p.table
	}
	return names
}

// Compare derives every table that is not the ledger anew from its first records and returns in what those of the
// database are different. The reader sees both at one moment. The shadow sees the ledger as it is then or later,
// and has the tables empty and to itself: what is written there is nobody else's.
func Compare(ctx context.Context, reader, shadow Conn, site string, size int64) ([]Difference, error) {
	tx := &Tx{db: &DB{writer: shadow}, s: shadow, ctx: ctx, write: &writing{gone: ctx.Err, shadow: true}}
	tx.db.site.Code = site
	if err := shadow.Begin(ctx); err != nil {
		return nil, err
	}
	defer func() { _ = shadow.Rollback(context.WithoutCancel(ctx)) }() // nobody needs it any more
	if err := tx.appending().refill(reader, size, nil); err != nil {
		return nil, err
	}
	var all []Difference
	for _, p := range projections {
		d, err := compareTable(ctx, reader, shadow, site, p.show, p.bears)
		if err != nil {
			return nil, fmt.Errorf("compare the table %s: %w", p.table, err)
		}
		if d.Missing+d.Extra > 0 {
			d.Table = p.table
			all = append(all, d)
		}
	}
	return all, nil
}

// refill derives the tables, which are empty, from the first records as a connection reads them.
func (tx appending) refill(from Conn, size int64, progress func(done, size int64)) error {
	var b batch
	for done := int64(0); done < size; done += int64(len(b.rows)) {
		b.rows, b.room = b.rows[:0], b.room[:0]
		err := from.Each(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND seq >= $2 AND seq < $3 ORDER BY seq`, func(row Rows) error {
			var raw sql.RawBytes
			err := row.Scan(&raw)
			b.rows = append(b.rows, ledger.Row{Record: b.keep(raw)})
			return err
		}, tx.db.site.Code, done, min(size, done+verifyBatch))
		if err != nil {
			return err
		}
		if want := min(size, done+verifyBatch) - done; int64(len(b.rows)) != want {
			return broken("%d records are stored from %d to %d", len(b.rows), done, done+want-1)
		}
		for i, row := range b.rows {
			if err := tx.write.gone(); err != nil {
				return err
			}
			r, err := ledger.Decode(row.Record)
			if err != nil {
				return fmt.Errorf("record %d: %w", done+int64(i), err)
			}
			where, err := record.Place(r)
			if err != nil {
				return err
			}
			if err := tx.project(r, where); err != nil {
				return err
			}
		}
		if progress != nil {
			progress(done+int64(len(b.rows)), size)
		}
	}
	return nil
}

// compareTable walks through the rows of a table and of its shadow side by side. What has no equal yet waits for
// it, so that one row more or less does not make all behind it different.
func compareTable(ctx context.Context, reader, shadow Conn, site, show string, bears bearing) (d Difference, err error) {
	is, stop := iter.Pull2(shownRows(ctx, reader, site, show))
	defer stop()
	should, stopShould := iter.Pull2(shownRows(ctx, shadow, site, show))
	defer stopShould()
	extra, missing := map[string]waiting{}, map[string]waiting{}
	for {
		a, errA, moreA := is()
		b, errB, moreB := should()
		if err := errors.Join(errA, errB); err != nil {
			return d, err
		}
		if !moreA && !moreB {
			break
		}
		if moreA && moreB && bytes.Equal(a.bytes, b.bytes) {
			continue
		}
		if moreA {
			wait(a, extra, missing)
		}
		if moreB {
			wait(b, missing, extra)
		}
	}
	scopes := map[string]bool{}
	for _, side := range []map[string]waiting{extra, missing} {
		for _, w := range side {
			scopes[w.scope] = true
		}
	}
	for _, w := range extra {
		d.Extra += w.count
	}
	for _, w := range missing {
		d.Missing += w.count
	}
	switch bears {
	case onScope:
		d.Scopes = slices.Sorted(maps.Keys(scopes))
	case onAll:
		d.All = d.Extra+d.Missing > 0
	case onNone:
	}
	return d, nil
}

// shownRow is a row as bytes that are equal when the row is.
type shownRow struct {
	bytes []byte
	scope string
}

// waiting counts equal rows that the other side did not have yet.
type waiting struct {
	count int
	scope string
}

func wait(r shownRow, own, other map[string]waiting) {
	key := string(r.bytes)
	if w, ok := other[key]; ok {
		if w.count--; w.count == 0 {
			delete(other, key)
		} else {
			other[key] = w
		}
		return
	}
	own[key] = waiting{own[key].count + 1, r.scope}
}

func shownRows(ctx context.Context, s Conn, site, show string) iter.Seq2[shownRow, error] {
	return func(yield func(shownRow, error) bool) {
		errStop := errors.New("enough")
		var r shownRow
		var values []sql.RawBytes
		var into []any
		scope := -1
		err := s.Each(ctx, show, func(row Rows) error {
			if into == nil {
				columns, err := row.Columns()
				if err != nil {
					return err
				}
				scope = slices.Index(columns, "scope")
				values, into = make([]sql.RawBytes, len(columns)), make([]any, len(columns))
				for i := range values {
					into[i] = &values[i]
				}
			}
			if err := row.Scan(into...); err != nil {
				return err
			}
			r.bytes = r.bytes[:0]
			for _, v := range values {
				length := uint64(0) // of what is absent
				if v != nil {
					length = uint64(len(v)) + 1
				}
				r.bytes = append(binary.AppendUvarint(r.bytes, length), v...)
			}
			if scope >= 0 && r.scope != string(values[scope]) {
				r.scope = string(values[scope])
			}
			if !yield(r, nil) {
				return errStop
			}
			return nil
		}, site)
		if err != nil && !errors.Is(err, errStop) {
			yield(shownRow{}, err)
		}
	}
}
