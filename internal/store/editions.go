package store

import "rinsate/internal/record"

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
