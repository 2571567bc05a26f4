package record

import (
	"rinsate/internal/domain/scope"
)

// RepairBody is a repair as it is recorded: once when the scope goes, and finished when it is back.
type RepairBody struct {
	scope.Repair
	Finishes string `json:"finishes,omitempty"`
}
