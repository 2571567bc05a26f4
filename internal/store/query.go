package store

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// Forever is the instant after every other: asking what was known at Forever asks for all.
const Forever = unit.Instant(1<<63 - 1)

// events runs a query whose columns are a record's bytes and its replaced instant.
func (tx *Tx) events(text string, visit func(Kept) error, args ...any) error {
	return tx.s.Each(tx.ctx, text, func(row Rows) error {
		var raw sql.RawBytes
		var replaced sql.NullInt64
		if err := row.Scan(&raw, &replaced); err != nil {
			return err
		}
		r, err := decode(tx, raw)
		if err != nil {
			return err
		}
		return visit(Kept{Record: r, Replaced: unit.Instant(replaced.Int64)})
	}, args...)
}

// decode reads a record whose bytes this program has checked when it stored them; Verify checks them and its
// texts again. It comes as people know it: with its free texts, and its body in the version that this program
// writes.
func decode(tx *Tx, raw []byte) (ledger.Record, error) {
	bypass := erases(tx)
	if !bypass {
		if r, ok := tx.db.decoded.get(raw); ok {
			return r, nil
		}
	}
	var r ledger.Record
	if err := json.Unmarshal(raw, &r); err != nil {
		return r, fmt.Errorf("read a stored record: %w", err)
	}
	whole := true
	var err error
	if ledger.MayCommit(raw) {
		if r, whole, err = readable(tx.ctx, tx.s, r); err != nil {
			return r, err
		}
	}
	if r, err = record.Current(r); err != nil {
		return r, err
	}
	r.Because = slices.Clip(r.Because) // whoever appends to it must not write into that of others
	if whole && !bypass {
		tx.db.decoded.put(raw, r, tx.epoch)
	}
	return r, nil
}

// FreeTexts returns the free texts of a record that are kept, by their fields (record.FreeText).
func FreeTexts(tx *Tx, r ledger.Record) (map[string]string, error) {
	return textsOf(tx.ctx, tx.s, r.Site, r.Seq)
}

// kindsAtOnce is how many kinds of records one statement takes.
const kindsAtOnce = 8

// Events calls visit for every record of a scope of the given kinds that happened from..to and that
// somebody asking at known would have been shown, the earliest first.
func (tx *Tx) Events(scope string, from, to, known unit.Instant, visit func(Kept) error, kinds ...record.Kind) error {
	if len(kinds) == 0 {
		return errors.New("records of no kind were asked for")
	}
	if len(kinds) <= kindsAtOnce {
		return tx.eventsOf(scope, from, to, known, visit, kinds)
	}
	var all []Kept
	for some := range slices.Chunk(kinds, kindsAtOnce) {
		if err := tx.eventsOf(scope, from, to, known, func(k Kept) error { all = append(all, k); return nil }, some); err != nil {
			return err
		}
	}
	at := make(map[int64]unit.Instant, len(all))
	for _, k := range all {
		p, err := record.Place(k.Record)
		if err != nil {
			return err
		}
		at[k.Seq] = p.At
	}
	slices.SortFunc(all, func(a, b Kept) int { return cmp.Or(cmp.Compare(at[a.Seq], at[b.Seq]), cmp.Compare(a.Seq, b.Seq)) })
	for _, k := range all {
		if err := visit(k); err != nil {
			return err
		}
	}
	return nil
}

// eventsOf is Events for at most kindsAtOnce kinds.
func (tx *Tx) eventsOf(scope string, from, to, known unit.Instant, visit func(Kept) error, kinds []record.Kind) error {
	args := []any{tx.db.site.Code, scope, int64(from), int64(to), int64(known), int64(known)}
	for i := range kindsAtOnce { // the last kind fills what is left, so that one statement serves all
		args = append(args, string(kinds[min(i, len(kinds)-1)]))
	}
	return tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.scope = $2 AND e.at >= $3 AND e.at <= $4 AND e.recorded <= $5
		AND (e.replaced IS NULL OR e.replaced > $6) AND e.type IN ($7, $8, $9, $10, $11, $12, $13, $14) ORDER BY e.at, e.seq`, visit, args...)
}

// Doubts calls visit for the marks that take the trust from readings of a scope that were made from..to,
// each once and in the order of the ledger, as somebody asking at known would have been shown them.
// Whenever the check failed that a mark rests on, before the readings or long after, it is found here.
func (tx *Tx) Doubts(scope string, from, to, known unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, max(d.replaced) FROM event e JOIN doubted d ON d.site = e.site AND d.reading = e.seq
		JOIN record r ON r.site = d.site AND r.seq = d.seq
		WHERE e.site = $1 AND e.scope = $2 AND e.type = 'reading' AND e.at >= $3 AND e.at <= $4
		AND d.recorded <= $5 AND (d.replaced IS NULL OR d.replaced > $6) GROUP BY d.seq ORDER BY d.seq`,
		visit, tx.db.site.Code, scope, int64(from), int64(to), int64(known), int64(known))
}

// LastEvent returns the latest record of a scope of one type, and with one word when word is not
// empty, that happened up to an instant and was known; ok is false when there is none.
func (tx *Tx) LastEvent(scope string, kind record.Kind, word string, to, known unit.Instant) (last Kept, ok bool, err error) {
	err = tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.scope = $2 AND e.type = $3 AND e.at <= $4 AND e.recorded <= $5
		AND (e.replaced IS NULL OR e.replaced > $6) AND (CAST($7 AS TEXT) = '' OR e.word = $8)
		ORDER BY e.at DESC, e.seq DESC LIMIT 1`, func(k Kept) error {
		last, ok = k, true
		return nil
	}, tx.db.site.Code, scope, string(kind), int64(to), int64(known), int64(known), word, word)
	return last, ok, err
}

// Unended calls visit for the uses of a scope that began before an instant and had not ended by then, as
// somebody asking at known would have been shown them, the earliest end first and those without one last.
// However long ago they began, they are found here.
func (tx *Tx) Unended(scope string, at, known unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, u.replaced FROM used u JOIN record r ON r.site = u.site AND r.seq = u.seq
		WHERE u.site = $1 AND u.scope = $2 AND u.ended > $3 AND u.at < $4 AND u.recorded <= $5
		AND (u.replaced IS NULL OR u.replaced > $6) ORDER BY u.ended, u.at, u.seq`,
		visit, tx.db.site.Code, scope, int64(at), int64(at), int64(known), int64(known))
}

// CountEvents counts the records of a scope of one type with after < at < before that were known.
func (tx *Tx) CountEvents(scope string, kind record.Kind, after, before, known unit.Instant) (int, error) {
	var n int
	err := tx.s.Row(tx.ctx, `SELECT count(*) FROM event WHERE site = $1 AND scope = $2 AND type = $3 AND at > $4 AND at < $5
		AND recorded <= $6 AND (replaced IS NULL OR replaced > $7)`,
		tx.db.site.Code, scope, string(kind), int64(after), int64(before), int64(known), int64(known)).Scan(&n)
	return n, err
}

// VerificationsBefore calls visit for the decisions on verifications of a scope that happened up to an instant and
// were known, the latest first, until it returns false.
func (tx *Tx) VerificationsBefore(scope string, to, known unit.Instant, visit func(Kept) (more bool, err error)) error {
	const page = 4
	last := to
	for seq := int64(1<<63 - 1); ; {
		seen, more := 0, true
		err := tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
			WHERE e.site = $1 AND e.scope = $2 AND e.type = $3 AND (e.at, e.seq) < ($4, $5) AND e.recorded <= $6
			AND (e.replaced IS NULL OR e.replaced > $7) ORDER BY e.at DESC, e.seq DESC LIMIT $8`, func(k Kept) (err error) {
			if seen++; more {
				more, err = visit(k)
			}
			last, seq = k.At, k.Seq
			return err
		}, tx.db.site.Code, scope, record.Verification, int64(last), seq, int64(known), int64(known), page)
		if err != nil || !more || seen < page {
			return err
		}
	}
}

// Lately calls visit for the latest records of one type, of all scopes, the newest in the ledger
// first, until it returns false.
func (tx *Tx) Lately(kind record.Kind, limit int, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.type = $2 AND e.replaced IS NULL ORDER BY e.at DESC, e.seq DESC LIMIT $3`, visit, tx.db.site.Code, string(kind), limit)
}

// OpenHolds returns the holds that are not lifted, the oldest first.
func (tx *Tx) OpenHolds(visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM hold h JOIN record r ON r.site = h.site AND r.seq = h.seq
		WHERE h.site = $1 AND h.lifted IS NULL ORDER BY h.at, h.seq`, visit, tx.db.site.Code)
}

// entityCache keeps the decoded entities of a type until another record of the type is written.
// A record itself never changes, so what was read of it once is kept by its place.
type entityCache struct {
	mu      sync.Mutex
	types   map[record.Kind]cachedEntities
	records map[int64]ledger.Record
}

type cachedEntities struct {
	// state tells one state of the table from another: the last record and how many are replaced.
	state   [2]int64
	decoded []Kept
}

func (c *entityCache) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.types, c.records = nil, nil
}

// record returns the record at a place, from the cache or through tx.
func (c *entityCache) record(tx *Tx, seq int64) (ledger.Record, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if r, ok := c.records[seq]; ok && !erases(tx) {
		return r, nil
	}
	raw, err := tx.raw(seq)
	if err != nil {
		return ledger.Record{}, err
	}
	r, err := decode(tx, raw)
	if err != nil {
		return r, err
	}
	if tx.epoch != tx.db.decoded.now() || erases(tx) {
		return r, nil // it may hold a text that was erased since
	}
	if c.records == nil {
		c.records = map[int64]ledger.Record{}
	}
	c.records[seq] = r
	return r, nil
}

// raw reads the bytes of a record by its place.
func (tx *Tx) raw(seq int64) ([]byte, error) {
	var raw []byte
	err := tx.s.Row(tx.ctx, `SELECT bytes FROM record WHERE site = $1 AND seq = $2`, tx.db.site.Code, seq).Scan(&raw)
	return raw, err
}

// Entities returns all editions of everything of one type, in the order of the ledger, with those
// that were replaced. The slice is shared: do not change it.
func (tx *Tx) Entities(kind record.Kind) ([]Kept, error) {
	var last sql.NullInt64
	var replaced int64
	if err := tx.s.Row(tx.ctx, `SELECT max(seq), count(replaced) FROM entity WHERE site = $1 AND type = $2`, tx.db.site.Code, string(kind)).
		Scan(&last, &replaced); err != nil {
		return nil, err
	}
	if !last.Valid {
		return nil, nil
	}
	state := [2]int64{last.Int64, replaced}
	c := &tx.db.entities
	c.mu.Lock()
	defer c.mu.Unlock()
	if got, ok := c.types[kind]; ok && got.state == state && !erases(tx) {
		return got.decoded, nil
	}
	var all []Kept
	err := tx.events(`SELECT r.bytes, e.replaced FROM entity e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.type = $2 ORDER BY e.seq`, func(k Kept) error {
		all = append(all, k)
		return nil
	}, tx.db.site.Code, string(kind))
	if err != nil {
		return nil, err
	}
	if tx.epoch != tx.db.decoded.now() || erases(tx) {
		return all, nil
	}
	if c.types == nil {
		c.types = make(map[record.Kind]cachedEntities)
	}
	c.types[kind] = cachedEntities{state, all}
	return all, nil
}

// CountEntities counts what there is of one type, each thing once however many editions of it stand.
func (tx *Tx) CountEntities(kind record.Kind) (n int, err error) {
	err = tx.s.Row(tx.ctx, `SELECT count(DISTINCT key) FROM entity WHERE site = $1 AND type = $2 AND replaced IS NULL`, tx.db.site.Code, string(kind)).Scan(&n)
	return n, err
}

// Entity returns the edition of one thing that was in force at an instant as known then: the last
// one written of those whose at is not later. ok is false when there is none.
func (tx *Tx) Entity(kind record.Kind, key string, at, known unit.Instant) (found Kept, ok bool, err error) {
	all, err := Standing(tx, kind, key)
	if err != nil {
		return found, false, err
	}
	var last Stands
	for s := range KnownAt(all, known) {
		if s.At <= at {
			last, ok = s, true
		}
	}
	if !ok {
		return found, false, nil
	}
	found, err = Edition(tx, last)
	return found, err == nil, err
}

// Find returns the record whose id is, or begins with, the given text.
func (tx *Tx) Find(id string) (Kept, error) {
	if len(id) < 4 || strings.Trim(id, "0123456789abcdef-") != "" {
		return Kept{}, &fault.Error{
			Code:    fault.Invalid,
			Message: fmt.Sprintf("%q is not a record id", id),
			Hint:    "give the id or its beginning, at least 4 characters",
		}
	}
	var ids []string
	err := tx.s.Each(tx.ctx, `SELECT id FROM record WHERE site = $1 AND id >= $2 AND id < $3 ORDER BY id LIMIT 2`, func(row Rows) error {
		var s string
		err := row.Scan(&s)
		ids = append(ids, s)
		return err
	}, tx.db.site.Code, id, id+"g")
	switch {
	case err != nil:
		return Kept{}, err
	case len(ids) == 0:
		return Kept{}, &fault.Error{Code: fault.NotFound, Message: fmt.Sprintf("there is no record whose id begins with %s", id)}
	case len(ids) > 1:
		return Kept{}, &fault.Error{Code: fault.Invalid, Message: fmt.Sprintf("several records begin with %s", id), Hint: "give more of the id"}
	}
	kept, err := tx.Record(ledger.ID(ids[0]))
	if err != nil {
		return kept, err
	}
	kept.Replaced, err = tx.Replaced(kept.Record)
	return kept, err
}

// Replaced returns when another record voided, corrected, finished or superseded this one, zero when
// none has.
func (tx *Tx) Replaced(r ledger.Record) (unit.Instant, error) {
	p, err := record.Place(r)
	if err != nil {
		return 0, err
	}
	var replaced sql.NullInt64
	switch {
	case p.Scope != "":
		err = tx.s.Row(tx.ctx, `SELECT replaced FROM event WHERE site = $1 AND scope = $2 AND type = $3 AND at = $4 AND seq = $5`,
			r.Site, p.Scope, r.Type, int64(p.At), r.Seq).Scan(&replaced)
	case p.Entity != "":
		err = tx.s.Row(tx.ctx, `SELECT replaced FROM entity WHERE site = $1 AND type = $2 AND key = $3 AND seq = $4`,
			r.Site, r.Type, p.Entity, r.Seq).Scan(&replaced)
	case p.Meter != "":
		err = tx.s.Row(tx.ctx, `SELECT replaced FROM checked WHERE site = $1 AND seq = $2`, r.Site, r.Seq).Scan(&replaced)
	case p.Note:
		err = tx.s.Row(tx.ctx, `SELECT replaced FROM handover WHERE site = $1 AND seq = $2`, r.Site, r.Seq).Scan(&replaced)
	}
	return unit.Instant(replaced.Int64), err
}

// Size returns the number of records in the ledger.
func (tx *Tx) Size() (int64, error) {
	if tx.write != nil {
		return tx.write.head.frontier.Size(), nil
	}
	var n int64
	err := tx.s.Row(tx.ctx, `SELECT size FROM head WHERE site = $1`, tx.db.site.Code).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return n, err
}

// LastRecorded returns when the newest record was written, by the clock that the computer had then.
func LastRecorded(tx *Tx) (unit.Instant, error) {
	if tx.write != nil {
		return tx.write.head.recorded, nil
	}
	var at int64
	err := tx.s.Row(tx.ctx, `SELECT recorded FROM head WHERE site = $1`, tx.db.site.Code).Scan(&at)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return unit.Instant(at), err
}

// HoldsOpenAt calls visit for the holds of a scope that were placed by an instant and not lifted by
// another, as they are known today.
func (tx *Tx) HoldsOpenAt(scope string, placed, lifted unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM hold h JOIN record r ON r.site = h.site AND r.seq = h.seq
		WHERE h.site = $1 AND h.scope = $2 AND h.at <= $3 AND (h.lifted IS NULL OR h.lifted > $4) ORDER BY h.at, h.seq`,
		visit, tx.db.site.Code, scope, int64(placed), int64(lifted))
}

// Chronicle calls visit for every record of a scope between two instants, replaced ones as well, the
// latest first and at most so many. The table is in order within each type, so that the latest of each are
// found first and the latest of these taken.
func (tx *Tx) Chronicle(scope string, from, to unit.Instant, limit int, visit func(Kept) error) error {
	type place struct {
		kind    record.Kind
		at, seq int64
	}
	var latest []place
	for _, kind := range record.Kinds {
		err := tx.s.Each(
			tx.ctx,
			`SELECT at, seq FROM event WHERE site = $1 AND scope = $2 AND type = $3 AND at >= $4 AND at <= $5 ORDER BY at DESC, seq DESC LIMIT $6`,
			func(row Rows) error {
				p := place{kind: kind}
				err := row.Scan(&p.at, &p.seq)
				latest = append(latest, p)
				return err
			},
			tx.db.site.Code,
			scope,
			string(kind),
			int64(from),
			int64(to),
			limit,
		)
		if err != nil {
			return err
		}
	}
	slices.SortFunc(latest, func(a, b place) int { return cmp.Or(cmp.Compare(b.at, a.at), cmp.Compare(b.seq, a.seq)) })
	for _, p := range latest[:min(limit, len(latest))] {
		err := tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
			WHERE e.site = $1 AND e.scope = $2 AND e.type = $3 AND e.at = $4 AND e.seq = $5`,
			visit, tx.db.site.Code, scope, string(p.kind), p.at, p.seq)
		if err != nil {
			return err
		}
	}
	return nil
}

// NextUse returns when the first use of a scope after an instant began, Forever when there is none.
func (tx *Tx) NextUse(scope string, after unit.Instant) (unit.Instant, error) {
	var at sql.NullInt64
	err := tx.s.Row(tx.ctx, `SELECT min(at) FROM event WHERE site = $1 AND scope = $2 AND type = $3 AND at > $4 AND replaced IS NULL`,
		tx.db.site.Code, scope, record.Use, int64(after)).Scan(&at)
	if err != nil || !at.Valid {
		return Forever, err
	}
	return unit.Instant(at.Int64), nil
}

// restores returns the last record of the kind restore, empty for none, and all of them with those that they have
// settled and that the copy lacks.
func restores(tx *Tx) (last ledger.ID, settled []ledger.ID, err error) {
	kept, err := tx.Entities(record.Restore)
	if err != nil {
		return "", nil, err
	}
	for _, k := range kept {
		last = k.ID
		lost, err := record.Settles(k.Record)
		if err != nil {
			return "", nil, err
		}
		settled = append(settled, k.ID, lost)
	}
	return last, settled, nil
}

// HeadNow returns the present end of the ledger.
func HeadNow(tx *Tx) (h Head, err error) {
	if tx.write != nil {
		h.Size, h.Root = tx.write.head.frontier.Size(), tx.write.head.frontier.Root()
		h.Recorded, h.Restore = tx.write.head.recorded, tx.write.head.restore
		return h, nil
	}
	var root []byte
	err = tx.s.Row(tx.ctx, `SELECT size, root, recorded FROM head WHERE site = $1`, tx.db.site.Code).Scan(&h.Size, &root, (*int64)(&h.Recorded))
	if err != nil {
		return h, fmt.Errorf("read the head: %w", err)
	}
	copy(h.Root[:], root)
	h.Restore, _, err = restores(tx)
	return h, err
}
