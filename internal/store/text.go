package store

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"slices"

	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// salted is a free text as it is kept beside the ledger.
type salted struct {
	field       string
	salt, value []byte
}

// erased says whether nothing is left of a text but its length.
func (t salted) erased() bool { return len(bytes.Trim(t.salt, "\x00")) == 0 }

// commit returns a record as the ledger has it, with commitments in place of its free texts, and these.
func commit(r ledger.Record) (leaf ledger.Record, texts []salted, err error) {
	leaf, err = record.WithFreeTexts(r, func(field, text string) string {
		salt := make([]byte, ledger.TextSaltSize)
		_, _ = rand.Read(salt) // never fails: crypto/rand ends the program instead
		texts = append(texts, salted{field, salt, []byte(text)})
		return ledger.CommitText(salt, text)
	})
	return leaf, texts, err
}

// keepTexts stores the free texts of a record.
func keepTexts(ctx context.Context, s Conn, site string, seq int64, texts []salted) error {
	for _, t := range texts {
		if _, err := s.Exec(
			ctx,
			`INSERT INTO text (site, seq, field, salt, value) VALUES ($1, $2, $3, $4, $5)`,
			site,
			seq,
			t.field,
			t.salt,
			t.value,
		); err != nil {
			return err
		}
	}
	return nil
}

// textsOf returns the free texts of a record by their fields, without those that were erased.
func textsOf(ctx context.Context, s Conn, site string, seq int64) (map[string]string, error) {
	texts := map[string]string{}
	err := eachText(ctx, s, site, seq, seq, func(_ int64, t salted) error {
		if !t.erased() {
			texts[t.field] = string(t.value)
		}
		return nil
	})
	return texts, err
}

// eachText calls visit for the free texts of the records from..to, in order.
func eachText(ctx context.Context, s Conn, site string, from, to int64, visit func(seq int64, t salted) error) error {
	return s.Each(ctx, `SELECT seq, field, salt, value FROM text WHERE site = $1 AND seq >= $2 AND seq <= $3 ORDER BY seq, field`, func(row Rows) error {
		var seq int64
		var t salted
		if err := row.Scan(&seq, &t.field, &t.salt, &t.value); err != nil {
			return err
		}
		return visit(seq, t)
	}, site, from, to)
}

// readable puts the free texts of a stored record back in the place of their commitments. whole is false
// when one of them was erased.
func readable(ctx context.Context, s Conn, r ledger.Record) (_ ledger.Record, whole bool, err error) {
	texts, err := textsOf(ctx, s, r.Site, r.Seq)
	if err != nil {
		return r, false, err
	}
	whole = true
	r, err = r.WithTexts(func(field, _ string) string {
		text, ok := texts[field]
		if !ok {
			whole = false
			return record.ErasedText
		}
		return text
	})
	return r, whole, err
}

// likeErased returns a record that was sent again, without the texts that were erased from the stored one:
// what they were cannot be compared any more, and they are not to come back.
func likeErased(sent, stored ledger.Record) (ledger.Record, error) {
	texts, err := record.FreeTexts(stored)
	if err != nil {
		return sent, err
	}
	if !slices.Contains(slices.Collect(maps.Values(texts)), record.ErasedText) {
		return sent, nil
	}
	return record.WithFreeTexts(sent, func(field, text string) string {
		if texts[field] == record.ErasedText {
			return record.ErasedText
		}
		return text
	})
}

// textPlace is a free text by the place of its record.
type textPlace struct {
	seq   int64
	field string
}

// textVerifier compares the free texts with the commitments of the records. Every text that is not there
// must have been erased by a record, and every one that a record erases must be gone.
type textVerifier struct {
	s     Conn
	site  string
	found Texts
	// gone are the texts that are not there, with the ids of their records; erased those that a record
	// erases, by its own place.
	gone   map[record.FreeText]textPlace
	erased map[record.FreeText]int64
}

// erasureEnd is how the canonical bytes of an erasure end, and no other record's.
const erasureEnd = `","type":"` + string(record.Erasure) + `","v":1}`

// feed takes the next records, which were verified before.
func (v *textVerifier) feed(ctx context.Context, rows []ledger.Row) error {
	if len(rows) == 0 {
		return nil
	}
	want := map[textPlace]string{}
	for _, row := range rows {
		all, err := ledger.Commitments(row.Record)
		if err != nil {
			return &ledger.FaultError{Seq: row.Seq, Problem: fmt.Sprintf("record %d: %v", row.Seq, err)}
		}
		for _, c := range all {
			want[textPlace{row.Seq, c.Field}] = c.Commitment
		}
		if bytes.HasSuffix(row.Record, []byte(erasureEnd)) {
			if err := v.note(row); err != nil {
				return err
			}
		}
	}
	first := rows[0].Seq
	err := eachText(ctx, v.s, v.site, first, rows[len(rows)-1].Seq, func(seq int64, t salted) error {
		place := textPlace{seq, t.field}
		commitment, ok := want[place]
		switch {
		case !ok:
			return &ledger.FaultError{Seq: seq, Problem: fmt.Sprintf("a text is kept for record %d (%s) to which that record does not commit", seq, t.field)}
		case t.erased(): // or never there, which finish tells apart
			return nil
		case !ledger.CheckText(commitment, t.salt, string(t.value)):
			return &ledger.FaultError{Seq: seq, Problem: fmt.Sprintf("the text %s of record %d was changed", t.field, seq)}
		}
		v.found.Whole++
		delete(want, place)
		return nil
	})
	if err != nil {
		return err
	}
	for place := range want {
		end, err := ledger.Tail(rows[place.seq-first].Record)
		if err != nil {
			return &ledger.FaultError{Seq: place.seq, Problem: fmt.Sprintf("record %d: %v", place.seq, err)}
		}
		v.gone[record.FreeText{Record: end.ID, Field: place.field}] = place
	}
	return nil
}

// note takes down what a record erases.
func (v *textVerifier) note(row ledger.Row) error {
	r, err := ledger.Decode(row.Record)
	if err != nil {
		return &ledger.FaultError{Seq: row.Seq, Problem: fmt.Sprintf("record %d: %v", row.Seq, err)}
	}
	p, err := record.Place(r)
	if err != nil {
		return &ledger.FaultError{Seq: row.Seq, Problem: err.Error()}
	}
	for _, t := range p.Erases {
		v.erased[t] = row.Seq
	}
	return nil
}

// finish compares what is gone with what was erased, in a ledger of so many records. A text may have been
// erased since these were read, by a record behind them.
func (v *textVerifier) finish(ctx context.Context, size int64) (Texts, error) {
	var faults []*ledger.FaultError
	for t, place := range v.gone {
		if _, ok := v.erased[t]; ok {
			v.found.Erased++
			continue
		}
		var by int64
		err := v.s.Row(ctx, `SELECT by FROM erased WHERE site = $1 AND seq = $2 AND field = $3`, v.site, place.seq, place.field).Scan(&by)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return v.found, err
		}
		if err != nil || by < size {
			faults = append(
				faults,
				&ledger.FaultError{
					Seq:     place.seq,
					Problem: fmt.Sprintf("the text %s of record %d is missing, and no record says that it was erased", place.field, place.seq),
				},
			)
			continue
		}
		v.found.Erased++
	}
	for t, by := range v.erased {
		if _, ok := v.gone[t]; !ok {
			faults = append(
				faults,
				&ledger.FaultError{Seq: by, Problem: fmt.Sprintf("record %d erased the text %s of record %s, which is there", by, t.Field, t.Record)},
			)
		}
	}
	if len(faults) > 0 {
		return v.found, slices.MinFunc(faults, func(a, b *ledger.FaultError) int {
			return cmp.Or(cmp.Compare(a.Seq, b.Seq), cmp.Compare(a.Problem, b.Problem))
		})
	}
	return v.found, nil
}
