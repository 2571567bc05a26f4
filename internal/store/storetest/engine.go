package storetest

import (
	"context"
	"database/sql"
	"testing"
	"time"

	"rinsate/internal/record"
	"rinsate/internal/store"
)

// Engine is how the suite comes by an engine, and what it has to be told of it.
type Engine struct {
	// Home returns a home of its own for a test, in which there is nothing yet.
	Home func(testing.TB) store.Home
	// Raw opens a second connection to the database of a home, past package store.
	Raw func(testing.TB, store.Home) *sql.DB
	// Unguard takes away, through such a connection, all that refuses changes.
	Unguard func(testing.TB, *sql.DB)
	// Outside reads the checkpoint that was put outside of the database of a home.
	Outside func(testing.TB, store.Home) []byte
	// Guarded says whether an error is the refusal of a trigger that guards what never changes.
	Guarded func(error) bool
	// Attacks are the ways of changing what never changes that only this engine knows; $1 stands for a byte.
	Attacks []Attack
	// Wide returns the steps of the plan for a statement that read all of one of the tables, or all that it
	// has of a site.
	Wide func(tb testing.TB, raw *sql.DB, text string, args []any, tables []string) []string
	// FullScans lists by their beginning the statements that Wide takes for what they are not, with the reason.
	FullScans map[string]string
}

// Attack is a statement that tries to change what never changes.
type Attack struct{ Name, Text string }

// Site is whose records the suite keeps.
var Site = record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1"}

// Create makes a new store that reads the given clock.
func (e Engine) Create(tb testing.TB, clock func() time.Time) *store.DB {
	tb.Helper()
	return Create(tb, e.Home(tb), clock)
}

// Create makes a store in a home and closes it when the test ends; a test may do so earlier.
func Create(tb testing.TB, home store.Home, clock func() time.Time) *store.DB {
	tb.Helper()
	db, err := home.Create(context.Background(), Site, clock)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	return db
}
