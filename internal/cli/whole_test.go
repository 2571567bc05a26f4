package cli_test

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rinsate/internal/cli"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// Whoever lifted holds with another program is found out by ledger verify and by doctor, whose exit codes say so;
// ledger rebuild mends both the tables and what guards them.
func TestTamperedTables(t *testing.T) {
	t.Parallel()
	clock := storetest.NewClock()
	home := sqlite.Folder(filepath.Join(t.TempDir(), "data"))
	db, err := home.Create(context.Background(), storetest.Site, clock.Now)
	if err != nil {
		t.Fatal(err)
	}
	storetest.Everything(t, db, clock)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) (code int, out string) {
		t.Helper()
		clock.Move(time.Minute)
		var b bytes.Buffer
		code = cli.Run(context.Background(), append([]string{"--data", home.Dir()}, args...), cli.Streams{Out: &b, Err: &b}, clock.Now)
		return code, b.String()
	}
	expect := func(code int, out string, wantCode int, words ...string) {
		t.Helper()
		if code != wantCode {
			t.Errorf("exit code %d, want %d\n%s", code, wantCode, out)
		}
		for _, w := range words {
			if !strings.Contains(out, w) {
				t.Errorf("%q is not said:\n%s", w, out)
			}
		}
	}
	code, out := run("ledger", "verify")
	expect(code, out, 0, "all tables follow from the records")
	raw := sqlitetest.Raw(t, home)
	if _, err := raw.ExecContext(t.Context(), `UPDATE hold SET lifted = at`); err == nil {
		t.Error("another program has lifted the holds although the table is guarded")
	}
	sqlitetest.Unguard(t, raw)
	if _, err := raw.ExecContext(t.Context(), `UPDATE hold SET lifted = at`); err != nil {
		t.Fatal(err)
	}
	code, out = run("ledger", "verify")
	expect(code, out, 1, "table hold (rows: ", "does not follow from the records", "what keeps other programs from changing the tables is damaged")
	code, out = run("doctor")
	expect(code, out, 1, "✗  tables", "✗  guards", "✗  last look", "(verify)")
	code, out = run("ledger", "rebuild")
	expect(code, out, 0, "tables rebuilt from")
	code, out = run("ledger", "verify")
	expect(code, out, 0, "all tables follow from the records", "(rebuild): the tables follow from the ledger")
	if _, err := raw.ExecContext(t.Context(), `UPDATE hold SET lifted = at`); err == nil {
		t.Error("the guards were not put back")
	}
}
