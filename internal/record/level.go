package record

import (
	"encoding/json"

	"rinsate/internal/domain/reading"
)

// LevelBody is a level as it was adopted, with what it was derived from where it was derived here.
type LevelBody struct {
	reading.Level
	Derivation json.RawMessage `json:"derivation,omitempty"`
}
