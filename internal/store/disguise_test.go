package store_test

import (
	"testing"

	"rinsate/internal/store"
)

// A disguise stays when the store is opened again, and is another at another site, even of the same name.
func TestDisguise(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	db, err := store.Create(t.Context(), dir, testSite, clock)
	if err != nil {
		t.Fatal(err)
	}
	first, second := db.Disguise("T-01"), db.Disguise("T-02")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if db, err = store.Open(t.Context(), dir, clock); err != nil {
		t.Fatal(err)
	}
	if db.Disguise("T-01") != first || first == second {
		t.Error("the disguise is not the same for the same name alone")
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if other := open(t, clock); other.Disguise("T-01") == first {
		t.Error("another site has the same disguise")
	}
}
