package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// fromOthers is why a record is never taken back.
const fromOthers = "it is what followed from others"

// exampleAt is when the examples happened: 5 January 2026, 08:00 UTC.
const exampleAt = unit.Instant(1767600000000000)

// exampleID names a record that an example refers to.
func exampleID(name string) string { return string(ledger.DerivedID("example", name)) }
