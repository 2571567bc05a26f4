package desk_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite/sqlitetest"
)

// held returns a bench whose scope is cleaned and stored, and on hold.
func held(t *testing.T) *bench {
	t.Helper()
	b := start(t)
	b.use()
	b.verification("20", "20", "20")
	b.finish()
	if a := b.release(); a.State != reprocessing.Ready {
		t.Fatalf("before the hold: %s: %v", a.State, a.Reasons)
	}
	b.must(func(w *desk.Work) (desk.Receipt, error) {
		return w.PlaceHold(desk.Entry{By: "T-01"}, reprocessing.Hold{Scope: "D-01", At: w.Now(), By: "T-01", Reason: "scratched"})
	})
	return b
}

func (b *bench) tamper(texts ...string) {
	b.Helper()
	raw := sqlitetest.Raw(b.TB, b.desk.DB.Home())
	sqlitetest.Unguard(b.TB, raw)
	for _, text := range texts {
		if _, err := raw.ExecContext(b.Context(), text); err != nil {
			b.Fatal(err)
		}
	}
}

// While a table differs from the records, or these contradict themselves, nothing that it bears on is ready, on the
// page of the scope, on the board and at the bench; and what is worse stays.
func TestNothingIsReadyOverDoubtfulRecords(t *testing.T) {
	b := held(t)
	b.now.Move(time.Minute)
	b.tamper(`UPDATE hold SET lifted = at`)
	if a := b.release(); a.State != reprocessing.Ready {
		t.Fatalf("the hold was not lifted past the records: %s", a.State)
	}
	found, err := b.desk.DB.Examine(b.Context(), "night")
	if err != nil || len(found.Tables) != 1 || !found.Rebuilt {
		t.Fatalf("found %+v, %v", found, err)
	}
	if a := b.release(); a.State != reprocessing.OnHold {
		t.Errorf("after the tables were filled anew: %s", a.State)
	}
	if !strings.Contains(b.desk.Doubt(), "another program has written to the database") {
		t.Errorf("nobody is told: %q", b.desk.Doubt())
	}
	b.tamper(`UPDATE hold SET lifted = at`,
		`UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), '"T-01"', '"T-02"') AS BLOB) WHERE seq = (SELECT max(seq) FROM record)`)
	since := b.now.Move(time.Hour)
	if found, err = b.desk.DB.Examine(b.Context(), "night"); err != nil || found.Fault == "" {
		t.Fatalf("found %+v, %v", found, err)
	}
	var answers []reprocessing.Answer
	if err := b.desk.View(b.Context(), func(v desk.View) error {
		board, err := v.Day().Board(v.Now())
		answers = append(board, b.releaseAt(v.Now(), store.Forever), b.job().Answer)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if len(answers) < 3 {
		t.Fatalf("%d answers", len(answers))
	}
	for i, a := range answers {
		if a.State != reprocessing.NotKnown || a.Until.Known() || !a.Reasons[0].Blocks ||
			!strings.Contains(a.Reasons[0].Text, "the ledger contradicts itself since "+since.In(b.desk.DB.Zone())) ||
			!strings.Contains(a.Next[0], "call whoever looks after this computer") {
			t.Errorf("answer %d: %s: %v; %q", i, a.State, a.Reasons, a.Next)
		}
	}
	if !strings.Contains(b.desk.Doubt(), "The ledger contradicts itself") {
		t.Errorf("nobody is told: %q", b.desk.Doubt())
	}
}
