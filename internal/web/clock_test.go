package web

import (
	"maps"
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// The clock is an hour back: pages say so and lead to where another is compared, which opens the scopes again.
func TestClockInDoubt(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.Technician, access.InfectionPrevention} {
		b.session(role)
	}
	b.hold()
	b.clock.Move(-90 * time.Second)
	for _, test := range []struct {
		path string
		role access.Role
		want []string
	}{
		{"/ready/" + readyScope, access.Lead, []string{"set back by", "/clock\""}},
		{"/ready/" + readyScope, nobody, []string{"set back by"}},
		{"/today", access.Lead, []string{"set back by", "/clock\""}},
		{"/clock", access.Technician, []string{"set back by", "Second person"}},
	} {
		got := b.ask(http.MethodGet, test.path, test.role)
		for _, want := range test.want {
			if got.status != http.StatusOK || !strings.Contains(got.body, want) {
				t.Errorf("%s for %q: status %d, want %q in it:\n%.2000s", test.path, test.role, got.status, want, got.body)
			}
		}
		if test.role == nobody && strings.Contains(got.body, "/clock\"") {
			t.Error("the release check leads nobody to a page that they may not open")
		}
	}
	if err := b.server.Desk.NoticeClock(t.Context()); err != nil { // what a program that begins does
		t.Fatal(err)
	}
	b.clock.Move(access.ProofHolds + 2*time.Minute) // nobody has shown lately who they are
	saw := b.clock.Now().In(b.server.Desk.DB.Zone())
	for _, test := range []struct {
		name   string
		role   access.Role
		change map[string]string
		status int
		want   string
	}{
		{"one technician", access.Technician, nil, http.StatusBadRequest, "two people on duty"},
		{"with somebody of another room", access.Technician, map[string]string{"second": codeOf(access.InfectionPrevention)}, http.StatusForbidden, "Second person"},
		{"no password", access.Lead, map[string]string{"secret": ""}, http.StatusForbidden, "This is a signature."},
		{"another time, by one", access.Technician, map[string]string{"saw": saw.Add(time.Hour).Format(kit.FormTime)}, http.StatusSeeOther, ""},
		{"no such clock", access.Lead, map[string]string{"other": "sundial"}, http.StatusBadRequest, "radio-clock"},
		{"the lead", access.Lead, nil, http.StatusSeeOther, ""},
	} {
		fields := map[string]string{
			"id": b.newID(), "saw": saw.Format(kit.FormTime), "other": "phone", "secret": password, "second-password": password,
		}
		maps.Copy(fields, test.change)
		got := b.send("/clock", test.role, fields)
		b.keep(test.role, got)
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2000s", test.name, got.status, test.status, test.want, got.body)
		}
	}
	if got := b.ask(http.MethodGet, "/clock", access.Lead); !strings.Contains(got.body, "Nothing speaks against it") {
		t.Errorf("still in doubt:\n%.2000s", got.body)
	}
}
