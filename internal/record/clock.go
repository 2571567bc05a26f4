package record

import (
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
)

// ClockBody is the body of a record that notices that the computer's clock was set back.
type ClockBody struct {
	Before unit.Instant `json:"before"`
	Now    unit.Instant `json:"now"`
}

// Clock records that the computer's clock was set back.
const Clock Kind = ledger.TypeClock

var clock = describe(kind[ClockBody]{
	kind: Clock, means: "that the computer's clock was set back",
	fields:  []Field{plain("before", "before"), plain("now", "then")},
	words:   func(ClockBody) string { return "the computer's clock was set back" },
	kept:    fromOthers,
	example: ClockBody{Before: exampleAt + 1, Now: exampleAt},
})
