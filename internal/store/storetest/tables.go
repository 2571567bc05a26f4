package storetest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
)

// shown lists the ids of the steps of a scope that somebody asking at known is shown.
func shown(tb testing.TB, db *store.DB, tag string, known unit.Instant) (ids []ledger.ID) {
	tb.Helper()
	Read(tb, db, func(tx *store.Tx) error {
		return tx.Events(tag, 0, store.Forever, known, func(k store.Kept) error {
			ids = append(ids, k.ID)
			return nil
		}, record.Step)
	})
	return ids
}

func replace(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	at := clock.At()
	begun := Step("SC-00", at)
	finished := begun
	finished.ID = ledger.DerivedID("finished")
	finished.Body = reprocessing.Step{Scope: "SC-00", Kind: reprocessing.LeakTest, Start: at, End: at.Add(time.Minute), Finishes: string(begun.ID)}
	corrected := finished
	corrected.ID, corrected.Corrects, corrected.Reason = ledger.DerivedID("corrected"), finished.ID, "wrong end"
	void := store.Draft{
		Type:     record.Void,
		ID:       ledger.DerivedID("void"),
		At:       at,
		Corrects: corrected.ID,
		Reason:   "never happened",
		Body:     record.VoidBody{Scope: "SC-00"},
	}

	var when []unit.Instant
	for _, d := range []store.Draft{begun, finished, corrected, void} {
		when = append(when, clock.Move(time.Minute))
		Write(t, db, d)
	}
	tests := []struct {
		name  string
		known unit.Instant
		want  []ledger.ID
	}{
		{"before anything", when[0] - 1, nil},
		{"begun", when[0], []ledger.ID{begun.ID}},
		{"just before it was finished", when[1] - 1, []ledger.ID{begun.ID}},
		{"finished", when[1], []ledger.ID{finished.ID}},
		{"corrected", when[2], []ledger.ID{corrected.ID}},
		{"just before the void", when[3] - 1, []ledger.ID{corrected.ID}},
		{"voided", when[3], nil},
		{"today", store.Forever, nil},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			if got := shown(t, db, "SC-00", test.known); !cmp.Equal(got, test.want) {
				t.Errorf("got %v, want %v", got, test.want)
			}
		})
	}
	// All stay visible, with when they were replaced.
	Read(t, db, func(tx *store.Tx) error {
		n := 0
		if err := tx.Chronicle("SC-00", 0, store.Forever, 10, func(store.Kept) error { n++; return nil }); err != nil {
			return err
		}
		if n != 4 {
			t.Errorf("the chronicle shows %d records, want 4", n)
		}
		kept, err := tx.Find(string(begun.ID))
		if kept.Replaced != when[1] {
			t.Errorf("the first record was replaced at %s, want %s", kept.Replaced, when[1])
		}
		return err
	})
	for _, test := range []struct {
		name string
		d    store.Draft
		want fault.Code
		text string
	}{
		{"double void", store.Draft{Type: record.Void, Corrects: corrected.ID, Body: record.VoidBody{Scope: "SC-00"}}, fault.Conflict, "is replaced already " +
			"or cannot be replaced"},
		{"void of a void", store.Draft{Type: record.Void, Corrects: void.ID, Body: record.VoidBody{Scope: "SC-00"}}, fault.Conflict, "cannot be replaced"},
		{"correction of what is finished", store.Draft{Type: record.Step, Corrects: begun.ID, Body: begun.Body}, fault.Conflict, "is replaced already"},
		{
			"another type",
			store.Draft{Type: record.Use, Corrects: corrected.ID, Body: reprocessing.Use{Scope: "SC-00", Start: at}},
			fault.Invalid,
			"a use record cannot take the place of a step record",
		},
	} {
		test.d.ID, test.d.At, test.d.Reason = ledger.DerivedID(test.name), at, "r"
		_, err := tryWrite(db, test.d)
		wantCode(t, test.name, err, test.want)
		if err == nil || !strings.Contains(err.Error(), test.text) {
			t.Errorf("%s: %v, want %q in it", test.name, err, test.text)
		}
	}
	Verify(t, db.Home(), 5)
}

// openHolds lists the holds of the scope SC-00 that are open at an instant.
func openHolds(tb testing.TB, db *store.DB, at unit.Instant) (ids []ledger.ID) {
	tb.Helper()
	Read(tb, db, func(tx *store.Tx) error {
		return tx.HoldsOpenAt("SC-00", at, at, func(k store.Kept) error { ids = append(ids, k.ID); return nil })
	})
	return ids
}

// A hold that was lifted is open again when something is taken back that the lift rests on.
func liftFallsWithItsVerification(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	w := writer{t, db, clock}
	at := clock.At()
	const tag = "SC-00"
	leads := []access.Role{access.Lead}
	placed := reprocessing.Hold{
		Scope: tag, Kind: reprocessing.CleaningHold, At: at, By: "T", Reason: "r", Cause: "the cleaning verification that failed",
	}
	alone := w.put(record.Hold, placed)
	agreed := w.put(record.Hold, placed)
	voided := w.put(record.Hold, placed)
	if got := openHolds(t, db, at); len(got) != 3 {
		t.Fatalf("%d holds are open, want 3", len(got))
	}
	decision := reprocessing.Decision{
		Scope:        tag,
		Verification: reading.Verification{Cleaning: 1, Outcome: reading.OK, Complete: true},
		First:        at + 10,
		Last:         at + 20,
	}
	cleaned := w.put(record.Step, reprocessing.Step{Scope: tag, Kind: reprocessing.ManualCleaning, Start: at + 1, End: at + 9})
	verification := w.put(record.Verification, decision)
	for _, l := range []reprocessing.Lift{
		{Hold: string(alone.ID), Verification: string(verification.ID)},
		{Hold: string(agreed.ID), Verification: string(verification.ID), Second: "B", ByRoles: leads, SecondRoles: leads},
		{Hold: string(voided.ID), Verification: string(verification.ID)},
	} {
		l.Scope, l.At, l.By, l.Reason, l.Evidence = tag, at+20, "A", "passed", []string{string(cleaned.ID)}
		w.put(record.Lift, l)
	}
	if got := openHolds(t, db, at+20); got != nil {
		t.Errorf("after the lifts %v are open", got)
	}
	if got := openHolds(t, db, at+19); len(got) != 3 {
		t.Errorf("just before the lifts %d are open, want 3", len(got))
	}
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(voided))
	if got := openHolds(t, db, at+19); len(got) != 2 {
		t.Errorf("a voided hold never was: %d are open, want 2", len(got))
	}
	decision.Verification.Outcome, decision.Verification.Complete, decision.Supersedes = reading.None, false, string(verification.ID)
	second := w.put(record.Verification, decision)
	// Evidence that is taken back reopens what it ended, also where two people agreed.
	if got := openHolds(t, db, at+20); !cmp.Equal(got, []ledger.ID{alone.ID, agreed.ID}) {
		t.Errorf("after the cleaning verification was decided otherwise %v are open, want %s and %s", got, alone.ID, agreed.ID)
	}
	decision.Verification.Outcome, decision.Verification.Complete, decision.Supersedes = reading.OK, true, string(second.ID)
	third := w.put(record.Verification, decision)
	for _, hold := range []ledger.Record{alone, agreed} {
		w.put(record.Lift, reprocessing.Lift{
			Hold: string(hold.ID), Scope: tag, At: at + 20, By: "A", Reason: "passed", Verification: string(third.ID), Evidence: []string{string(cleaned.ID)},
		})
	}
	if got := openHolds(t, db, at+20); got != nil {
		t.Errorf("lifted again: %v are open", got)
	}
	w.put(record.Void, record.VoidBody{Scope: tag}, correct(cleaned))
	if got := openHolds(t, db, at+20); !cmp.Equal(got, []ledger.ID{alone.ID, agreed.ID}) {
		t.Errorf("after the cleaning was taken back %v are open, want %s and %s", got, alone.ID, agreed.ID)
	}
	again := w.put(record.Step, reprocessing.Step{Scope: tag, Kind: reprocessing.ManualCleaning, Start: at + 6, End: at + 9})
	// What a person placed, or what was escalated, no verification ends alone, whatever the desk would say.
	placed.At = at + 5
	for _, hold := range []reprocessing.Hold{
		{Scope: tag, Kind: reprocessing.CultureHold, At: placed.At, By: "T", Reason: "culture"},
		{Scope: tag, Kind: reprocessing.CleaningHold, At: placed.At, By: "T", Reason: "third cleaning", Cause: "verification", Escalated: true},
		{Scope: tag, Kind: reprocessing.CleaningHold, At: at + 10, By: "T", Reason: "at the instant of the first sample", Cause: "verification"},
	} {
		kept := w.put(record.Hold, hold)
		lift := store.Draft{Type: record.Lift, ID: ledger.DerivedID(hold.Reason), At: at + 20, By: "A", Body: reprocessing.Lift{
			Hold: string(kept.ID), Scope: tag, At: at + 20, By: "A", Reason: "passed", Verification: string(third.ID), Evidence: []string{string(again.ID)},
		}}
		_, err := tryWrite(db, lift)
		wantCode(t, hold.Reason, err, fault.Invalid)
		if got := openHolds(t, db, at+20); !slices.Contains(got, kept.ID) {
			t.Errorf("%s: the hold is not open", hold.Reason)
		}
	}
}

// Rebuilt closes a store, rebuilds its tables, opens it again and fails when anything differs.
func Rebuilt(tb testing.TB, db *store.DB, clock func() time.Time) *store.DB {
	tb.Helper()
	ctx := context.Background()
	before := StateOf(tb, db)
	if err := db.Close(); err != nil {
		tb.Fatal(err)
	}
	n, err := db.Home().Rebuild(ctx, nil)
	if err != nil || n != before.Size {
		tb.Fatalf("rebuild: %d records, %v; want %d", n, err, before.Size)
	}
	db, err = db.Home().Open(ctx, clock)
	if err != nil {
		tb.Fatal(err)
	}
	if diff := cmp.Diff(before, StateOf(tb, db)); diff != "" {
		tb.Fatalf("the rebuilt tables differ:\n%s", diff)
	}
	return db
}

func rebuild(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	state := StateOf(t, db)
	for _, table := range []string{"event", "used", "entity", "reading", "hold", "checked", "doubted", "disinfected", "handover", "signal"} {
		if !slices.ContainsFunc(state.Rows, func(row string) bool { return strings.HasPrefix(row, table+" ") }) {
			t.Errorf("table %s is empty, so that nothing is compared", table)
		}
	}
	db = Rebuilt(t, db, clock.Now)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	// Tables that somebody has tampered with are put right.
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	for _, text := range []string{
		`UPDATE event SET word = 'x', replaced = 1`, `DELETE FROM hold`, `UPDATE entity SET at = 0`, `DELETE FROM reading`,
		`UPDATE head SET projected = 0`,
	} {
		if _, err := raw.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	_, err := db.Home().Open(context.Background(), clock.Now)
	wantCode(t, "tables that lag behind", err, fault.Broken)
	if want := fmt.Sprintf(
		"the ledger has %d records, the tables hold 0 of them; rebuild the tables with: rinsate ledger rebuild",
		state.Size,
	); err == nil ||
		!strings.Contains(err.Error(), want) {
		t.Errorf("got %v, want %q", err, want)
	}
	if _, err := db.Home().Rebuild(context.Background(), nil); err != nil {
		t.Fatal(err)
	}
	db, err = db.Home().Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(state, StateOf(t, db)); diff != "" {
		t.Errorf("after the repair:\n%s", diff)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// modelled is a plain map of what the tables should show: the steps of each scope that stand.
type modelled struct {
	size  int64
	scope map[ledger.ID]string
	// stands is false for what was corrected or voided.
	stands map[ledger.ID]bool
	order  []ledger.ID
}

func (m *modelled) add(id ledger.ID, scope string) {
	m.size++
	m.scope[id], m.stands[id] = scope, true
	m.order = append(m.order, id)
}

func (m *modelled) shown(scope string) (ids []ledger.ID) {
	for _, id := range m.order {
		if m.stands[id] && m.scope[id] == scope {
			ids = append(ids, id)
		}
	}
	return ids
}

func rebuildModel(t *testing.T, e Engine) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	t.Helper()
	rapid.Check(t, func(rt *rapid.T) {
		t := checked{t, rt}
		clock := NewClock()
		db := e.Create(t.T, clock.Now)
		defer func() {
			if err := db.Close(); err != nil {
				rt.Error(err)
			}
		}()
		m := modelled{size: 1, scope: map[ledger.ID]string{}, stands: map[ledger.ID]bool{}}
		scopes := []string{"SC-00", "SC-01", "Ä"}
		next := func(scope string) store.Draft {
			d := Step(scope, clock.Move(time.Second))
			d.ID = ledger.DerivedID("model", fmt.Sprint(m.size), fmt.Sprint(clock.At()))
			return d
		}
		take := func(rt *rapid.T, id ledger.ID, d store.Draft) {
			d.Corrects, d.Reason = id, "r"
			_, err := tryWrite(db, d)
			if !m.stands[id] {
				if fault.CodeOf(err) != fault.Conflict {
					rt.Fatalf("second replacement of %s: %v", id, err)
				}
				return
			}
			if err != nil {
				rt.Fatal(err)
			}
			m.stands[id] = false
			if d.Type == record.Void {
				m.size++
				return
			}
			m.add(d.ID, m.scope[id])
		}
		rt.Repeat(map[string]func(*rapid.T){
			"record": func(rt *rapid.T) {
				d := next(rapid.SampledFrom(scopes).Draw(rt, "scope"))
				if _, err := tryWrite(db, d); err != nil {
					rt.Fatal(err)
				}
				m.add(d.ID, d.Body.(reprocessing.Step).Scope)
			},
			"sendAgain": func(rt *rapid.T) {
				if len(m.order) == 0 {
					return
				}
				id := rapid.SampledFrom(m.order).Draw(rt, "record")
				d := next(m.scope[id])
				d.ID = id // another time, so another content
				if _, err := tryWrite(db, d); fault.CodeOf(err) != fault.Conflict {
					rt.Fatalf("another content under a used id: %v", err)
				}
			},
			"correct": func(rt *rapid.T) {
				if len(m.order) > 0 {
					id := rapid.SampledFrom(m.order).Draw(rt, "record")
					take(rt, id, next(m.scope[id]))
				}
			},
			"void": func(rt *rapid.T) {
				if len(m.order) > 0 {
					id := rapid.SampledFrom(m.order).Draw(rt, "record")
					d := next(m.scope[id])
					d.Type, d.Body = record.Void, record.VoidBody{Scope: m.scope[id]}
					take(rt, id, d)
				}
			},
			"fail": func(rt *rapid.T) {
				refused := errors.New("no")
				d := next("SC-00")
				err := db.Write(context.Background(), func(tx *store.Tx) error {
					_, _, err := tx.Append(d)
					return errors.Join(err, refused)
				})
				if !errors.Is(err, refused) {
					rt.Fatal(err)
				}
			},
			"reopen": func(rt *rapid.T) {
				if err := db.Close(); err != nil {
					rt.Fatal(err)
				}
				var err error
				if db, err = db.Home().Open(context.Background(), clock.Now); err != nil {
					rt.Fatal(err)
				}
			},
			"rebuild": func(*rapid.T) { db = Rebuilt(t, db, clock.Now) },
			"": func(rt *rapid.T) {
				for _, scope := range scopes {
					if got, want := shown(t, db, scope, store.Forever), m.shown(scope); !cmp.Equal(got, want) {
						rt.Fatalf("%s shows %v, want %v", scope, got, want)
					}
				}
				if got := StateOf(t, db).Size; got != m.size {
					rt.Fatalf("%d records, want %d", got, m.size)
				}
			},
		})
		Verify(t, db.Home(), m.size)
	})
}

// checked lets helpers fail the rapid check rather than the whole test, so that rapid can shrink.
type checked struct {
	*testing.T
	rt *rapid.T
}

func (c checked) Helper()                   {}
func (c checked) Fatal(args ...any)         { c.rt.Fatal(args...) }
func (c checked) Fatalf(f string, a ...any) { c.rt.Fatalf(f, a...) }
func (c checked) Error(args ...any)         { c.rt.Error(args...) }
func (c checked) Errorf(f string, a ...any) { c.rt.Errorf(f, a...) }
