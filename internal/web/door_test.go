package web

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
)

// asHost makes a request name another server.
func asHost(host string) func(*http.Request) { return func(r *http.Request) { r.Host = host } }

// A page of somebody else whose name was made to lead to this computer is of the same origin as these pages to its
// browser. It is told apart by the name that the browser sends, whatever it asks for.
func TestOnlyOwnNamesAreServed(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://pc-7.example/rinsate")
	server, err := New(b.desk, Options{Base: b.server.Base, Hosts: []string{"Upstream-3"}, Clock: b.clock.Now, Door: b.server.Door, Log: b.server.Log})
	if err != nil {
		t.Fatal(err)
	}
	b.server = server
	t.Cleanup(server.imports.end)
	for _, test := range []struct {
		host   string
		served bool
		reason string
	}{
		{"pc-7.example", true, "the address that people use"},
		{"PC-7.example.:8443", true, "the same in capitals, with the root's point and a port"},
		{"upstream-3:8420", true, "a name that the operator gave"},
		{"localhost:8420", true, "this computer"},
		{"bench.localhost", true, "this computer"},
		{"127.0.0.1:8420", true, "this computer by number, as a proxy asks for it"},
		{"[::1]:8420", true, "this computer by number"},
		{"192.0.2.7", true, "a number, which no name leads to"},
		{"evil.example", false, "another name"},
		{"pc-7.example.evil.example", false, "a name that begins like ours"},
		{"evil-pc-7.example", false, "a name that ends like ours"},
		{"localhost.evil.example", false, "a name that begins like this computer's"},
		{"127.0.0.1.evil.example", false, "a name that begins like a number"},
		{"2130706433", false, "a number that is no address"},
		{"", false, "no name"},
	} {
		a := b.ask(http.MethodGet, "/rinsate/ready/"+readyScope, nobody, asHost(test.host))
		if (a.status == http.StatusOK) != test.served || !test.served && a.status != http.StatusMisdirectedRequest {
			t.Errorf("%q, %s: status %d", test.host, test.reason, a.status)
		}
		if !test.served && (strings.Contains(a.body, readyScope) || !strings.Contains(a.body, "Open https://pc-7.example/rinsate.")) {
			t.Errorf("%q: the refusal does not say what to do, or tells of a scope:\n%s", test.host, a.body)
		}
	}
	before := len(b.emergencies())
	f := url.Values{"reason": {string(reprocessing.CannotWait)}, "decided": {"N-07"}}
	a := b.ask(http.MethodPost, "/rinsate/ready/"+inWorkScope+"/emergency", nobody, asHost("evil.example"), func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.PostForm, r.Form = f, f
	})
	if a.status != http.StatusMisdirectedRequest || len(b.emergencies()) != before {
		t.Errorf("a page under another name records an emergency use: status %d", a.status)
	}
}

// The pages of a first run are for this computer alone, too.
func TestFirstRunUnderAnotherName(t *testing.T) {
	t.Parallel()
	f := firstRun(t, storetest.NewClock())
	for host, want := range map[string]int{"evil.example": http.StatusMisdirectedRequest, f.Base.Host: http.StatusNotFound} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+host+"/nothing", nil)
		w := httptest.NewRecorder()
		f.Handler().ServeHTTP(w, r)
		if w.Code != want {
			t.Errorf("%s: status %d, want %d", host, w.Code, want)
		}
	}
}

// fleetOf registers scopes of which nothing is on record.
func (b *site) fleetOf(n int) (tags []string) {
	b.Helper()
	for i := range n {
		tags = append(tags, fmt.Sprintf("X-%02d", i))
		b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(e, b.at(), scope.Instrument{
				Tag: tags[i], Model: gastroscope.Name, Owner: scope.Own, InService: b.at().Add(-time.Hour),
			})
		})
	}
	return tags
}

// Nobody need sign in for an emergency use, so that one who presses for every scope would close the department: from
// one place a few are heard, and each is told of in the log. Whoever has signed in is always heard, and so is another
// place.
func TestEmergenciesOfNobodyAreThrottled(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	var log bytes.Buffer
	b.server.Log = slog.New(slog.NewTextHandler(&log, nil))
	tags := b.fleetOf(access.Unsigned.Size + 8)
	decided := func(words string) url.Values {
		id := string(ledger.NewID(b.at(), rand.Reader))
		return url.Values{"id": {id}, "reason": {string(reprocessing.CannotWait)}, "decided": {words}}
	}
	// What is refused for another reason does not count.
	for range access.Unsigned.Size + 1 {
		if a := b.press(tags[0], url.Values{"reason": {string(reprocessing.CannotWait)}}); a.status != http.StatusBadRequest {
			t.Fatalf("without who decided: status %d", a.status)
		}
	}
	for _, tag := range tags[:access.Unsigned.Size] {
		f := decided("N-07")
		if a := b.press(tag, f); a.status != http.StatusSeeOther {
			t.Fatalf("%s: status %d\n%s", tag, a.status, a.body)
		}
		if a := b.press(tag, f); a.status != http.StatusSeeOther {
			t.Fatalf("%s sent twice: status %d", tag, a.status)
		}
		if line := fmt.Sprintf("an emergency use is recorded that nobody signed\" address=192.0.2.1 scope=%s", tag); strings.Count(log.String(), line) != 1 {
			t.Fatalf("the log does not tell once of %s:\n%s", tag, log.String())
		}
	}
	rest := tags[access.Unsigned.Size:]
	for range 3 {
		a := b.press(rest[0], decided("N-07"))
		if a.status != http.StatusTooManyRequests || a.header.Get("Retry-After") == "" || !strings.Contains(a.body, "Sign in") ||
			!strings.Contains(a.body, "paper form") || !strings.Contains(a.body, "N-07") {
			t.Fatalf("one too many: status %d\n%s", a.status, a.body)
		}
	}
	if n := strings.Count(log.String(), "too many from one address"); n != 1 {
		t.Errorf("the log tells %d times of a flood:\n%s", n, log.String())
	}
	if got := len(b.emergencies()); got != access.Unsigned.Size {
		t.Fatalf("%d emergency uses are on record, want %d", got, access.Unsigned.Size)
	}
	before := log.String()
	for _, tag := range rest[1:4] {
		if a := b.sendForm("/ready/"+tag+"/emergency", access.ProcedureRoom, decided("N-07")); a.status != http.StatusSeeOther {
			t.Errorf("by somebody who has signed in: status %d\n%s", a.status, a.body)
		}
	}
	if log.String() != before {
		t.Errorf("what somebody signed in for is logged: %s", log.String()[len(before):])
	}
	elsewhere := func(r *http.Request) { r.RemoteAddr = "192.0.2.9:4711" }
	if a := b.pressFrom(rest[4], decided("N-07"), elsewhere); a.status != http.StatusSeeOther {
		t.Errorf("from elsewhere: status %d", a.status)
	}
	b.clock.Move(access.Unsigned.Every)
	if a := b.press(rest[5], decided("N-07")); a.status != http.StatusSeeOther {
		t.Errorf("after a while: status %d", a.status)
	}
	if a := b.press(rest[6], decided("N-07")); a.status != http.StatusTooManyRequests {
		t.Errorf("and one more: status %d", a.status)
	}
}
