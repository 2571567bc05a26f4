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

// upgrade brings the body of a record to the version that this program writes.
func (d *Descriptor) upgrade(r ledger.Record) (ledger.Record, error) {
	version := max(r.BodyVersion, 1)
	if version == d.Version {
		return r, nil
	}
	if version > d.Version {
		return r, fmt.Errorf("record %d (%s) has version %d of its body, this program knows versions up to %d; a newer program wrote it",
			r.Seq, r.Type, version, d.Version)
	}
	for ; version < d.Version; version++ {
		body, err := d.older[version-1](r.Body)
		if err != nil {
			return r, fmt.Errorf("body of record %d (%s), version %d: %w", r.Seq, r.Type, version, err)
		}
		r.Body = body
	}
	r.BodyVersion = d.Version
	return r, nil
}
