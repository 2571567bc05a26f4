package store

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// disinfected writes what a disinfection shares with others.
func (tx appending) disinfected(r ledger.Record, p record.Placing, d record.Disinfected) error {
	failed := 0
	if d.Failed {
		failed = 1
	}
	_, err := tx.s.Exec(tx.ctx, `INSERT INTO disinfected (site, seq, scope, at, reprocessor, disinfectant, lot, began, filled, expires, failed, recorded)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`, r.Site, r.Seq, p.Scope, int64(p.At), d.Reprocessor, d.Disinfectant, d.Lot,
		int64(d.Began), int64(d.Filled), int64(d.Expires), failed, int64(r.Recorded))
	return err
}

// Shared reads what disinfections share with others, as somebody asking at Known would have been shown it.
type Shared struct {
	*Tx
	Known unit.Instant
}

// Runs calls visit for the disinfections in a reprocessor that began from..to and failed, or did not.
func (tx Shared) Runs(reprocessor string, failed bool, from, to unit.Instant, visit func(Kept) error) error {
	n := 0
	if failed {
		n = 1
	}
	return tx.events(`SELECT r.bytes, d.replaced FROM disinfected d JOIN record r ON r.site = d.site AND r.seq = d.seq
		WHERE d.site = $1 AND d.reprocessor = $2 AND d.failed = $3 AND d.at >= $4 AND d.at <= $5
		AND d.recorded <= $6 AND (d.replaced IS NULL OR d.replaced > $7) ORDER BY d.at, d.seq`,
		visit, tx.db.site.Code, record.SharedName(reprocessor), n, int64(from), int64(to), int64(tx.Known), int64(tx.Known))
}

// With calls visit for the disinfections with a lot that began at an instant or later.
func (tx Shared) With(disinfectant, lot string, from unit.Instant, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, d.replaced FROM disinfected d JOIN record r ON r.site = d.site AND r.seq = d.seq
		WHERE d.site = $1 AND d.disinfectant = $2 AND d.lot = $3 AND d.at >= $4
		AND d.recorded <= $5 AND (d.replaced IS NULL OR d.replaced > $6) ORDER BY d.at, d.seq`,
		visit, tx.db.site.Code, record.SharedName(disinfectant), record.SharedName(lot), int64(from), int64(tx.Known), int64(tx.Known))
}

// FirstUse calls visit for the disinfection by which a lot is in use in a reprocessor, or in a basin where that is empty,
// for the longest; not at all where there is none.
func (tx Shared) FirstUse(disinfectant, lot, reprocessor string, visit func(Kept) error) error {
	return tx.events(`SELECT r.bytes, d.replaced FROM disinfected d JOIN record r ON r.site = d.site AND r.seq = d.seq
		WHERE d.site = $1 AND d.disinfectant = $2 AND d.lot = $3 AND d.reprocessor = $4
		AND d.recorded <= $5 AND (d.replaced IS NULL OR d.replaced > $6) ORDER BY d.began LIMIT 1`,
		visit, tx.db.site.Code, record.SharedName(disinfectant), record.SharedName(lot), record.SharedName(reprocessor), int64(tx.Known), int64(tx.Known))
}

// Dates calls visit for disinfections with a lot which say that it, or its solution, expired by an instant: of those that
// say the same date of the same filling in the same reprocessor, the first and the last.
func (tx Shared) Dates(disinfectant, lot string, by unit.Instant, visit func(Kept) error) error {
	type date struct {
		expires, filled int64
		reprocessor     string
	}
	last := date{expires: 0}
	for {
		found := false
		var seq int64
		next := last
		err := tx.s.Each(tx.ctx, `SELECT seq, expires, reprocessor, filled FROM disinfected
			WHERE site = $1 AND disinfectant = $2 AND lot = $3 AND expires > 0 AND expires <= $4 AND (expires, reprocessor, filled) > ($5, $6, $7)
			AND recorded <= $8 AND (replaced IS NULL OR replaced > $9) ORDER BY expires, reprocessor, filled, at LIMIT 1`, func(row Rows) error {
			found = true
			return row.Scan(&seq, &next.expires, &next.reprocessor, &next.filled)
		}, tx.db.site.Code, record.SharedName(disinfectant), record.SharedName(lot), int64(by), last.expires, last.reprocessor, last.filled,
			int64(tx.Known), int64(tx.Known))
		if err != nil || !found {
			return err
		}
		last = next
		err = tx.events(`SELECT r.bytes, d.replaced FROM disinfected d JOIN record r ON r.site = d.site AND r.seq = d.seq
			WHERE d.site = $1 AND d.disinfectant = $2 AND d.lot = $3 AND d.expires = $4 AND d.reprocessor = $5 AND d.filled = $6
			AND d.recorded <= $7 AND (d.replaced IS NULL OR d.replaced > $8) AND (d.seq = $9 OR d.at = (
				SELECT max(x.at) FROM disinfected x WHERE x.site = $10 AND x.disinfectant = $11 AND x.lot = $12 AND x.expires = $13
				AND x.reprocessor = $14 AND x.filled = $15 AND x.recorded <= $16 AND (x.replaced IS NULL OR x.replaced > $17)))`, visit,
			tx.db.site.Code, record.SharedName(disinfectant), record.SharedName(lot), last.expires, last.reprocessor, last.filled,
			int64(tx.Known), int64(tx.Known), seq, tx.db.site.Code, record.SharedName(disinfectant), record.SharedName(lot), last.expires,
			last.reprocessor, last.filled, int64(tx.Known), int64(tx.Known))
		if err != nil {
			return err
		}
	}
}
