package storetest

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/base/fault"
	"rinsate/internal/store"
)

// withoutSearch are the tables that a few records fill: all but those of the index, which is written in blocks.
func withoutSearch() []string {
	return slices.DeleteFunc(slices.Clone(store.Tables()), func(table string) bool { return strings.HasPrefix(table, "search_") })
}

// guards: another program changes no table that follows from the ledger.
func guards(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	before := StateOf(t, db)
	raw := e.Raw(t, db.Home())
	for _, table := range store.Tables() {
		for _, text := range []string{
			`UPDATE ` + table + ` SET site = site`, `DELETE FROM ` + table, `INSERT INTO ` + table + ` SELECT * FROM ` + table,
		} {
			if _, err := raw.ExecContext(t.Context(), text); !e.Guarded(err) {
				t.Errorf("%s: got %v, want a refusal", text, err)
			}
		}
	}
	if diff := cmp.Diff(before, StateOf(t, db)); diff != "" {
		t.Errorf("something changed:\n%s", diff)
	}
	if v := verified(t, db.Home()); v.Guards != nil || v.Tables != nil {
		t.Errorf("found %+v", v)
	}
	e.Unguard(t, raw)
	if v := verified(t, db.Home()); len(v.Guards) <= 3*len(store.Tables()) {
		t.Errorf("what is missing of the guards: %q", v.Guards)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Home().Rebuild(t.Context(), nil); err != nil {
		t.Fatal(err)
	}
	if v := verified(t, db.Home()); v.Guards != nil {
		t.Errorf("still missing of the guards after a rebuild: %q", v.Guards)
	}
}

func verified(t *testing.T, home store.Home) store.Verified {
	t.Helper()
	v, err := home.Verify(t.Context(), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// compare: what somebody changes in a table although it is guarded is found, in that table and in no other, and
// rebuilding mends it.
func compare(t *testing.T, e Engine) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	raw := e.Raw(t, db.Home())
	for _, table := range withoutSearch() {
		t.Run(table, func(t *testing.T) {
			for _, one := range []struct {
				how            string
				tamper         string
				missing, extra int
			}{
				{"a row deleted", `DELETE FROM %[1]s WHERE %[2]s`, 1, 0},
				{"a row changed", `UPDATE %[1]s SET %[3]s = %[3]s + 1 WHERE %[2]s`, 1, 1},
				{"a row added", `INSERT INTO %[1]s SELECT %[4]s FROM %[1]s WHERE %[2]s`, 0, 1},
			} {
				e.Unguard(t, raw)
				where, number, added := aRow(t, raw, table)
				text := fmt.Sprintf(one.tamper, table, where, number, added)
				if _, err := raw.ExecContext(t.Context(), text); err != nil {
					t.Fatalf("%v\n%s", err, text)
				}
				found := verified(t, db.Home()).Tables
				if len(found) != 1 || found[0].Table != table || found[0].Missing != one.missing || found[0].Extra != one.extra {
					t.Errorf("%s: found %v", one.how, found)
				} else if f := found[0]; slices.Contains([]string{"event", "used", "reading", "hold"}, table) != (len(f.Scopes) > 0) {
					t.Errorf("%s: it bears on %q", one.how, f.Scopes)
				}
				if _, err := db.Home().Rebuild(t.Context(), nil); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
	if found := verified(t, db.Home()).Tables; found != nil {
		t.Errorf("after rebuilding: %v", found)
	}
}

// aRow returns the condition that only the first row of a table meets, one of its columns that holds a number, and
// its columns with the last number of its key another one.
func aRow(t *testing.T, raw *sql.DB, table string) (where, number, added string) {
	t.Helper()
	rows, err := raw.QueryContext(t.Context(), `SELECT * FROM `+table+` ORDER BY 2 LIMIT 1`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	values, into := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		into[i] = &values[i]
	}
	if !rows.Next() {
		t.Fatalf("the table %s is empty, so that nothing is compared: %v", table, rows.Err())
	}
	if err := rows.Scan(into...); err != nil {
		t.Fatal(err)
	}
	var conditions []string
	fresh := slices.Clone(columns)
	for i, v := range values {
		switch v := v.(type) {
		case string:
			conditions = append(conditions, fmt.Sprintf("%s = '%s'", columns[i], v))
		case int64:
			conditions = append(conditions, fmt.Sprintf("%s = %d", columns[i], v))
			number = columns[i]
		}
		if columns[i] == "seq" || table == "decided" && columns[i] == "rules" {
			fresh[i] = map[bool]string{true: "'other'", false: "1000000"}[table == "decided"]
		}
	}
	return strings.Join(conditions, " AND "), number, strings.Join(fresh, ", ")
}

// compareIndex does so for the tables of the index, which take more records.
func compareIndex(t *testing.T, e Engine) {
	t.Helper()
	if testing.Short() {
		t.Skip("long, and in one thread")
	}
	clock := NewClock()
	db := e.Create(t, clock.Now)
	many(t, db, clock)
	if found := verified(t, db.Home()).Tables; found != nil {
		t.Errorf("nothing was touched: %v", found)
	}
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	for _, text := range []string{
		`DELETE FROM search_block WHERE term = 'scope=SC-01' AND block = 0`, `UPDATE search_time SET times = zeroblob(length(times)) WHERE block = 1`,
	} {
		if _, err := raw.ExecContext(t.Context(), text); err != nil {
			t.Fatal(err)
		}
	}
	want := []store.Difference{{Table: "search_block", Missing: 1}, {Table: "search_time", Missing: 1, Extra: 1}}
	if diff := cmp.Diff(want, verified(t, db.Home()).Tables); diff != "" {
		t.Errorf("found (-want +got):\n%s", diff)
	}
}

// examine: while the records are served, tables that differ are found, doubted and filled anew, and what was found
// is kept for whoever opens them later.
func examine(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	want := StateOf(t, db)
	if e := db.Examined(); e.At.Known() || e.Good() || e.Doubted("SC-00") {
		t.Errorf("before anybody looked: %+v", e)
	}
	look := func(by string) store.Examination {
		t.Helper()
		clock.Move(time.Hour)
		found, err := db.Examine(t.Context(), by)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(found, db.Examined()); diff != "" {
			t.Errorf("found (-) and kept (+):\n%s", diff)
		}
		return found
	}
	if found := look("start"); !found.Good() || found.At != clock.At() || found.Size != want.Size {
		t.Errorf("nothing was touched: %+v", found)
	}
	trusts := db.Trusts()
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	if _, err := raw.ExecContext(t.Context(), `UPDATE hold SET lifted = at WHERE lifted IS NULL`); err != nil {
		t.Fatal(err)
	}
	if cmp.Equal(want, StateOf(t, db)) {
		t.Fatal("no hold was open, so that nothing was changed")
	}
	found := look("night")
	if found.Good() || !found.Rebuilt || len(found.Tables) != 1 || found.Tables[0].Table != "hold" || len(found.Tables[0].Scopes) == 0 {
		t.Errorf("holds were lifted past the records: %+v", found)
	}
	if scope := found.Tables[0].Scopes[0]; found.Doubted(scope) {
		t.Errorf("%s is doubted although the tables were filled anew", scope)
	}
	if diff := cmp.Diff(want, StateOf(t, db)); diff != "" {
		t.Errorf("after filling the tables anew:\n%s", diff)
	}
	if db.Trusts() == trusts {
		t.Error("nobody is told to look again")
	}
	Write(t, db, Step("SC-00", clock.At()))
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := db.Home().Open(context.Background(), clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := again.Close(); err != nil {
			t.Error(err)
		}
	}()
	if diff := cmp.Diff(found, again.Examined()); diff != "" {
		t.Errorf("opened again:\n%s", diff)
	}
}

// examineFault: in a ledger that is not whole everything is doubted, since it was first found.
func examineFault(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Everything(t, db, clock)
	raw := e.Raw(t, db.Home())
	e.Unguard(t, raw)
	change := func(from, to string) {
		t.Helper()
		const text = `UPDATE record SET bytes = CAST(replace(CAST(bytes AS TEXT), $1, $2) AS BLOB) WHERE seq = 0`
		if _, err := raw.ExecContext(t.Context(), text, from, to); err != nil {
			t.Fatal(err)
		}
	}
	change("Test site", "Best site")
	first := clock.Move(time.Hour)
	for range 2 {
		found, err := db.Examine(t.Context(), "night")
		if err != nil {
			t.Fatal(err)
		}
		if found.Fault == "" || found.Since != first || !found.Doubted("any scope") || found.Good() {
			t.Errorf("found %+v, want a fault since %s", found, first)
		}
		clock.Move(time.Hour)
	}
	change("Best site", "Test site")
	if found, err := db.Examine(t.Context(), "night"); err != nil || found.Fault != "" || found.Doubted("any scope") {
		t.Errorf("whole again: %+v, %v", found, err)
	}
}

// beginsWith: a ledger is held against checkpoints that were kept elsewhere, whoever has it open.
func beginsWith(t *testing.T, e Engine) {
	t.Helper()
	clock := NewClock()
	db := e.Create(t, clock.Now)
	Write(t, db, Step("SC-00", clock.At()))
	note, err := db.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	Write(t, db, Step("SC-00", clock.At()))
	if c, err := db.Home().BeginsWith(t.Context(), note, nil); err != nil || c.Size != 2 {
		t.Errorf("an older checkpoint of it: %+v, %v", c, err)
	}
	// Another ledger under the same key is one that was put back and went on otherwise; here the key is another's
	// as well, so that it is given.
	other := e.Create(t, clock.Now)
	Write(t, other, Step("SC-01", clock.At()))
	foreign, err := other.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	_, err = db.Home().BeginsWith(t.Context(), foreign, nil)
	wantCode(t, "a checkpoint of another key", err, fault.Invalid)
	_, err = db.Home().BeginsWith(t.Context(), foreign, []string{other.Site().VKey})
	wantCode(t, "a checkpoint of other records", err, fault.Broken)
	for i := range 3 {
		Write(t, other, Step(fmt.Sprint("SC-0", i), clock.At()))
	}
	if foreign, err = other.Checkpoint(t.Context()); err != nil {
		t.Fatal(err)
	}
	_, err = db.Home().BeginsWith(t.Context(), foreign, []string{other.Site().VKey})
	wantCode(t, "a checkpoint of more records", err, fault.Broken)
}
