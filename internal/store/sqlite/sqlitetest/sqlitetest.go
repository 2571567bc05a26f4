// Package sqlitetest brings stores on SQLite to tests: homes in folders of their own, and what the suite in
// storetest has to be told of the engine. It is used by tests only.
package sqlitetest

import (
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"rinsate/internal/store"
	folder "rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// Engine is SQLite, for the suite.
var Engine = storetest.Engine{
	Home: Home, Raw: Raw, Unguard: Unguard, Outside: outside, Guarded: guarded, Wide: wide,
	Attacks: []storetest.Attack{
		{Name: "record update or replace", Text: `UPDATE OR REPLACE record SET seq = 2 WHERE seq = 1`},
		{Name: "record insert or replace", Text: `INSERT OR REPLACE INTO record SELECT site, seq, id, $1, hashes FROM record WHERE seq = 1`},
		{Name: "record replace under its id", Text: `REPLACE INTO record SELECT site, seq + 10, id, $1, hashes FROM record WHERE seq = 1`},
		{Name: "checkpoint insert or replace", Text: `INSERT OR REPLACE INTO checkpoint SELECT site, size, '', at FROM checkpoint`},
		{Name: "site insert or replace", Text: `INSERT OR REPLACE INTO site SELECT site, name, zone, origin, '', terms FROM site`},
		{Name: "content insert or replace", Text: `INSERT OR REPLACE INTO content SELECT site, hash, $1 FROM content`},
		{Name: "head insert or replace", Text: `INSERT OR REPLACE INTO head SELECT site, 0, root, 0, 0 FROM head`},
	},
	FullScans: map[string]string{
		"SELECT max(seq) FROM record WHERE site = $1": "the plan does not show that the engine goes straight to the end of the primary key",
	},
}

// Home returns a data folder of its own for a test, in which there is nothing yet.
func Home(tb testing.TB) store.Home {
	tb.Helper()
	return folder.Folder(tb.TempDir())
}

// Raw opens a second connection to the database of a home, past package store.
func Raw(tb testing.TB, home store.Home) *sql.DB {
	tb.Helper()
	raw, err := sql.Open("sqlite", "file:"+filepath.Join(home.Dir(), "rinsate.db")+"?_pragma=busy_timeout(10000)")
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := raw.Close(); err != nil {
			tb.Error(err)
		}
	})
	return raw
}

func outside(tb testing.TB, home store.Home) []byte {
	tb.Helper()
	note, err := os.ReadFile(filepath.Join(home.Dir(), "checkpoint.txt"))
	if err != nil {
		tb.Fatal(err)
	}
	return note
}

// Unguard takes all triggers away, as somebody with the file and enough SQL could.
func Unguard(tb testing.TB, raw *sql.DB) {
	tb.Helper()
	rows, err := raw.QueryContext(tb.Context(), `SELECT name FROM sqlite_schema WHERE type = 'trigger'`)
	if err != nil {
		tb.Fatal(err)
	}
	defer rows.Close()
	var names []string
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			tb.Fatal(err)
		}
		names = append(names, name)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		tb.Fatal(err)
	}
	for _, name := range names {
		if _, err := raw.ExecContext(tb.Context(), `DROP TRIGGER `+name); err != nil {
			tb.Fatal(err)
		}
	}
}

// guarded says so of the refusal of a trigger, and of that of a statement whose triggers name what only the
// program's own connections have.
func guarded(err error) bool {
	refused, ok := errors.AsType[*sqlite.Error](err)
	return ok && (refused.Code() == lib.SQLITE_CONSTRAINT_TRIGGER || strings.Contains(refused.Error(), "no such collation sequence: only_rinsate_writes_here"))
}

// wide asks SQLite for its plan. All of a site is as good as all.
func wide(tb testing.TB, raw *sql.DB, text string, args []any, tables []string) (steps []string) {
	tb.Helper()
	of := `(` + strings.Join(tables, "|") + `)\b`
	all := regexp.MustCompile(`^SCAN ` + of + `|^SEARCH ` + of + `.*\(site=\?\)$`)
	rows, err := raw.QueryContext(tb.Context(), "EXPLAIN QUERY PLAN "+text, args...)
	if err != nil {
		tb.Fatalf("%v\n%s", err, text)
	}
	defer rows.Close()
	for rows.Next() {
		var id, parent, unused int
		var detail string
		if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
			tb.Fatal(err)
		}
		if all.MatchString(detail) {
			steps = append(steps, detail)
		}
	}
	if err := rows.Err(); err != nil {
		tb.Fatal(err)
	}
	return steps
}
