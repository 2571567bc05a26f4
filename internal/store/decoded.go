package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/maphash"
	"slices"
	"sync"

	"rinsate/internal/base/ledger"
	"rinsate/internal/record"
)

// decodedKept is how many records are kept decoded: those of the last day or two of a large department, a
// few megabytes.
const decodedKept = 4096

// decodedSeed spreads the records over their places.
var decodedSeed = maphash.MakeSeed()

// decoded keeps the records that were read last, by their bytes: whoever samples, reads and asks about a
// scope reads the records of its turnaround over and over. The same bytes are always the same record, so
// that nothing has to be forgotten. What it returns is shared: do not change it.
type decoded struct {
	mu   sync.Mutex
	kept [decodedKept]struct {
		raw    []byte
		record ledger.Record
	}
}

// record reads a record whose bytes this program has checked when it stored them; Verify checks them
// again. Its body comes in the version that this program writes.
func (d *decoded) record(raw []byte) (ledger.Record, error) {
	place := &d.kept[maphash.Bytes(decodedSeed, raw)%decodedKept]
	d.mu.Lock()
	if bytes.Equal(place.raw, raw) {
		defer d.mu.Unlock()
		return place.record, nil
	}
	d.mu.Unlock()
	var r ledger.Record
	if err := json.Unmarshal(raw, &r); err != nil {
		return r, fmt.Errorf("read a stored record: %w", err)
	}
	r, err := record.Current(r)
	if err != nil {
		return r, err
	}
	r.Because = slices.Clip(r.Because) // whoever appends to it must not write into that of others
	d.mu.Lock()
	defer d.mu.Unlock()
	place.raw, place.record = bytes.Clone(raw), r
	return r, nil
}
