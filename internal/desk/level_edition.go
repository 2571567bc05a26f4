package desk

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reading"
)

// LevelEdition is a level as a record has it.
type LevelEdition struct {
	reading.Level
	Record   ledger.ID
	Recorded unit.Instant
	// Replaced is when the record was voided or corrected; zero while it stands.
	Replaced unit.Instant
	// Derived says that the record holds the grounds on which it was adopted.
	Derived bool
}
