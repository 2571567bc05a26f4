package web

import (
	"html"
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
)

// What people type may name anybody: whoever has not signed in reads in the program's words that there is a hold,
// a repair or a request, and whoever has reads what was typed.
func TestPublicAnswersHoldNoFreeText(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	const secret = "for Mrs Example of room 3"
	b.clock.Move(time.Minute)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.PlaceHold(e, reprocessing.Hold{Scope: readyScope, By: "L-01", Reason: secret})
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.Ask(e, sampling.Request{Scope: readyScope, By: "L-01", Reason: secret})
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.RecordRepair(e, scope.Repair{Scope: heldScope, Sent: b.at(), Fault: secret}, "")
	})
	for tag, want := range map[string]string{
		readyScope: "placed by a person: sign in to see why", heldScope: "away for repair since",
	} {
		open := html.UnescapeString(b.ask(http.MethodGet, "/ready/"+tag, nobody).body)
		if strings.Contains(open, secret) || strings.Contains(open, "L-01") || !strings.Contains(open, want) {
			t.Errorf("%s, to anybody:\n%.3000s", tag, open)
		}
		if got := html.UnescapeString(b.ask(http.MethodGet, "/ready/"+tag, access.ProcedureRoom).body); !strings.Contains(got, secret) {
			t.Errorf("%s, to somebody who has signed in:\n%.3000s", tag, got)
		}
	}
}

// Whoever works in a procedure room may not see the board: the release check is their first page, after signing in and
// from a page that is not for them. Of a scope in use they read who records the end; whoever may is led there.
func TestFirstPageOfAProcedureRoom(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	if a := b.ask(http.MethodGet, "/", access.ProcedureRoom); a.status != http.StatusSeeOther || a.header.Get("Location") != "/ready" {
		t.Errorf("the first page: status %d, to %q", a.status, a.header.Get("Location"))
	}
	if a := b.ask(http.MethodGet, "/today", access.ProcedureRoom); a.status != http.StatusForbidden || !strings.Contains(a.body, `<a href="/">Back`) {
		t.Errorf("Today: status %d", a.status)
	}
	if a := b.ask(http.MethodGet, "/", access.Lead); a.status != http.StatusOK || !strings.Contains(a.body, "<h1>Today</h1>") {
		t.Errorf("the first page of a lead: status %d", a.status)
	}
	const who, link = "records the end: tell them when it was", "where its end is recorded"
	for role, told := range map[access.Role]bool{nobody: true, access.ProcedureRoom: true, access.Technician: false} {
		got := b.ask(http.MethodGet, "/ready/"+inUseScope, role).body
		if strings.Contains(got, who) != told || strings.Contains(got, link) == told {
			t.Errorf("in use, to %q:\n%s", role, got)
		}
	}
	use := b.patientUse()
	for _, what := range []string{"in use", "in use and on hold"} {
		if got := b.ask(http.MethodGet, "/ready/"+inUseScope, access.Technician).body; !strings.Contains(got, use+`">The record of the use`) {
			t.Errorf("%s: the record of the use is not where its end is recorded:\n%s", what, got)
		}
		b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.PlaceHold(e, reprocessing.Hold{Scope: inUseScope, By: "T-01", Kind: reprocessing.DamageHold, Reason: "dropped"})
		})
	}
	const back = `<a href="/sign-in?next=%2Fready%2FD-03">Sign in</a>`
	if got := b.ask(http.MethodGet, "/ready/"+heldScope, nobody).body; !strings.Contains(got, back) {
		t.Errorf("no way to sign in and back:\n%s", got)
	}
	if got := b.ask(http.MethodGet, "/ready/"+heldScope, access.ProcedureRoom).body; strings.Contains(got, "sign-in?next") {
		t.Error("whoever has signed in is asked to")
	}
}
