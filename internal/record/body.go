package record

import (
	"encoding/json"
	"fmt"

	"rinsate/internal/base/ledger"
)

// Body reads the body of a record.
func Body[T any](r ledger.Record) (T, error) {
	var body T
	if err := json.Unmarshal(r.Body, &body); err != nil {
		return body, fmt.Errorf("body of record %d (%s): %w", r.Seq, r.Type, err)
	}
	return body, nil
}
