package storetest

import (
	"testing"
)

// A disguise stays when the store is opened again, and is another at another site, even of the same name.
func disguise(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	first, second := db.Disguise("T-01"), db.Disguise("T-02")
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := db.Home().Open(t.Context(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if db.Disguise("T-01") != first || first == second {
		t.Error("the disguise is not the same for the same name alone")
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if other := e.Create(t, clock.Now); other.Disguise("T-01") == first {
		t.Error("another site has the same disguise")
	}
}
