package sqlite_test

import (
	"flag"
	"testing"
	"time"

	"go.uber.org/goleak"

	"rinsate/internal/store"
	"rinsate/internal/store/sqlite/sqlitetest"
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
	storetest.Run(t, sqlitetest.Engine)
}

var testSite = storetest.Site

// clock is later than whatever the clocks of single tests show.
var clock = storetest.Ticking(365 * 24 * time.Hour)

// open makes a store and closes it at the end of the test.
func open(tb testing.TB, clock func() time.Time) *store.DB {
	tb.Helper()
	return sqlitetest.Engine.Create(tb, clock)
}
