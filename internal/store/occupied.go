package store

// Occupy notes that somebody keeps the writer for long, a whole file in one transaction, until release is
// called.
func (db *DB) Occupy() (release func()) {
	db.occupied.Add(1)
	return func() { db.occupied.Add(-1) }
}

// Occupied says whether a write would wait for long, so that what can be left out does not.
func (db *DB) Occupied() bool { return db.occupied.Load() > 0 }
