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

// Current returns a record with its body in the version that this program writes, which every question
// about it expects. What is stored and hashed stays as it is.
func Current(r ledger.Record) (ledger.Record, error) {
	r, _, err := current(r)
	return r, err
}

func current(r ledger.Record) (ledger.Record, *Descriptor, error) {
	d, ok := byKind[KindOf(r)]
	if !ok {
		return r, nil, fmt.Errorf("record %d is of the kind %q, which this program does not know; a newer program wrote it", r.Seq, r.Type)
	}
	r, err := d.upgrade(r)
	return r, d, err
}

// upgrade brings the body of a record to the version that this program writes.
func (d *Descriptor) upgrade(r ledger.Record) (ledger.Record, error) {
	version := max(r.BodyVersion, 1)
	if version == d.Version {
		return r, nil
	}
	if version > d.Version {
		return r, fmt.Errorf("record %d (%s) has version %d of its body, this program knows versions up to %d; a newer program wrote it", r.Seq, r.Type, version, d.Version)
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

// BodyVersion returns the version of the body of a kind that this program writes, as the ledger has it: 0
// stands for the first.
func BodyVersion(kind Kind) int {
	if d, ok := byKind[kind]; ok && d.Version > 1 {
		return d.Version
	}
	return 0
}
