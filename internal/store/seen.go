package store

import (
	"context"
	"slices"
	"strings"

	"rinsate/internal/base/ledger"
)

// Looking says whether the records were opened only to read them.
func Looking(db *DB) bool { return db.looking }

// Lacks returns what shows that these records are a copy, nil while nothing does.
func Lacks(db *DB) *Behind { return db.heads.behind.Load() }

// compareHead holds a head that somebody has seen against the records; nil when they go on from it, or when a restore on
// record has settled it.
func compareHead(tx *Tx, by Seer, seen Head) (*Behind, error) {
	last, settled, err := restores(tx)
	if err != nil || seen.Restore != last && (seen.Restore == "" || slices.Contains(settled, seen.Restore)) {
		return nil, err
	}
	own, err := tx.Size()
	if err != nil {
		return nil, err
	}
	found := &Behind{By: by, Seen: seen, Own: own}
	if seen.Size > own || seen.Restore != last {
		return found, nil
	}
	if seen.Size == 0 {
		return nil, nil
	}
	root, err := ledger.RootAt(seen.Size, tx.db.hashReader(tx.ctx, tx.s))
	if err != nil {
		return nil, err
	}
	if root != seen.Root {
		return found, nil
	}
	return nil, nil
}

// SeenNow returns the line of the present end of the ledger, for whoever looks at it now; empty while these records are
// known to be a copy, since a line of them must not take the place of one that tells so.
func SeenNow(tx *Tx) (string, error) {
	if Lacks(tx.db) != nil {
		return "", nil
	}
	h, err := HeadNow(tx)
	return h.line(tx.db.heads.key), err
}

// HasSeen takes a line that somebody kept of what they saw of the ledger. From the first one that these records do not
// go on from they are known to be a copy. A line that this ledger's key did not make says nothing.
func HasSeen(ctx context.Context, db *DB, line string) error {
	if len(line) > maxHeadLine {
		return nil
	}
	seen, ok := readHead(line, db.heads.key)
	if b := Lacks(db); !ok || b != nil && b.Seen.Size >= seen.Size {
		return nil
	}
	if last := db.heads.agreed.Load(); last != nil && *last == line {
		return nil // it goes on from there for ever
	}
	return db.Read(ctx, func(tx *Tx) error {
		found, err := compareHead(tx, AtBench, seen)
		if err != nil || found == nil {
			if err == nil {
				db.heads.agreed.Store(&line)
			}
			return err
		}
		foundBehind(db, found)
		// So that the next start knows as well; what cannot be kept the browser says again.
		_ = db.engine.PutHead(line)
		return nil
	})
}

// maxHeadLine is longer than any line of a head.
const maxHeadLine = 255

// foundBehind makes these records a copy until a restore is on record.
func foundBehind(db *DB, b *Behind) {
	if db.heads.found(b) {
		db.trusts.Add(1)
	}
}

// checkHead compares the ends of the ledger that were kept outside of the database.
func checkHead(ctx context.Context, db *DB, s Conn) error {
	lines, err := db.engine.Heads()
	if err != nil {
		return err
	}
	tx := &Tx{db: db, s: s, ctx: ctx, epoch: db.decoded.now()}
	for _, line := range lines {
		seen, ok := readHead(strings.TrimSpace(line), db.heads.key)
		if !ok {
			continue // of another ledger that was kept here before, or torn
		}
		found, err := compareHead(tx, AtComputer, seen)
		if err != nil {
			return err
		}
		if found != nil {
			foundBehind(db, found)
		}
	}
	return nil
}
