// Package storetest answers whether a storage engine keeps the promises of package store: one suite
// that every engine has to pass. It is used by tests only and never skips anything.
//
// Read Engine and Run first.
package storetest

import (
	"context"
	"crypto/rand"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Clock is a clock that the test moves. It may be read by other goroutines.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock returns a clock that stands at the beginning of March 2026.
func NewClock() *Clock { return &Clock{now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)} }

// Now returns what the clock shows.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Move moves the clock, back when d is negative, and returns what it shows then.
func (c *Clock) Move(d time.Duration) unit.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	return unit.At(c.now)
}

// At returns what the clock shows as an instant.
func (c *Clock) At() unit.Instant { return unit.At(c.Now()) }

// Ticking returns a clock that begins where NewClock stands, the given time later, and is a millisecond
// further whenever somebody looks.
func Ticking(later time.Duration) func() time.Time {
	begin := NewClock().Now().Add(later)
	var looks atomic.Int64
	return func() time.Time { return begin.Add(time.Duration(looks.Add(1)) * time.Millisecond) }
}

// Step returns a step of a scope, as a record to append.
func Step(scope string, at unit.Instant) store.Draft {
	return store.Draft{
		Type: record.Step, ID: ledger.NewID(at, rand.Reader), At: at, By: "T-07",
		Body: reprocessing.Step{Scope: scope, Kind: reprocessing.LeakTest, Start: at, End: at.Add(time.Minute), By: "T-07", Result: reprocessing.Pass},
	}
}

// Write appends records in one transaction and returns them as they are stored.
func Write(tb testing.TB, db *store.DB, drafts ...store.Draft) []ledger.Record {
	tb.Helper()
	records, err := tryWrite(db, drafts...)
	if err != nil {
		tb.Fatal(err)
	}
	return records
}

func tryWrite(db *store.DB, drafts ...store.Draft) (records []ledger.Record, err error) {
	err = db.Write(context.Background(), func(tx *store.Tx) error {
		for _, d := range drafts {
			r, _, err := tx.Append(d)
			if err != nil {
				return err
			}
			records = append(records, r)
		}
		return nil
	})
	return records, err
}

// Read runs a reading transaction.
func Read(tb testing.TB, db *store.DB, work func(*store.Tx) error) {
	tb.Helper()
	if err := db.Read(context.Background(), work); err != nil {
		tb.Fatal(err)
	}
}

// State is all that can be seen of a store: the size of its ledger and the rows of its tables.
type State struct {
	Size int64
	Rows []string
}

// StateOf reads the state of a store.
func StateOf(tb testing.TB, db *store.DB) (s State) {
	tb.Helper()
	Read(tb, db, func(tx *store.Tx) (err error) {
		if s.Size, err = tx.Size(); err != nil {
			return err
		}
		s.Rows, err = tx.Dump()
		return err
	})
	return s
}

// Verify verifies the ledger of a store and compares the number of records.
func Verify(tb testing.TB, home store.Home, size int64) {
	tb.Helper()
	v, err := home.Verify(context.Background(), nil, nil)
	if err != nil {
		tb.Fatalf("verify: %v", err)
	}
	if v.Size != size {
		tb.Fatalf("the ledger has %d records, want %d", v.Size, size)
	}
}

// wantCode compares the code of an error.
func wantCode(tb testing.TB, what string, err error, want fault.Code) {
	tb.Helper()
	if fault.CodeOf(err) != want {
		tb.Errorf("%s: got %q (%v), want %q", what, fault.CodeOf(err), err, want)
	}
}

func scopeName(i int) string { return fmt.Sprintf("SC-%02d", i) }
