package web

import (
	"encoding/csv"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/present/words"
	"rinsate/internal/store/storetest"
)

// A technician sees on the board that a meter was never checked, checks it with the keyboard, and is told
// at once that it may be used.
func TestCheckMeter(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Technician)
	p.open("/today")
	p.followTo(`[aria-labelledby=meters] a[href$="/meters/M-2"]`)
	p.waitText("h1", "Meter M-2")
	p.waitText(".headline", "never checked")
	p.fill("#value-positive", "99.5")
	p.expect(http.StatusBadRequest)
	p.keys("\r")
	p.waitText("[role=alert]", "whole number from 0 to 9999999")
	if got := eval[string](p, `document.querySelector("#value-positive").value`); got != "99.5" {
		t.Errorf("what was typed is gone: %q", got)
	}
	p.wipe("#value-positive")
	p.fill("#value-positive", "1003")
	p.keys("\t\t2\r") // the next field is what the blank was, then its value
	p.waitText("#outcome", "accepted")
	p.waitText("#outcome", "The meter may be used")
	p.waitText(".headline", "good until tomorrow 00:00")
	p.reload() // sending again stores nothing and tells the same
	p.waitText("#outcome", "accepted")
	p.click(`#outcome a[href$="/bench"]`)
	p.waitFor("#scan")
}

// A failed check is told with what to do next and with the readings that it throws doubt on, each of which
// leads to its record and its scope.
func TestFailedCheck(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	p.open("/meters/M-1#check")
	p.fill("#value-positive", "500")
	p.fill("#value-blank", "2")
	p.press("section form", "Record the check")
	p.waitText("#outcome", "refused")
	p.waitText("#outcome", "do not use the meter")
	p.waitText("#outcome", "5 readings are in doubt")
	p.waitText(".headline", "outside its limits (500 RLU")
	doubts := p.text("section[aria-labelledby=doubts]")
	for _, want := range []string{readyScope, heldScope, "outer distal end", "elevator recess", "30 RLU", "250 RLU"} {
		if !strings.Contains(doubts, want) {
			t.Errorf("%q is not among the readings in doubt:\n%s", want, doubts)
		}
	}
	p.click(`section[aria-labelledby=doubts] td a[href*="/records/"]`)
	p.waitText("h1", "Reading")
	p.open("/meters/M-1")
	p.click(`section[aria-labelledby=doubts] th a`)
	p.waitText("h1", readyScope)
	file := b.ask(http.MethodGet, "/meters/M-1?format=csv&list=doubts", access.Lead)
	if rows := csvTable(t, file); len(rows) != 6 || rows[0][0] != "scope" {
		t.Errorf("the file of readings in doubt: %q", rows)
	}
	if rows := csvTable(
		t,
		b.ask(http.MethodGet, "/meters/M-1?format=csv", access.Lead),
	); len(rows) != 3 || rows[1][2] != "refused" ||
		rows[2][2] != "accepted" {
		t.Errorf("the file of checks: %q", rows)
	}
}

// The bench refuses a meter that is not checked and says where it is.
func TestBenchLeadsToCheck(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	_, p := atBench(t)
	p.scan("M-2")
	p.waitText("#said", "Check it before it is used")
	p.click("#said a")
	p.waitText("h1", "Meter M-2")
	p.fill("#value-positive", "1000")
	p.fill("#value-blank", "1")
	p.press("section form", "Record the check")
	p.waitText("#outcome", "accepted")
	p.click(`#outcome a[href$="/bench"]`)
	p.waitText("#network", "all stored")
	p.scan("M-2")
	p.waitText("#said", "Meter M-2.")
}

// What is typed wrongly, twice, by somebody who may not, or for a meter that is not there, stores nothing.
func TestCheckForms(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	good := map[string]string{
		"material-positive": materialValue("light", ""),
		"value-positive":    "1000",
		"material-blank":    materialValue("empty chamber", ""),
		"value-blank":       "2",
	}
	with := func(change map[string]string) map[string]string {
		form := maps.Clone(good)
		form["id"] = b.newID()
		maps.Copy(form, change)
		return form
	}
	before := len(b.checksOf("M-2"))
	for _, test := range []struct {
		name, meter string
		role        access.Role
		change      map[string]string
		status      int
		want        string
	}{
		{"nothing", "M-2", access.Technician, map[string]string{"value-positive": "", "value-blank": " "}, http.StatusBadRequest, "at least one control"},
		{"negative", "M-2", access.Technician, map[string]string{"value-positive": "-1"}, http.StatusBadRequest, "The positive control cannot be"},
		{"too large", "M-2", access.Technician, map[string]string{"value-blank": "10000000"}, http.StatusBadRequest, "The blank control cannot be"},
		{"words", "M-2", access.Technician, map[string]string{"value-positive": "many"}, http.StatusBadRequest, "whole number"},
		{"no material", "M-2", access.Technician, map[string]string{"material-blank": ""}, http.StatusBadRequest, "what was read as the blank control"},
		{"another without a name", "M-2", access.Technician, map[string]string{"other-value": "3"}, http.StatusBadRequest, "Name the material"},
		{
			"a kind that is not known", "M-2", access.Technician,
			map[string]string{"other-value": "3", "other-material": "x", "other-kind": "odd"},
			http.StatusBadRequest, "is not known",
		},
		{"no time", "M-2", access.Technician, map[string]string{"at": "soon"}, http.StatusBadRequest, "no date and time"},
		{"the future", "M-2", access.Technician, map[string]string{"at": "2027-01-01T08:00"}, http.StatusBadRequest, "future"},
		{"no id", "M-2", access.Technician, map[string]string{"id": ""}, http.StatusBadRequest, "send the form again"},
		{"no such meter", "M-9", access.Technician, nil, http.StatusNotFound, "not known"},
		{"an auditor", "M-2", access.Auditor, nil, http.StatusForbidden, "not for your roles"},
	} {
		a := b.send("/meters/"+test.meter+"/checks", test.role, with(test.change))
		if a.status != test.status || !strings.Contains(a.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%s", test.name, a.status, test.status, test.want, a.body)
		}
	}
	if n := len(b.checksOf("M-2")); n != before {
		t.Errorf("%d checks were stored", n-before)
	}
	form := with(map[string]string{"serviced": "new lamp"})
	for range 2 {
		if a := b.send("/meters/M-2/checks", access.Lead, form); a.status != http.StatusSeeOther || !strings.HasSuffix(a.header.Get("Location"), "#outcome") {
			t.Fatalf("status %d: %s", a.status, a.body)
		}
		b.clock.Move(90 * time.Second) // sent again later, it is still the same check
	}
	checks := b.checksOf("M-2")
	if len(checks) != before+1 || checks[0].Serviced != "new lamp" || checks[0].By != codeOf(access.Lead) {
		t.Errorf("sent twice: %+v", checks)
	}
	for path, status := range map[string]int{"?check=" + form["id"]: http.StatusOK, "?check=x": http.StatusNotFound, "?check=" +
		b.anyRecord(readyScope): http.StatusNotFound} {
		if a := b.ask(http.MethodGet, "/meters/M-2"+path, access.Technician); a.status != status {
			t.Errorf("%s: status %d, want %d", path, a.status, status)
		}
	}
	if a := b.ask(http.MethodGet, "/meters/M-1?check="+form["id"], access.Technician); a.status != http.StatusNotFound {
		t.Errorf("a check of another meter: status %d", a.status)
	}
}

func (b *site) checksOf(meter string) (list []desk.CheckLine) {
	b.Helper()
	b.look(func(v desk.View) (err error) {
		list, err = v.Measuring().Checks(meter, 0, b.at())
		return err
	})
	return list
}

// csvTable reads an answer as CSV.
func csvTable(t *testing.T, a answer) [][]string {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(a.body, "\ufeff"))).ReadAll()
	if err != nil || a.status != http.StatusOK {
		t.Fatalf("status %d, %v:\n%s", a.status, err, a.body)
	}
	return rows
}

// followTo opens a link of a page that may be renewed meanwhile.
func (p *page) followTo(css string) {
	p.Helper()
	p.waitFor(css)
	p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("void document.querySelector(%q).click()", css)))
}

func TestMetersList(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.plant()
	b.failedCheck()
	rows := csvTable(t, b.ask(http.MethodGet, "/meters?format=csv", access.Analyst))
	if len(rows) != 4 {
		t.Fatalf("%q", rows)
	}
	for i, want := range [][]string{{"M-1", "checked", "2026-03-03 00:00"}, {"M-2", "never checked", ""}, {"M-3", "failed", ""}} {
		if got := []string{rows[i+1][0], rows[i+1][3], rows[i+1][4]}; !slices.Equal(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := rows[3]; got[9] != "calibrated by the maker's service" || got[7] != "refused" ||
		!strings.Contains(got[5], "outside its limits (600 RLU, limits 900 to 1100)") {
		t.Errorf("the meter that failed: %q", got)
	}
	for i, want := range []string{"5 since the last check", "21 in the last 7 days", "0 since the last check"} {
		if got := rows[i+1][10]; got != want {
			t.Errorf("readings with %s: %q, want %q", rows[i+1][0], got, want)
		}
	}
	if rows := csvTable(t, b.ask(http.MethodGet, "/meters?format=csv&state=failed&q=081", access.Lead)); len(rows) != 2 || rows[1][0] != "M-3" {
		t.Errorf("narrowed down: %q", rows)
	}
	if a := b.ask(http.MethodGet, "/meters?format=csv", access.Technician); a.status != http.StatusForbidden {
		t.Errorf("a technician takes the list: status %d", a.status)
	}
	for path, want := range map[string]string{
		"/meters?q=nothing": "No meter is like that.", "/meters/M-2": "No check in this time.",
		"/meters/M-1?from=2026-02-01&to=2026-01-01": "ends before it begins", "/meters/M-9": "is not known",
	} {
		if a := b.ask(http.MethodGet, path, access.Auditor); !strings.Contains(a.body, want) {
			t.Errorf("%s: status %d, want %q", path, a.status, want)
		}
	}
	page := b.ask(http.MethodGet, "/meters/M-3", access.Auditor).body
	for _, want := range []string{
		"own 961 to 1049 RLU about 1004 RLU", "Of 6 later checks 1 would have been refused", "900 to 1100 RLU",
		"calibrated by the maker",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page of the meter lacks %q", want)
		}
	}
	if strings.Contains(page, "Record the check") {
		t.Error("an auditor is offered to record a check")
	}
	b.clock.Move(24 * time.Hour)
	b.look(func(v desk.View) error {
		l, err := v.Measuring().MeterLine("M-1", b.at())
		if m := conditionMark(words.US, l.State); m.Word != "check due" {
			t.Errorf("the day after: %+v", m)
		}
		return err
	})
}
