package storetest

import (
	"context"
	"errors"
	"testing"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/store"
)

// What is kept decoded is what the bytes say: also where a record that was taken back had the same place,
// and where somebody adds to what was read.
func readOverAndOver(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	cause := Write(t, db, Step("SC-00", clock.At()))[0]
	taken, kept := Step("SC-01", clock.At()), Step("SC-02", clock.At())
	kept.Because = []ledger.ID{cause.ID}
	changed := errors.New("changed my mind")
	err := db.Write(context.Background(), func(tx *store.Tx) error {
		if _, _, err := tx.Append(taken); err != nil {
			return err
		}
		if r, err := tx.Record(taken.ID); err != nil || r.ID != taken.ID {
			t.Errorf("read before it was taken back: %v, %v", r.ID, err)
		}
		return changed
	})
	if !errors.Is(err, changed) {
		t.Fatal(err)
	}
	Write(t, db, kept)
	Read(t, db, func(tx *store.Tx) error {
		if _, err := tx.Record(taken.ID); fault.CodeOf(err) != fault.NotFound {
			t.Errorf("what was taken back is found: %v", err)
		}
		first, err := tx.Record(kept.ID)
		if err != nil {
			return err
		}
		_ = append(first.Because, "another")
		second, err := tx.Record(kept.ID)
		if err != nil {
			return err
		}
		third := append(second.Because, "a third")
		if again := append(first.Because, "a fourth"); len(second.Because) != 1 || third[1] != "a third" || again[1] != "a fourth" {
			t.Errorf("read again: %v, %v, %v", second.Because, third, again)
		}
		return nil
	})
}
