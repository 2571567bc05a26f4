package storetest

import (
	"encoding/json"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// A lift by a verification alone of a hold that a person placed, as an earlier program may have stored it, ends
// nothing when the tables are built from the ledger.
func liftByOne(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	hold := reprocessing.Hold{Scope: "SC-00", Kind: reprocessing.CultureHold, At: at, By: "T-01", Reason: "culture positive"}
	verification := reprocessing.Decision{
		Scope:        "SC-00",
		Verification: reading.Verification{Cleaning: 1, Outcome: reading.OK, Complete: true},
		First:        at + 1,
		Last:         at + 2,
	}
	kept := Write(t, db,
		store.Draft{Type: record.Hold, ID: ledger.DerivedID("hold"), At: at, By: "T-01", Body: hold},
		store.Draft{Type: record.Verification, ID: ledger.DerivedID("verification"), At: at, By: "T-01", Body: verification})
	size := StateOf(t, db).Size
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	lift := ledger.Record{
		V:        ledger.Version,
		Type:     string(record.Lift),
		ID:       ledger.DerivedID("lift"),
		Seq:      size,
		Site:     kept[0].Site,
		At:       at + 3,
		Recorded: at.Add(time.Second),
		By:       "T-01",
	}
	var err error
	if lift.Body, err = json.Marshal(
		reprocessing.Lift{Hold: string(kept[0].ID), Scope: "SC-00", At: at + 3, By: "T-01", Reason: "passed", Verification: string(kept[1].ID)},
	); err != nil {
		t.Fatal(err)
	}
	encoded, err := ledger.Encode(lift)
	if err != nil {
		t.Fatal(err)
	}
	raw := e.Raw(t, db.Home())
	for _, change := range []struct {
		text string
		args []any
	}{
		{`INSERT INTO record (site, seq, id, bytes, hashes) VALUES ($1, $2, $3, $4, $5)`, []any{lift.Site, lift.Seq, string(lift.ID), encoded, []byte{}}},
		{`UPDATE head SET size = $1`, []any{size + 1}},
	} {
		if _, err := raw.ExecContext(t.Context(), change.text, change.args...); err != nil {
			t.Fatal(err)
		}
	}
	if err := raw.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Home().Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	var openHolds int
	if err := e.Raw(t, db.Home()).
		QueryRowContext(t.Context(), `SELECT count(*) FROM hold WHERE lifted IS NULL`).
		Scan(&openHolds); err != nil ||
		openHolds != 1 {
		t.Errorf("%d holds are open, %v; want 1", openHolds, err)
	}
}
