package store

import (
	"database/sql"
	"iter"

	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// Stands is when one edition of a thing was written, and what for.
type Stands struct {
	Seq int64
	// At is since when it says that it holds, Recorded when it was written, Replaced when another took its place.
	At, Recorded, Replaced unit.Instant
}

// thing is what has editions.
type thing struct {
	kind record.Kind
	key  string
}

// Standing returns the editions of one thing, in the order of the ledger, without what they say. One answer of the
// release check asks for the same things many times: what was read stays with the transaction until it writes an
// edition itself. The slice is shared: do not change it.
func Standing(tx *Tx, kind record.Kind, key string) ([]Stands, error) {
	if all, ok := tx.standing[thing{kind, key}]; ok {
		return all, nil
	}
	var all []Stands
	err := tx.s.Each(tx.ctx, `SELECT seq, at, recorded, replaced FROM entity WHERE site = $1 AND type = $2 AND key = $3 ORDER BY seq`, func(row Rows) error {
		var s Stands
		var replaced sql.NullInt64
		if err := row.Scan(&s.Seq, &s.At, &s.Recorded, &replaced); err != nil {
			return err
		}
		s.Replaced = unit.Instant(replaced.Int64)
		all = append(all, s)
		return nil
	}, tx.db.site.Code, string(kind), key)
	if err != nil {
		return nil, err
	}
	if tx.standing == nil {
		tx.standing = map[thing][]Stands{}
	}
	tx.standing[thing{kind, key}] = all
	return all, nil
}

// known says whether the edition was on record at an instant, and not replaced yet.
func (s Stands) known(at unit.Instant) bool {
	return s.Recorded <= at && (!s.Replaced.Known() || s.Replaced > at)
}

// KnownAt leaves of editions those that were on record at an instant, and not replaced yet.
func KnownAt(all []Stands, at unit.Instant) iter.Seq[Stands] {
	return func(yield func(Stands) bool) {
		for _, s := range all {
			if s.known(at) && !yield(s) {
				return
			}
		}
	}
}

// Edition returns what an edition says.
func Edition(tx *Tx, s Stands) (Kept, error) {
	r, err := tx.db.entities.record(tx, s.Seq)
	return Kept{Record: r, Replaced: s.Replaced}, err
}

// Editions calls visit for every edition of one thing, those that were replaced as well, in the order
// of the ledger.
func (tx *Tx) Editions(kind record.Kind, key string, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, n.replaced FROM entity n JOIN record r ON r.site = n.site AND r.seq = n.seq
		WHERE n.site = $1 AND n.type = $2 AND n.key = $3 ORDER BY n.seq`, visit, tx.db.site.Code, string(kind), key)
}

// Decided returns how many verifications that stand were decided by each edition of the rule set, by the name that
// decisions have for it.
func (tx *Tx) Decided() (map[string]int, error) {
	verifications := map[string]int{}
	err := tx.s.Each(tx.ctx, `SELECT rules, verifications FROM decided WHERE site = $1`, func(row Rows) error {
		var rules string
		var n int
		err := row.Scan(&rules, &n)
		verifications[rules] = n
		return err
	}, tx.db.site.Code)
	return verifications, err
}
