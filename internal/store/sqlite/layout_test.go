package sqlite_test

import (
	"context"
	"strconv"
	"strings"
	"testing"

	"rinsate/internal/base/fault"
	"rinsate/internal/store/sqlite/sqlitetest"
)

// A folder of other stored names is refused in words, whatever asks for it, and stays as it is. One of an
// earlier build has no number, one of a later build has a higher one.
func TestOtherLayout(t *testing.T) {
	t.Parallel()
	for number, words := range map[int]string{
		0: "made by an earlier build of the program",
		1: "made by an earlier build of the program",
		2: "made by an earlier build of the program",
		4: "made by a later build of the program",
	} {
		db := open(t, clock)
		home := db.Home()
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		again, err := home.Open(context.Background(), clock)
		if err != nil {
			t.Fatalf("the folder that was just made: %v", err)
		}
		if err := again.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := sqlitetest.Raw(t, home).ExecContext(t.Context(), "PRAGMA user_version = "+strconv.Itoa(number)); err != nil {
			t.Fatal(err)
		}
		refused := func(what string, err error) {
			t.Helper()
			if fault.CodeOf(err) != fault.Invalid || !strings.Contains(err.Error(), words) {
				t.Errorf("%s of a folder of layout %d: %v, want %q", what, number, err, words)
			}
		}
		for range 2 {
			_, err = home.Open(context.Background(), clock)
			refused("open", err)
			_, err = home.Rebuild(context.Background(), nil)
			refused("rebuild", err)
		}
		if _, err := home.Verify(context.Background(), nil, nil); err != nil {
			t.Errorf("the ledger of a folder of layout %d cannot be verified any more: %v", number, err)
		}
		if _, err := sqlitetest.Raw(t, home).ExecContext(t.Context(), "DROP TABLE text"); err != nil {
			t.Fatal(err)
		}
		_, err = home.Verify(context.Background(), nil, nil)
		refused("verify, without a table that came later,", err)
	}
}
