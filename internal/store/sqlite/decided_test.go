package sqlite_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/store"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// A database from before the table of decided verifications gets what rebuilding would give it.
func TestDecidedIsCountedFromBefore(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	db := open(t, clock.Now)
	storetest.Everything(t, db, clock)
	rows := func() (all []string) {
		for _, row := range storetest.StateOf(t, db).Rows {
			if strings.HasPrefix(row, "decided ") {
				all = append(all, row)
			}
		}
		return all
	}
	want := rows()
	if len(want) == 0 {
		t.Fatal("no cleaning verification was decided")
	}
	text, err := os.ReadFile("migrations/00008_decided.sql")
	if err != nil {
		t.Fatal(err)
	}
	_, fill, ok := strings.Cut(string(text), "WITHOUT ROWID;\n")
	if !ok {
		t.Fatal("the migration fills nothing")
	}
	raw := sqlitetest.Raw(t, db.Home())
	sqlitetest.Unguard(t, raw)
	for _, statement := range []string{"DELETE FROM decided", fill} {
		if _, err := raw.ExecContext(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	if got := rows(); !slices.Equal(got, want) {
		t.Errorf("counted %q, want %q", got, want)
	}
	storetest.Read(t, db, func(tx *store.Tx) error {
		decided, err := tx.Decided()
		if len(decided) != len(want) {
			t.Errorf("told %v", decided)
		}
		return err
	})
}
