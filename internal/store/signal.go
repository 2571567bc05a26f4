package store

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// Handlings calls visit for what people did about all signals and nothing has replaced, in the order of the
// ledger.
func (tx Numbers) Handlings(visit func(record.Handled) error) error {
	return tx.s.Each(tx.ctx, `SELECT signal, act, at, scope, point, system, kit, reading, signalled, direction, began, last FROM signal
		WHERE site = $1 AND replaced IS NULL ORDER BY seq`, func(row Rows) error {
		var h record.Handled
		if err := row.Scan(
			&h.Signal,
			&h.Act,
			&h.At,
			&h.Scope,
			&h.Point,
			&h.System,
			&h.Kit,
			&h.Reading,
			&h.Signalled,
			&h.Direction,
			&h.Begin,
			&h.Last,
		); err != nil {
			return err
		}
		return visit(h)
	}, tx.db.site.Code)
}

// HandlingsOf calls visit for the records of what people did about one signal, replaced ones as well, in the
// order of the ledger.
func (tx Numbers) HandlingsOf(signal ledger.ID, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, a.replaced FROM signal a JOIN record r ON r.site = a.site AND r.seq = a.seq
		WHERE a.site = $1 AND a.signal = $2 ORDER BY a.seq`, visit, tx.db.site.Code, string(signal))
}
