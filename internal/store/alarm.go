package store

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
)

// fillAlarm writes the row of what somebody did about an alarm.
func (tx *Tx) fillAlarm(r ledger.Record, h trend.Handling) error {
	k := h.Stream
	_, err := tx.s.exec(tx.ctx, `INSERT INTO alarm (site, seq, alarm, act, at, scope, point, system, kit, reading, signalled, direction, began, last)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)`,
		r.Site, r.Seq, string(h.Alarm), string(h.Act), int64(h.At), k.Scope, string(k.Point), k.System, k.Kit, string(h.Reading), int64(h.Signalled),
		string(h.Direction), int64(h.Begin), int64(h.Last))
	return err
}

// Handlings calls visit for what people did about all alarms and nothing has replaced, in the order of the
// ledger, without their words, causes and linked records.
func (tx *Tx) Handlings(visit func(trend.Handling) error) error {
	return tx.s.each(tx.ctx, `SELECT alarm, act, at, scope, point, system, kit, reading, signalled, direction, began, last FROM alarm
		WHERE site = $1 AND replaced IS NULL ORDER BY seq`, func(row scanner) error {
		var h trend.Handling
		var alarm, act, point, reading, direction string
		var at, signalled, begin, last int64
		if err := row.Scan(&alarm, &act, &at, &h.Stream.Scope, &point, &h.Stream.System, &h.Stream.Kit, &reading, &signalled, &direction, &begin, &last); err != nil {
			return err
		}
		h.Alarm, h.Act, h.At, h.Stream.Point, h.Reading = ledger.ID(alarm), trend.Act(act), unit.Instant(at), scope.PointKind(point), ledger.ID(reading)
		h.Signalled, h.Direction, h.Begin, h.Last = unit.Instant(signalled), trend.Direction(direction), unit.Instant(begin), unit.Instant(last)
		return visit(h)
	}, tx.db.site.Code)
}

// HandlingsOf calls visit for the records of what people did about one alarm, replaced ones as well, in the
// order of the ledger.
func (tx *Tx) HandlingsOf(alarm ledger.ID, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, a.replaced FROM alarm a JOIN record r ON r.site = a.site AND r.seq = a.seq
		WHERE a.site = $1 AND a.alarm = $2 ORDER BY a.seq`, visit, tx.db.site.Code, string(alarm))
}
