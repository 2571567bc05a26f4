package web

import (
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// benchState asks what the bench is told, with a line of what its browser remembers.
func (b *site) benchState(remembers string) (state struct{ Seen, Copied, Site string }) {
	b.Helper()
	a := b.ask(http.MethodGet, "/bench/state", access.Technician, func(r *http.Request) {
		if remembers != "" {
			r.Header.Set(seenHeader, remembers)
		}
	})
	if err := json.Unmarshal([]byte(a.body), &state); err != nil || a.status != http.StatusOK {
		b.Fatalf("status %d, %v: %.500s", a.status, err, a.body)
	}
	return state
}

// signedIn lets an account of a role sign in anew.
func (b *site) signedIn(role access.Role) {
	b.Helper()
	pass, err := b.server.Door.SignIn(context.Background(), codeOf(role), password, identity.Source{Address: "192.0.2.7", Agent: "test"})
	if err != nil {
		b.Fatal(err)
	}
	b.mu.Lock()
	b.tokens[role] = pass.Token
	b.mu.Unlock()
}

// putBack serves a copy of the folder in place of the site.
func (b *site) putBack(dir string) {
	b.Helper()
	db, err := sqlite.Folder(dir).Open(context.Background(), b.clock.Now)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := db.Close(); err != nil {
			b.Error(err)
		}
	})
	b.desk = desk.New(db)
	door := identity.NewDoor(db, access.Cost{Memory: 8, Passes: 1, Lanes: 1})
	if b.server, err = New(b.desk, Options{Base: b.server.Base, Clock: b.clock.Now, Door: door, Log: b.server.Log}); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(b.server.imports.end)
}

// An older copy of the folder is served. A browser at the bench remembers more than it has: every page says so, no scope
// is ready, and only the lead can say what happened. Then two people say what did not.
func TestOlderCopyIsServed(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.Technician, access.InfectionPrevention} {
		b.session(role)
	}
	older := filepath.Join(t.TempDir(), "older")
	if err := os.CopyFS(older, os.DirFS(b.desk.DB.Home().Dir())); err != nil {
		t.Fatal(err)
	}
	first := b.benchState("")
	b.clock.Move(time.Second)
	b.hold()
	remembers := b.benchState(first.Seen)
	if first.Seen == "" || remembers.Seen == "" || remembers.Seen == first.Seen || remembers.Copied != "" || remembers.Site != b.desk.DB.Site().Origin {
		t.Fatalf("%+v, then %+v", first, remembers)
	}

	b.putBack(older)
	if a := b.ask(http.MethodGet, "/today", access.Lead); strings.Contains(a.body, `class="alarm"`) {
		t.Errorf("an alarm before anybody told:\n%.600s", a.body)
	}
	if s := b.benchState(first.Seen); s.Copied != "" || s.Seen == "" {
		t.Errorf("a browser that has seen no more: %+v", s)
	}
	if s := b.benchState(remembers.Seen[:len(remembers.Seen)-1] + "!"); s.Copied != "" {
		t.Errorf("a line that somebody made up: %+v", s)
	}
	if s := b.benchState(remembers.Seen); s.Copied == "" || s.Seen != "" {
		t.Errorf("a browser that has seen more: %+v", s)
	}
	const alarm, link = "These records are a copy: a browser here has seen a larger ledger", `href="/restored"`
	for path, role := range map[string]access.Role{"/today": access.Lead, "/sign-in": nobody, "/ready/" + readyScope: nobody, "/bench": access.Technician} {
		a := b.ask(http.MethodGet, path, role)
		if !strings.Contains(a.body, alarm) || strings.Contains(a.body, link) != (role != nobody) {
			t.Errorf("%s does not say it, or not where to say what happened:\n%.900s", path, a.body)
		}
	}
	if a := b.ask(http.MethodGet, "/ready/"+readyScope, nobody); !strings.Contains(a.body, "not known") {
		t.Errorf("the release check:\n%.3000s", a.body)
	}

	b.clock.Move(access.ProofHolds + 2*time.Minute) // nobody has shown lately who they are
	a := b.send("/restored", access.Lead, map[string]string{"id": b.newID()})
	if a.status != http.StatusForbidden || !strings.Contains(a.body, "This is a signature.") {
		t.Errorf("unsigned: status %d:\n%.2000s", a.status, a.body)
	}
	a = b.send("/restored", access.Lead, map[string]string{"id": b.newID(), "secret": password})
	if a.status != http.StatusSeeOther {
		t.Fatalf("status %d:\n%.2000s", a.status, a.body)
	}
	b.keep(access.Lead, a)
	for _, role := range []access.Role{access.Lead, access.Technician} {
		if a := b.ask(http.MethodGet, "/today", role); a.status != http.StatusSeeOther {
			t.Errorf("the session of the %s goes on: status %d", role, a.status)
		}
		b.signedIn(role)
	}
	if s := b.benchState(remembers.Seen); s.Copied != "" || s.Seen == "" {
		t.Errorf("said so: %+v", s)
	}
	a = b.ask(http.MethodGet, "/restored", access.Lead)
	for _, want := range []string{"were found to be a copy", `value="` + readyScope + `"`, "At least 1 records are lost"} {
		if !strings.Contains(a.body, want) {
			t.Errorf("want %q:\n%.4000s", want, a.body)
		}
	}
	if strings.Contains(a.body, alarm) {
		t.Error("the alarm goes on")
	}
	nothing := func(change func(map[string]string)) answer {
		t.Helper()
		fields := map[string]string{
			"id": b.newID(), "secret": password, "scope": readyScope, "known": "paper", "second": codeOf(access.InfectionPrevention), "second-password": password,
		}
		if change != nil {
			change(fields)
		}
		a := b.send("/restored/nothing", access.Lead, fields)
		b.keep(access.Lead, a)
		return a
	}
	for _, test := range []struct {
		name   string
		change func(map[string]string)
		status int
		want   string
	}{
		{"alone", func(f map[string]string) { f["second"] = "" }, http.StatusBadRequest, "the lead and a second person"},
		{"with a technician", func(f map[string]string) { f["second"] = codeOf(access.Technician) }, http.StatusForbidden, "second person"},
		{"of no scope", func(f map[string]string) { delete(f, "scope") }, http.StatusBadRequest, "of which scopes?"},
		{"by a feeling", func(f map[string]string) { f["known"] = "" }, http.StatusBadRequest, "How is that known?"},
		{"two", nil, http.StatusSeeOther, ""},
	} {
		a := nothing(test.change)
		if a.status != test.status || !strings.Contains(strings.ToLower(a.body), strings.ToLower(test.want)) {
			t.Errorf("%s: status %d, want %d with %q:\n%.4000s", test.name, a.status, test.status, test.want, a.body)
		}
	}
	if a := b.ask(http.MethodGet, "/restored?done=nothing", access.Lead); strings.Contains(a.body, `value="`+readyScope+`"`) ||
		!strings.Contains(a.body, "nothing happened to these scopes") {
		t.Errorf("still listed:\n%.4000s", a.body)
	}
	if a := b.ask(http.MethodGet, "/ready/"+readyScope, nobody); strings.Contains(a.body, "what happened in between") {
		t.Errorf("the release check:\n%.3000s", a.body)
	}
}
