package web

import (
	"context"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// Who may open what, written down apart from the code: a route that is not here, or lets in somebody who
// is not here, is a mistake. The letters stand for T technician, L lead, I infection prevention,
// P procedure room, Q analyst, V auditor, A administrator; * is everybody, also nobody; + everybody who has
// signed in.
var mayOpen = merged(dayMayOpen, numbersMayOpen, levelsMayOpen, metersMayOpen, recordsMayOpen, setUpMayOpen, helpMayOpen, importMayOpen)

func merged(tables ...map[string]string) map[string]string {
	all := map[string]string{}
	for _, t := range tables {
		maps.Copy(all, t)
	}
	return all
}

// dayMayOpen is about the pages of the day's work, accounts and signing in.
var dayMayOpen = map[string]string{
	"GET /":                               "*",
	"GET /{$}":                            "+", // whoever may not see the board is sent to the release check
	"GET /today":                          "TLIQVA",
	"POST /today":                         "TL",
	"GET /wall":                           "TLIQVA", // or everybody, where it is opened
	"GET /wall/live":                      "TLIQVA",
	"GET /live":                           "TLIQVA",
	"GET /clock":                          "TLIQVA",
	"POST /clock":                         "TL",
	"GET /attest":                         "TL",
	"POST /attest":                        "TL",
	"GET /restored":                       "TLIQVA",
	"POST /restored":                      "L",
	"POST /restored/nothing":              "LI",
	"GET /first-day":                      "TLIQVA",
	"POST /first-day/start":               "LI",
	"POST /first-day/stock":               "LI",
	"GET /ready":                          "*",
	"GET /ready/{tag}":                    "*",
	"GET /ready/{tag}/emergency":          "*",
	"POST /ready/{tag}/emergency":         "*",
	"GET /ready/{tag}/hold":               "TLIP",
	"POST /ready/{tag}/hold":              "TLIP",
	"GET /emergencies":                    "TLIQV",
	"POST /emergencies/{record}/seen":     "I",
	"POST /emergencies/{record}/rest":     "TL",
	"GET /paper/ready":                    "TLIQVA",
	"GET /paper/ready.pdf":                "TLIQVA",
	"GET /paper/forms":                    "TLIQVA",
	"GET /paper/forms.pdf":                "TLIQVA",
	"GET /scopes":                         "TLIQV",
	"GET /scopes/{tag}":                   "TLIQV",
	"POST /scopes/{tag}/holds":            "TLIP",
	"POST /scopes/{tag}/lifts":            "TLI",
	"POST /scopes/{tag}/requests":         "TLI",
	"POST /scopes/{tag}/repairs":          "TL",
	"POST /scopes/{tag}/files":            "TLI",
	"GET /scopes/{tag}/dossier":           "TLIQV",
	"GET /files/{record}":                 "TLIQV",
	"POST /files/{record}/void":           "TLIP",
	"GET /records/{id}":                   "TLIQV",
	"GET /bench":                          "TL",
	"GET /bench/card":                     "TL",
	"GET /bench/drawings/{model}/{point}": "TL",
	"GET /bench/worker.js":                "*",
	"GET /bench/state":                    "TL",
	"GET /bench/jobs/{tag}":               "TL",
	"POST /bench/acts":                    "TL",
	"GET /people":                         "A",
	"POST /people":                        "A",
	"POST /sign-in/passkey/question":      "*",
	"POST /sign-in/passkey":               "*",
	"POST /unlock/passkey/question":       "*",
	"POST /unlock/passkey":                "*",
	"POST /account/passkeys/question":     "+",
	"POST /account/passkeys":              "+",
	"GET /account":                        "+",
	"POST /account":                       "+",
	"GET /password":                       "*", // for whoever has to choose one; it turns others away itself
	"POST /password":                      "*",
	"GET /sign-in":                        "*",
	"POST /sign-in":                       "*",
	"GET /first-sign-in":                  "*",
	"POST /first-sign-in":                 "*",
	"GET /unlock":                         "*",
	"POST /unlock":                        "*",
	"POST /switch":                        "*",
	"POST /lock":                          "*",
	"POST /sign-out":                      "*",
	"GET /static/{name...}":               "*",
}

var letters = []struct {
	letter string
	role   access.Role
}{
	{"T", access.Technician},
	{"L", access.Lead},
	{"I", access.InfectionPrevention},
	{"P", access.ProcedureRoom},
	{"Q", access.Analyst},
	{"V", access.Auditor},
	{"A", access.Administrator},
}

func TestEveryRouteAndRole(t *testing.T) {
	walksEverything(t)
	b := newSite(t, storetest.NewClock(), "https://test.example")
	filled := b.filled()
	var seen []string
	for _, r := range b.server.Table {
		name := r.Method + " " + r.Path
		seen = append(seen, name)
		who, ok := mayOpen[name]
		if !ok {
			t.Errorf("%s: nobody wrote down who may open it", name)
			continue
		}
		try := func(role access.Role, want bool) {
			change := func(q *http.Request) {
				if strings.HasSuffix(r.Path, "/live") { // a page that never ends: its reader leaves at its first word
					*q = *q.WithContext(context.WithValue(q.Context(), leavesAtOnce{}, true))
				}
				q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			}
			a := b.ask(r.Method, filled.Replace(r.Path), role, change)
			to := a.header.Get("Location")
			turned := a.status == http.StatusSeeOther && (to == "/sign-in" || strings.HasPrefix(to, "/sign-in?"))
			let := a.status != http.StatusForbidden && a.status != http.StatusUnauthorized && !turned
			if let != want {
				t.Errorf("%s as %q: status %d, let in %v, want %v", name, role, a.status, let, want)
			}
		}
		// What opens to everybody may still refuse an empty form; that is not the question here.
		if who == "*" {
			continue
		}
		try(nobody, false)
		for _, l := range letters {
			try(l.role, who == "+" || strings.Contains(who, l.letter))
		}
	}
	for name := range mayOpen {
		if !slices.Contains(seen, name) {
			t.Errorf("%s is written down and does not exist", name)
		}
	}
}

// The permission of every public page is public on purpose.
func TestPublicRoutes(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, r := range b.server.Table {
		page := r.Act.What == ""
		everybody, anyone := r.Act.Anybody || page && r.Need == kit.Public, r.Act.Own || r.Need == kit.SignedIn
		if who := mayOpen[r.Method+" "+r.Path]; everybody != (who == "*") || anyone != (who == "+") {
			t.Errorf("%s %s is %q and needs %q, and %q may open it", r.Method, r.Path, r.Act.What, r.Need, who)
		}
		if page && r.Method != http.MethodGet {
			t.Errorf("%s %s names no act", r.Method, r.Path)
		}
	}
}
