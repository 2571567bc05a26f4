package store

import (
	"database/sql"
	"errors"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
)

// Numbers are the readings and checks that statistics read.
type Numbers struct{ *Tx }

// Numbers returns the readings and checks.
func (tx *Tx) Numbers() Numbers { return Numbers{tx} }

// Measured is an ATP reading that stands, as the statistics see it.
type Measured struct {
	ID       ledger.ID
	Scope    string
	Point    scope.PointKind
	Kind     scope.Kind
	System   string
	Kit, Lot string
	Meter    string
	Person   string
	Cleaning int
	At       unit.Instant
	Value    float64 // RLU
	Outcome  reading.Outcome
	// Suspect says that a failed check of the meter took the trust from it.
	Suspect bool

	interning map[string]string
}

// scan reads a row. The same few texts come again and again, so each is kept once.
func (m *Measured) scan(row Scanner) error {
	var id, point, kind, outcome string
	var at int64
	if err := row.Scan(
		&id,
		&m.Scope,
		&point,
		&kind,
		&m.System,
		&m.Kit,
		&m.Lot,
		&m.Meter,
		&m.Person,
		&m.Cleaning,
		&at,
		&m.Value,
		&outcome,
		&m.Suspect,
	); err != nil {
		return err
	}
	for _, text := range []*string{&m.Scope, &point, &kind, &m.System, &m.Kit, &m.Lot, &m.Meter, &m.Person, &outcome} {
		kept, ok := m.interning[*text]
		if !ok {
			kept = *text
			m.interning[kept] = kept
		}
		*text = kept
	}
	m.ID, m.Point, m.Kind, m.Outcome, m.At = ledger.ID(id), scope.PointKind(point), scope.Kind(kind), reading.Outcome(outcome), unit.Instant(at)
	return nil
}

// measured runs a query for readings.
func (tx Numbers) measured(text string, visit func(Measured) error, args ...any) error {
	m := Measured{interning: map[string]string{}}
	return tx.s.Each(tx.ctx, text, func(row Rows) error {
		if err := m.scan(row); err != nil {
			return err
		}
		return visit(m)
	}, args...)
}

// Readings calls visit for every ATP reading with from <= at < to that nothing has replaced, in the
// order of time and, at one instant, of the ledger.
func (tx Numbers) Readings(from, to unit.Instant, visit func(Measured) error) error {
	return tx.measured(`SELECT id, scope, point, kind, system, kit, lot, meter, person, cleaning, at, value, outcome, suspect IS NOT NULL FROM reading
		WHERE site = $1 AND at >= $2 AND at < $3 AND analyte = 'atp' AND replaced IS NULL ORDER BY at, seq`,
		visit, tx.db.site.Code, int64(from), int64(to))
}

// ReadingsAt is Readings for one point of one scope.
func (tx Numbers) ReadingsAt(tag string, point scope.PointKind, from, to unit.Instant, visit func(Measured) error) error {
	return tx.measured(`SELECT id, scope, point, kind, system, kit, lot, meter, person, cleaning, at, value, outcome, suspect IS NOT NULL FROM reading
		WHERE site = $1 AND scope = $2 AND point = $3 AND at >= $4 AND at < $5 AND analyte = 'atp' AND replaced IS NULL ORDER BY at, seq`,
		visit, tx.db.site.Code, tag, string(point), int64(from), int64(to))
}

// ReadingsOf is Readings for one scope.
func (tx Numbers) ReadingsOf(tag string, from, to unit.Instant, visit func(Measured) error) error {
	return tx.measured(`SELECT id, scope, point, kind, system, kit, lot, meter, person, cleaning, at, value, outcome, suspect IS NOT NULL FROM reading
		WHERE site = $1 AND scope = $2 AND at >= $3 AND at < $4 AND analyte = 'atp' AND replaced IS NULL ORDER BY at, seq`,
		visit, tx.db.site.Code, tag, int64(from), int64(to))
}

// LatestReadings returns the last ATP readings of a point of a scope before an instant that nothing has
// replaced, the latest first and at most so many; with a meter system and a kit only those on that scale.
func (tx Numbers) LatestReadings(tag string, point scope.PointKind, system, kit string, before unit.Instant, most int) ([]Measured, error) {
	var list []Measured
	err := tx.measured(`SELECT id, scope, point, kind, system, kit, lot, meter, person, cleaning, at, value, outcome, suspect IS NOT NULL FROM reading
		WHERE site = $1 AND scope = $2 AND point = $3 AND at < $4 AND analyte = 'atp' AND replaced IS NULL
		AND (CAST($5 AS TEXT) = '' OR system = $6) AND (CAST($7 AS TEXT) = '' OR kit = $8) ORDER BY at DESC, seq DESC LIMIT $9`,
		func(m Measured) error {
			list = append(list, m)
			return nil
		}, tx.db.site.Code, tag, string(point), int64(before), system, system, kit, kit, most)
	return list, err
}

// CountActions counts the ATP readings of a scope over the action level with from <= at < to that nothing
// has replaced.
func (tx Numbers) CountActions(tag string, from, to unit.Instant) (int, error) {
	var n int
	err := tx.s.Row(tx.ctx, `SELECT count(*) FROM reading WHERE site = $1 AND scope = $2 AND at >= $3 AND at < $4
		AND outcome = 'action' AND analyte = 'atp' AND replaced IS NULL`,
		tx.db.site.Code, tag, int64(from), int64(to)).Scan(&n)
	return n, err
}

// LatestBut returns when the latest ATP reading was made but for so many later ones, with from <= at < to, of those
// that nothing has replaced; ok is false when there are not so many. Counted are the readings of one meter system
// with one kit at one kind of point of one kind of scope; each that is empty stands for all.
func (tx Numbers) LatestBut(system, kit string, point scope.PointKind, kind scope.Kind, from, to unit.Instant, most int) (at unit.Instant, ok bool, err error) {
	err = tx.s.Row(tx.ctx, `SELECT at FROM reading
		WHERE site = $1 AND at >= $2 AND at < $3 AND analyte = 'atp' AND replaced IS NULL
		AND (CAST($4 AS TEXT) = '' OR system = $5) AND (CAST($6 AS TEXT) = '' OR kit = $7) AND (CAST($8 AS TEXT) = '' OR point = $9)
		AND (CAST($10 AS TEXT) = '' OR kind = $11) ORDER BY at DESC, seq DESC LIMIT 1 OFFSET $12`,
		tx.db.site.Code, int64(from), int64(to), system, system, kit, kit, string(point), string(point), string(kind), string(kind), most).Scan((*int64)(&at))
	if errors.Is(err, sql.ErrNoRows) {
		return 0, false, nil
	}
	return at, err == nil, err
}

// Latest calls visit for the latest ATP readings with from <= at < to that nothing has replaced: the latest first
// and at most so many.
func (tx Numbers) Latest(from, to unit.Instant, most int64, visit func(Measured) error) error {
	return tx.measured(`SELECT id, scope, point, kind, system, kit, lot, meter, person, cleaning, at, value, outcome, suspect IS NOT NULL FROM reading
		WHERE site = $1 AND at >= $2 AND at < $3 AND analyte = 'atp' AND replaced IS NULL ORDER BY at DESC, seq DESC LIMIT $4`,
		visit, tx.db.site.Code, int64(from), int64(to), most)
}

// Scale is a meter system with a kit on which there are readings, and when the last of them was made.
type Scale struct {
	System, Kit string
	Last        unit.Instant
}

// ScalesAt calls visit for every meter system and kit with which there are ATP readings of one point of one
// scope up to an instant that nothing has replaced, the one with the latest reading first.
func (tx Numbers) ScalesAt(tag string, point scope.PointKind, to unit.Instant, visit func(Scale) error) error {
	return tx.s.Each(tx.ctx, `SELECT system, kit, max(at) AS last FROM reading
		WHERE site = $1 AND scope = $2 AND point = $3 AND at >= 0 AND at <= $4 AND analyte = 'atp' AND replaced IS NULL
		GROUP BY system, kit ORDER BY last DESC, system, kit`,
		func(row Rows) error {
			var s Scale
			var last int64
			if err := row.Scan(&s.System, &s.Kit, &last); err != nil {
				return err
			}
			s.Last = unit.Instant(last)
			return visit(s)
		}, tx.db.site.Code, tag, string(point), int64(to))
}

// UsesOf calls visit with the start of every use that nothing has replaced, of all scopes, from <=
// start < to, the earliest first.
func (tx Numbers) UsesOf(from, to unit.Instant, visit func(tag string, start unit.Instant) error) error {
	return tx.s.Each(tx.ctx, `SELECT scope, at FROM event WHERE site = $1 AND type = 'use' AND at >= $2 AND at < $3 AND replaced IS NULL ORDER BY at, seq`,
		func(row Rows) error {
			var tag string
			var at int64
			if err := row.Scan(&tag, &at); err != nil {
				return err
			}
			return visit(tag, unit.Instant(at))
		}, tx.db.site.Code, int64(from), int64(to))
}

// UsesOfScope calls visit with the start of every use of one scope that nothing has replaced, from <=
// start < to, the earliest first.
func (tx Numbers) UsesOfScope(tag string, from, to unit.Instant, visit func(start unit.Instant) error) error {
	return tx.s.Each(
		tx.ctx,
		`SELECT at FROM event WHERE site = $1 AND scope = $2 AND type = 'use' AND at >= $3 AND at < $4 AND replaced IS NULL ORDER BY at, seq`,
		func(row Rows) error {
			var at int64
			if err := row.Scan(&at); err != nil {
				return err
			}
			return visit(unit.Instant(at))
		},
		tx.db.site.Code,
		tag,
		int64(from),
		int64(to),
	)
}

// Between calls visit for every record of one type, and with one word when word is not empty, that
// nothing has replaced, of all scopes, from <= at < to, the earliest first.
func (tx Numbers) Between(kind record.Kind, word string, from, to unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.type = $2 AND e.at >= $3 AND e.at < $4 AND e.replaced IS NULL
		AND (CAST($5 AS TEXT) = '' OR e.word = $6) ORDER BY e.at, e.seq`,
		visit, tx.db.site.Code, string(kind), int64(from), int64(to), word, word)
}

// Emergencies calls visit for the emergency uses that nothing has replaced, of all scopes, from <= at < to, the earliest
// first. The words stand in the statement, so that the index of these few among all uses is taken.
func (tx Numbers) Emergencies(from, to unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.type = 'use' AND e.word = 'emergency' AND e.replaced IS NULL AND e.at >= $2 AND e.at < $3 ORDER BY e.at, e.seq`,
		visit, tx.db.site.Code, int64(from), int64(to))
}

// Checked is a check of a meter as the table has it.
type Checked struct {
	ID      ledger.ID
	Seq     int64
	At      unit.Instant
	Outcome quality.Outcome
}

// ChecksOf calls visit for the checks of a meter with from <= at <= to that nothing has replaced, the
// earliest first.
func (tx Numbers) ChecksOf(meter string, from, to unit.Instant, visit func(Checked) error) error {
	return tx.checked(`SELECT id, seq, at, verdict FROM checked WHERE site = $1 AND meter = $2 AND at >= $3 AND at <= $4 AND replaced IS NULL ORDER BY at, seq`,
		visit, tx.db.site.Code, meter, int64(from), int64(to))
}

// ChecksKnown calls visit for the checks of a meter with from <= at <= to that could be known at an instant, the
// earliest first.
func (tx Numbers) ChecksKnown(meter string, from, to, known unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, c.replaced FROM checked c JOIN record r ON r.site = c.site AND r.seq = c.seq
		WHERE c.site = $1 AND c.meter = $2 AND c.at >= $3 AND c.at <= $4 ORDER BY c.at, c.seq`,
		func(k Kept) error {
			if k.Recorded > known || k.Replaced.Known() && k.Replaced <= known {
				return nil
			}
			return visit(k)
		}, tx.db.site.Code, meter, int64(from), int64(to))
}

// ChecksAround returns the last check of a meter at or before an instant that was judged, and the
// first one after it; nil when there is none. Of several at one instant a rejected one counts.
func (tx Numbers) ChecksAround(meter string, at unit.Instant) (before, after *Checked, err error) {
	into := func(p **Checked) func(Checked) error {
		return func(c Checked) error { *p = &c; return nil }
	}
	if err := tx.checked(`SELECT id, seq, at, verdict FROM checked WHERE site = $1 AND meter = $2 AND at <= $3 AND verdict <> 'unjudged' AND replaced IS NULL
		ORDER BY at DESC, CASE verdict WHEN 'rejected' THEN 0 ELSE 1 END, seq DESC LIMIT 1`, into(&before), tx.db.site.Code, meter, int64(at)); err != nil {
		return nil, nil, err
	}
	err = tx.checked(`SELECT id, seq, at, verdict FROM checked WHERE site = $1 AND meter = $2 AND at > $3 AND verdict <> 'unjudged' AND replaced IS NULL
		ORDER BY at, CASE verdict WHEN 'rejected' THEN 0 ELSE 1 END, seq LIMIT 1`, into(&after), tx.db.site.Code, meter, int64(at))
	return before, after, err
}

// goodCheck is a good check of a meter that no doubt reaches across (quality.Suspects): none failed at its instant, and none
// that failed later was on record before it, also one that was replaced since.
const goodCheck = `SELECT c.at FROM checked c WHERE c.site = $1 AND c.meter = $2 AND c.verdict IN ('accepted', 'warning') AND c.replaced IS NULL
	AND NOT EXISTS (SELECT 1 FROM checked f WHERE f.site = c.site AND f.meter = c.meter AND f.at = c.at AND f.verdict = 'rejected' AND f.replaced IS NULL)
	AND NOT EXISTS (SELECT 1 FROM checked f WHERE f.site = c.site AND f.meter = c.meter AND f.at > c.at AND f.seq < c.seq AND f.verdict = 'rejected')`

// GoodChecks returns the last good check of a meter before an instant and the first after it that no doubt reaches across,
// zero where there is none. A check at the instant itself counts as neither.
func (tx Numbers) GoodChecks(meter string, at unit.Instant) (before, after unit.Instant, err error) {
	if before, err = tx.checkedAt(goodCheck+` AND c.at < $3 ORDER BY c.at DESC, c.seq DESC LIMIT 1`, meter, at); err != nil {
		return 0, 0, err
	}
	after, err = tx.checkedAt(goodCheck+` AND c.at > $3 ORDER BY c.at, c.seq LIMIT 1`, meter, at)
	return before, after, err
}

// GoodCheckAt says whether a meter had a good check at an instant that no doubt reaches across.
func (tx Numbers) GoodCheckAt(meter string, at unit.Instant) (bool, error) {
	found, err := tx.checkedAt(goodCheck+` AND c.at = $3 LIMIT 1`, meter, at)
	return found.Known(), err
}

func (tx Numbers) checkedAt(text, meter string, at unit.Instant) (found unit.Instant, err error) {
	err = tx.s.Row(tx.ctx, text, tx.db.site.Code, meter, int64(at)).Scan((*int64)(&found))
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return found, err
}

func (tx Numbers) checked(text string, visit func(Checked) error, args ...any) error {
	return tx.s.Each(tx.ctx, text, func(row Rows) error {
		var id, outcome string
		var seq, at int64
		if err := row.Scan(&id, &seq, &at, &outcome); err != nil {
			return err
		}
		return visit(Checked{ledger.ID(id), seq, unit.Instant(at), quality.Outcome(outcome)})
	}, args...)
}

// LastChecks calls visit for the last checks of a meter before an instant that nothing has replaced,
// the latest first and at most so many.
func (tx Numbers) LastChecks(meter string, before unit.Instant, most int, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM checked c JOIN record r ON r.site = c.site AND r.seq = c.seq
		WHERE c.site = $1 AND c.meter = $2 AND c.at < $3 AND c.replaced IS NULL ORDER BY c.at DESC, c.seq DESC LIMIT $4`,
		visit, tx.db.site.Code, meter, int64(before), most)
}

// ReadWith calls visit for the readings of a meter with from < at < to that nothing has replaced,
// the earliest first.
func (tx Numbers) ReadWith(meter string, from, to unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM reading x JOIN record r ON r.site = x.site AND r.seq = x.seq
		WHERE x.site = $1 AND x.at > $2 AND x.at < $3 AND x.meter = $4 AND x.replaced IS NULL ORDER BY x.at, x.seq`,
		visit, tx.db.site.Code, int64(from), int64(to), meter)
}

// ReadOfLot calls visit for the readings with a lot of a kit from an instant on that nothing has replaced, the earliest
// first.
func (tx Numbers) ReadOfLot(kit, lot string, from unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM reading x JOIN record r ON r.site = x.site AND r.seq = x.seq
		WHERE x.site = $1 AND x.at >= $2 AND x.kit = $3 AND x.lot = $4 AND x.replaced IS NULL ORDER BY x.at, x.seq`,
		visit, tx.db.site.Code, int64(from), kit, lot)
}

// CountOf counts the records of one kind of all scopes that nothing has replaced, from <= at < to.
func (tx Numbers) CountOf(kind record.Kind, from, to unit.Instant) (n int, err error) {
	err = tx.s.Row(tx.ctx, `SELECT count(*) FROM (SELECT 1 FROM event WHERE site = $1 AND type = $2 AND at >= $3 AND at < $4
		AND replaced IS NULL ORDER BY at, seq) AS some`,
		tx.db.site.Code, string(kind), int64(from), int64(to)).
		Scan(&n)
	return n, err
}

// CountWith counts the readings of a meter with from < at <= to that nothing has replaced, up to most.
func (tx Numbers) CountWith(meter string, from, to unit.Instant, most int) (n int, err error) {
	err = tx.s.Row(tx.ctx, `SELECT count(*) FROM (SELECT 1 FROM reading WHERE site = $1 AND at > $2 AND at <= $3 AND meter = $4
		AND replaced IS NULL ORDER BY at, seq LIMIT $5) AS some`,
		tx.db.site.Code, int64(from), int64(to), meter, most).
		Scan(&n)
	return n, err
}

// MarkedBecause calls visit for the records that took the trust from readings because of a check
// that was made at an instant, and that nothing has replaced.
func (tx Numbers) MarkedBecause(check ledger.ID, at unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, NULL FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.type = 'suspect' AND e.at = $2 AND e.word = $3 AND e.replaced IS NULL ORDER BY e.seq`,
		visit, tx.db.site.Code, int64(at), string(check))
}
