package store

import "rinsate/internal/unit"

// Editions calls visit for every edition of one thing, those that were replaced as well, in the order
// of the ledger.
func (tx *Tx) Editions(typ, key string, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, n.replaced FROM entity n JOIN record r ON r.site = n.site AND r.seq = n.seq
		WHERE n.site = $1 AND n.type = $2 AND n.key = $3 ORDER BY n.seq`, visit, tx.db.site.Code, typ, key)
}

// EntityKey returns the key under which the editions of what a record describes are kept; empty for a
// record that describes nothing that has editions.
func EntityKey(k Kept) (string, error) {
	p, err := place(k.Record)
	return p.entity, err
}

// CountRecent counts the records of one type, of all scopes, that happened from an instant until before
// another and stand.
func (tx *Tx) CountRecent(typ string, from, before unit.Instant) (int, error) {
	var n int
	// Counting in an order makes the engine count in the index of it.
	err := tx.s.row(tx.ctx, `SELECT count(*) FROM (SELECT at FROM event WHERE site = $1 AND type = $2 AND at >= $3 AND at < $4 AND replaced IS NULL ORDER BY at, seq)`,
		tx.db.site.Code, typ, int64(from), int64(before)).Scan(&n)
	return n, err
}
