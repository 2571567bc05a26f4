package web

import (
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

// While an invented year is recorded every page says so, people come in and look, and nothing is written;
// from its end on the pages are like all others.
func TestWhileTheYearIsRecorded(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Lead)
	b.session(access.Administrator)
	b.session(access.InfectionPrevention)
	share, more := 0.436, true
	pages, err := New(b.desk, Options{
		Base: b.server.Base, Clock: b.clock.Now, Log: slog.New(slog.DiscardHandler), Demo: true, Wall: true, Door: b.server.Door,
		Filling: func() (float64, bool) { return share, more },
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(pages.imports.end)
	b.server = pages
	size := func() int64 { return storetest.StateOf(t, b.desk.DB).Size }
	form := func(values url.Values) func(*http.Request) {
		return func(r *http.Request) {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set("Origin", "https://test.example")
			r.PostForm, r.Form = values, values
		}
	}
	const line = "The invented year is being recorded: 2 March, 43 %."
	for path, role := range map[string]access.Role{
		"/today": access.Lead, "/wall": nobody, "/sign-in": nobody, "/ready/" + readyScope: nobody,
		"/records": access.Lead, "/help": access.Lead, "/nowhere": access.Lead,
	} {
		if a := b.ask(http.MethodGet, path, role); !strings.Contains(a.body, line) {
			t.Errorf("%s does not say that the year is recorded:\n%.600s", path, a.body)
		}
	}
	if a := b.ask(http.MethodGet, "/filling", nobody); a.status != http.StatusOK || !strings.HasPrefix(a.body, line) {
		t.Errorf("asked for news: %d, %s", a.status, a.body)
	}
	if a := b.ask(
		http.MethodPost,
		"/sign-in",
		nobody,
		form(url.Values{"code": {codeOf(access.Lead)}, "password": {password}}),
	); a.status != http.StatusSeeOther ||
		a.header.Get("Set-Cookie") == "" {
		t.Errorf("signing in: %d\n%.600s", a.status, a.body)
	}
	before := size()
	for _, r := range pages.Table {
		if r.Method != http.MethodPost || slices.Contains([]string{"/sign-in", "/sign-out", "/switch", "/lock", "/unlock"}, r.Path) {
			continue
		}
		role := access.Lead
		switch {
		case r.Act.Anybody:
			role = nobody
		case !r.Act.Own && !slices.Contains(r.Act.Roles(), role):
			role = access.Administrator
			if !slices.Contains(r.Act.Roles(), role) {
				role = access.InfectionPrevention
			}
		}
		if a := b.ask(
			http.MethodPost,
			strings.NewReplacer("{tag}", readyScope).Replace(r.Path),
			role,
			form(url.Values{}),
		); a.status != http.StatusServiceUnavailable ||
			!strings.Contains(a.body, "still being recorded, so that nothing can be written yet.") {
			t.Errorf("%s: status %d\n%.400s", r.Path, a.status, a.body)
		}
	}
	if after := size(); after != before {
		t.Errorf("%d records were written meanwhile", after-before)
	}
	share = 1
	if a := b.ask(http.MethodGet, "/filling", nobody); !strings.Contains(a.body, " 99 %") {
		t.Errorf("just before the end: %s", a.body)
	}
	more = false
	if a := b.ask(http.MethodGet, "/today", access.Lead); strings.Contains(a.body, "data-filling") {
		t.Error("the line stays when the year is complete")
	}
	if a := b.ask(http.MethodGet, "/filling", nobody); a.status != http.StatusGone || !strings.Contains(a.body, "is complete") {
		t.Errorf("asked for news at the end: %d, %s", a.status, a.body)
	}
	if a := b.ask(http.MethodPost, "/today", access.Lead, form(url.Values{"text": {"two loaners come at noon"}})); a.status == http.StatusServiceUnavailable {
		t.Errorf("a note at the end: %d\n%.600s", a.status, a.body)
	}
}
