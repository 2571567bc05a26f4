package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// SuspectBody takes the trust from readings of one scope, because a check of their meter failed. They
// stay on record; a reading that passed does not count any more.
type SuspectBody struct {
	Scope string `json:"scope"`
	Meter string `json:"meter"`
	// Check is the record of the failed check, At when it was made.
	Check ledger.ID    `json:"check"`
	At    unit.Instant `json:"at"`
	// Since is the last good check before, zero when there was none.
	Since    unit.Instant `json:"since,omitzero"`
	Reason   string       `json:"reason"`
	Readings []ledger.ID  `json:"readings"`
}
