package store

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/record"
)

// Kept is a record as it was read back.
type Kept struct {
	ledger.Record
	// Replaced is when another record voided, corrected, finished or superseded it.
	Replaced unit.Instant
}

// Kind returns what it is a record of.
func (k Kept) Kind() record.Kind { return record.KindOf(k.Record) }
