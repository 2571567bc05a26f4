package store_test

import (
	"context"
	"flag"
	"testing"
	"time"

	"go.uber.org/goleak"

	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

func TestMain(m *testing.M) {
	actAsHelper()
	// rapid's 100 runs are meant for functions of values; these make a database each.
	flag.Parse()
	if checks := flag.Lookup("rapid.checks"); checks.Value.String() == checks.DefValue {
		if err := checks.Value.Set("15"); err != nil {
			panic(err)
		}
	}
	goleak.VerifyTestMain(m)
}

// TestSQLite runs the suite that every engine has to pass.
func TestSQLite(t *testing.T) {
	t.Parallel()
	storetest.Run(t, open)
}

var testSite = record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1"}

// clock is later than whatever the clocks of single tests show.
var clock = storetest.Ticking(365 * 24 * time.Hour)

// open makes a store and closes it at the end of the test.
func open(t *testing.T, clock func() time.Time) *store.DB {
	t.Helper()
	db, err := store.Create(context.Background(), t.TempDir(), testSite, clock)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	return db
}
