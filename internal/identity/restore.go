package identity

import "rinsate/internal/store"

// EndAll ends the sessions of everybody: those of a copy that took the place of the records had perhaps ended since it
// was made.
func EndAll(tx *store.Tx) error { return tx.Access().EndAllSessions() }
