package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/sqlite/sqlitetest"
	"rinsate/internal/store/storetest"
)

// Every page says that the records cannot be relied on, and the release check, the board and the bench answer so at
// once, although nothing was recorded since.
func TestDoubtfulRecordsOnEveryPage(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	const board, ready = "/today", "/ready/" + readyScope
	if a := b.ask(http.MethodGet, board, access.Lead); strings.Contains(a.body, `class="alarm"`) {
		t.Errorf("an alarm over nothing:\n%.600s", a.body)
	}
	raw := sqlitetest.Raw(t, b.desk.DB.Home())
	sqlitetest.Unguard(t, raw)
	if _, err := raw.ExecContext(t.Context(), `UPDATE record SET bytes = x'00' WHERE seq = 1`); err != nil {
		t.Fatal(err)
	}
	b.clock.Move(time.Second)
	if found, err := b.desk.DB.Examine(t.Context(), "night"); err != nil || found.Fault == "" {
		t.Fatalf("found %+v, %v", found, err)
	}
	for path, role := range map[string]access.Role{board: access.Lead, "/sign-in": nobody, ready: nobody, "/help": access.Lead, "/bench": access.Technician} {
		if a := b.ask(http.MethodGet, path, role); !strings.Contains(a.body, "The ledger contradicts itself, found ") {
			t.Errorf("%s does not say it:\n%.600s", path, a.body)
		}
	}
	if a := b.ask(http.MethodGet, ready, nobody); !strings.Contains(a.body, "the ledger contradicts itself since") || !strings.Contains(a.body, "not known") {
		t.Errorf("the release check:\n%.3000s", a.body)
	}
	if a := b.ask(http.MethodGet, board, access.Lead); !strings.Contains(a.body, "the ledger contradicts itself since") {
		t.Errorf("the board:\n%.3000s", a.body)
	}
}
