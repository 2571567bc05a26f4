package store

import (
	"bytes"
	"hash/maphash"
	"sync"

	"rinsate/internal/base/ledger"
)

// decodedKept is how many records are kept decoded: those of the last day or two of a large department, a
// few megabytes.
const decodedKept = 4096

// decodedSeed spreads the records over their places.
var decodedSeed = maphash.MakeSeed()

// decoded keeps the records that were read last, by their bytes: whoever samples, reads and asks about a
// scope reads the records of its cycle over and over. The same bytes are always the same record, until
// a text of it is erased: then everything is forgotten. What it returns is shared: do not change it.
type decoded struct {
	mu sync.Mutex
	// epoch is how often everything was forgotten.
	epoch int64
	kept  [decodedKept]struct {
		raw    []byte
		record ledger.Record
	}
}

// forget forgets everything, and what transactions that have begun will read.
func (d *decoded) forget() {
	d.mu.Lock()
	defer d.mu.Unlock()
	clear(d.kept[:])
	d.epoch++
}

// now returns the epoch.
func (d *decoded) now() int64 {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.epoch
}

// get returns the record with these bytes if it is kept.
func (d *decoded) get(raw []byte) (r ledger.Record, ok bool) {
	place := &d.kept[maphash.Bytes(decodedSeed, raw)%decodedKept]
	d.mu.Lock()
	defer d.mu.Unlock()
	if !bytes.Equal(place.raw, raw) {
		return r, false
	}
	return place.record, true
}

// put keeps a record that a transaction of an epoch has read.
func (d *decoded) put(raw []byte, r ledger.Record, epoch int64) {
	place := &d.kept[maphash.Bytes(decodedSeed, raw)%decodedKept]
	d.mu.Lock()
	defer d.mu.Unlock()
	if epoch == d.epoch {
		place.raw, place.record = bytes.Clone(raw), r
	}
}
