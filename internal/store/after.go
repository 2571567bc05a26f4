package store

// EventsAfter calls visit for every record of a scope, of whatever type, that was written after a place in
// the ledger, in the order in which they were written.
func (tx *Tx) EventsAfter(scope string, seq int64, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, e.replaced FROM event e JOIN record r ON r.site = e.site AND r.seq = e.seq
		WHERE e.site = $1 AND e.scope = $2 AND e.seq > $3 ORDER BY e.seq`, visit, tx.db.site.Code, scope, seq)
}
