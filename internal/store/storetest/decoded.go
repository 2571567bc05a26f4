package storetest

import (
	"context"
	"crypto/rand"
	"errors"
	"slices"
	"testing"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/quality"
	"rinsate/internal/record"
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

// A transaction that looks at a thing, writes an edition of it, corrects that and looks again sees each of them.
func editionsMeanwhile(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	draft := func(keeps time.Duration) store.Draft {
		return store.Draft{
			Type: record.Lot, ID: ledger.NewID(clock.At(), rand.Reader), At: clock.At(), By: "T-01",
			Body: quality.Lot{Kit: "K", Lot: "7", Expires: clock.At().Add(keeps)},
		}
	}
	first, second := draft(time.Hour), draft(2*time.Hour)
	second.Corrects, second.Reason = first.ID, "typed wrong"
	err := db.Write(t.Context(), func(tx *store.Tx) error {
		for i, want := range []struct {
			write *store.Draft
			stand []bool // whether each edition stands
			id    ledger.ID
		}{{nil, nil, ""}, {&first, []bool{true}, first.ID}, {&second, []bool{false, true}, second.ID}} {
			if want.write != nil {
				if _, _, err := tx.Append(*want.write); err != nil {
					return err
				}
			}
			for range 2 { // read, and kept
				all, err := store.Standing(tx, record.Lot, "K|7")
				if err != nil {
					return err
				}
				stand := []bool(nil)
				for _, s := range all {
					stand = append(stand, !s.Replaced.Known())
				}
				found, ok, err := tx.Entity(record.Lot, "K|7", store.Forever, store.Forever)
				if err != nil || !slices.Equal(stand, want.stand) || ok != (want.id != "") || found.ID != want.id {
					t.Errorf("after %d: %v, %q, %v, want %v, %q", i, stand, found.ID, err, want.stand, want.id)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
