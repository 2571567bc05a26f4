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
