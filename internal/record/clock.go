package record

import (
	"rinsate/internal/base/unit"
)

// ClockBody is the body of a record that notices that the computer's clock was set back.
type ClockBody struct {
	Before unit.Instant `json:"before"`
	Now    unit.Instant `json:"now"`
}
