package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// seriesPath is the page of the series that rises.
const seriesPath = "/trends/" + numberedScope + "/" + string(scope.OuterDistalEnd)

// follow clicks the first link whose text holds some words.
func (p *page) follow(within, words string) {
	p.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll(%q)].find((a) => (a.innerText ?? "").replace(/\s+/g, " ").includes(%q))`, within+" a", words)
	p.wait(find)
	from := p.location()
	eval[bool](p, "("+find+".click(), true)")
	p.wait(fmt.Sprintf("location.href !== %q && document.readyState === 'complete'", p.base+from))
}

// Somebody finds a signal in the list and takes it through its life with the mouse and the keyboard.
func TestSignalByClicking(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.allSeries()
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.Ask(e, sampling.Request{Scope: numberedScope, By: "L-01", Reason: "with another lot"})
	})
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	b.clock.Move(6 * time.Minute) // who has signed in must show again who they are
	p.open("/today")
	p.waitText("[aria-labelledby=signals]", "higher since about")
	p.click("[aria-labelledby=signals] a[href^='/signals/']")
	p.waitText("h1", "Signal: "+numberedScope)
	for _, words := range []string{"standard deviations above the baseline", "Most likely since the reading of", "lot 8", "adopted"} {
		p.waitText("main", words)
	}
	p.click("form [value=seen] ~ button")
	p.waitText(".said", "you have seen")
	p.waitText("#main .mark.alert", "seen")

	p.click("details:has([value=explained]) > summary")
	p.set("#explain-cause", "lot")
	p.fill("#explain-words", "lot 8 reads high on every scope")
	p.click("details:has([value=explained]) button")
	p.waitText(".life", "lot 8 reads high on every scope")

	p.click("details:has([value=linked]) > summary")
	p.wait(`document.querySelector("#link-record").options.length > 1`)
	p.fill("#link-other", "no id")
	p.expect(http.StatusBadRequest)
	p.click("details:has([value=linked]) button")
	p.waitText("[role=alert]", "is not a record id")
	p.wait(`document.querySelector("#link-other").value === "no id"`)
	p.set("#link-record", eval[string](p, `document.querySelector("#link-record").options[1].value`))
	p.set("#link-other", "")
	p.click("details:has([value=linked]) button")
	p.waitText(".life", "request of")

	p.click("details:has([value=closed]) > summary")
	p.fill("#close-words", "the lot is gone")
	p.fill("#prove-close", password+"x")
	p.expect(http.StatusForbidden)
	p.click("details:has([value=closed]) button")
	p.waitText("[role=alert]", "not right")
	b.clock.Move(time.Minute) // the next cleaning has to wait
	p.fill("#prove-close", password)
	p.keys("\r")
	p.waitText(".said", "The signal is closed.")

	p.open("/signals")
	p.waitText("main", "No signal is like that.")
	p.set("#f-state", "closed")
	p.click(".filter button")
	p.waitText(".signals", numberedScope)
	if at := p.location(); !strings.Contains(at, "state=closed") {
		t.Errorf("the list is at %s", at)
	}
	p.click(".signals th a")
	p.click("details:has([value=reopened]) > summary")
	p.fill("#reopen-words", "lot 9 reads the same")
	p.click("details:has([value=reopened]) button")
	p.waitText(".said", "open again")

	// The last entry was a mistake.
	p.click(".life li:last-child summary")
	p.fill(".life li:last-child input[name=reason]", "of another scope")
	p.click(".life li:last-child button")
	p.waitText(".life li:last-child", "taken back")
	p.waitText("#main .mark.unknown", "closed")
}

// The controls of a series change its address, and each point leads to its record.
func TestSeriesByClicking(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.allSeries()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	b.clock.Move(6 * time.Minute)
	p.open("/trends?scope=" + numberedScope)
	p.waitText(".series", "higher")
	p.click(".series td a")
	p.waitText("h1", numberedScope+", outer distal end")
	points := `document.querySelectorAll(".wide a[href*='/records/']").length`
	if got := eval[int](p, points); got != readingsEach {
		t.Errorf("%d points lead to records, want %d", got, readingsEach)
	}
	p.set("#c-last", "50")
	p.set("#c-view", "sums")
	p.click("details:has([name=limits]) > summary")
	p.click("[name=limits]")
	p.set("#c-false", "3")
	p.click("[name=charts][value=cusum]")
	p.click("[name=charts][value=individuals]")
	p.click(".choices .filter button")
	p.waitText("main", "These limits are tried out.")
	q, err := url.Parse(p.location())
	if err != nil {
		t.Fatal(err)
	}
	for field, want := range map[string]string{
		"last": "50", "view": "sums", "limits": "trial", "false-signals": "3", "charts": "ewma", "system": "A",
		"kit": "K",
	} {
		if got := q.Query().Get(field); got != want {
			t.Errorf("%s = %q in the address, want %q", field, got, want)
		}
	}
	p.waitText("[aria-labelledby=limits]", "ewma")
	if text := p.text("[aria-labelledby=limits]"); strings.Contains(text, "cusum") || strings.Contains(text, "individuals") {
		t.Errorf("charts that are off:\n%s", text)
	}
	p.click(".over a")
	p.waitText("main", "came with lot 8")

	// Adopting is a signature.
	p.follow("main", "Adopt a baseline and limits")
	p.waitText("[aria-labelledby=adopt]", "Would be adopted: 62 readings")
	p.fill("#prove-adopt", password)
	p.click("[aria-labelledby=adopt] form button")
	p.waitText(".said", "adopted")
	p.waitText("[aria-labelledby=baseline]", "adopted, record")
	p.click(".wide a[href*='/records/']")
	p.waitText("main", "Reading")
	if at := p.location(); !strings.HasPrefix(at, "/records/") {
		t.Errorf("the point leads to %s", at)
	}
}

// Before the series were looked at for the first time pages say so and wait for nothing.
func TestNumbersBeforeTheFirstLook(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for path, want := range map[string]string{
		"/trends":   "The series are being computed",
		"/signals":  "The series are being computed",
		"/failures": "The cleaning verifications are being computed",
		"/trends/" + readyScope + "/" + string(scope.OuterDistalEnd): "The series are being computed",
		"/scopes/" + readyScope: "being computed",
	} {
		if a := b.ask(http.MethodGet, path, access.Lead); a.status != http.StatusOK || !strings.Contains(a.body, want) {
			t.Errorf("%s: status %d, want %q", path, a.status, want)
		}
	}
	for _, path := range []string{"/trends?format=csv", "/signals?format=csv", "/failures?format=csv"} {
		if a := b.ask(http.MethodGet, path, access.Lead); a.status != http.StatusServiceUnavailable {
			t.Errorf("%s: status %d", path, a.status)
		}
	}
	a := b.send("/trends/"+readyScope+"/outer-distal-end", access.Lead, map[string]string{"id": "01890a5d-ac96-774b-bcce-b302099a8057", "secret": password})
	if a.status != http.StatusServiceUnavailable && a.status != http.StatusInternalServerError {
		t.Errorf("adopting before: status %d", a.status)
	}
	if id := ledger.DerivedID("none"); b.ask(http.MethodGet, "/signals/"+string(id), access.Lead).status != http.StatusServiceUnavailable {
		t.Error("a signal is known before the first look")
	}
}

func TestNumbersPages(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	id := b.allSeries()
	for _, c := range []struct {
		path   string
		role   access.Role
		status int
		want   []string
		not    []string
	}{
		{"/trends", access.Analyst, 200, []string{"D-09", "elevator-recess", "1 have an adopted baseline, 1 a provisional one", "format=csv"}, nil},
		{"/trends?standing=moved-up", access.Lead, 200, []string{">1 of", "outer-distal-end"}, []string{">elevator-recess<span"}},
		{"/trends?kind=gastroscope", access.Lead, 200, []string{"No series is like that."}, nil},
		{"/trends?page=0", access.Lead, 400, []string{"There is no page 0."}, nil},
		{"/trends?page=99", access.Lead, 200, []string{"D-09"}, nil},
		{"/trends?format=pdf", access.Lead, 400, []string{"no such format"}, nil},
		{"/trends/D-01/balloon", access.Lead, 404, []string{"has no reading at balloon"}, nil},
		{seriesPath + "?system=B&kit=K", access.Lead, 404, []string{"has no reading that counts"}, nil},
		{seriesPath + "?view=pie", access.Lead, 400, []string{"There is no chart"}, nil},
		{seriesPath + "?last=none", access.Lead, 400, []string{"readings cannot be shown"}, nil},
		{seriesPath + "?last=all", access.Lead, 200, []string{"62 of 62 readings"}, nil},
		{seriesPath + "?from=2026-02-20&to=2026-02-25", access.Lead, 200, []string{"6 of 62 readings"}, nil},
		{seriesPath + "?from=2027-01-01", access.Lead, 200, []string{"No reading in that time."}, nil},
		{seriesPath + "?from=yesterday", access.Lead, 400, []string{"This is no day: yesterday."}, nil},
		{seriesPath + "?limits=trial&false-signals=0&charts=ewma", access.Lead, 400, []string{"no number over 0"}, nil},
		{seriesPath + "?limits=trial&false-signals=1&charts=rule", access.Lead, 400, []string{"There is no chart"}, nil},
		{seriesPath + "?limits=trial&false-signals=1&charts=ewma&rules=9", access.Lead, 400, []string{"There is no run rule"}, nil},
		{seriesPath + "?limits=trial&false-signals=1", access.Lead, 400, nil, nil},
		{seriesPath, access.Auditor, 200, []string{"came with lot 8"}, []string{"Adopt a baseline"}},
		{"/signals", access.Auditor, 200, []string{"D-09", "In all 1 are new"}, nil},
		{"/signals?state=gone", access.Lead, 200, []string{"No signal is like that."}, nil},
		{"/signals?state=mood", access.Lead, 400, []string{"There is no state"}, nil},
		{"/signals?since=2026-03-01", access.Lead, 200, []string{"No signal is like that."}, nil},
		{"/signals?direction=higher&point=outer-distal-end&scope=d-09", access.Lead, 200, []string{"lot 8"}, nil},
		{"/signals/" + id, access.Auditor, 200, []string{"nothing yet"}, []string{"I have seen it"}},
		{"/signals/none", access.Lead, 404, []string{"There is no signal none."}, nil},
		{"/signals/" + string(ledger.DerivedID("none")), access.Lead, 404, []string{"nobody has acted on it"}, nil},
		{"/failures?by=mood", access.Lead, 400, nil, nil},
		{"/failures?from=2026-02-20&to=2026-02-19", access.Lead, 400, []string{"is empty"}, nil},
		{"/failures?scope=d-09&by=month", access.Lead, 200, []string{"first tests were over the action level", "Overall"}, nil},
		{"/failures?view=gaps&by=day", access.Lead, 200, []string{"The same in a table"}, nil},
		{"/scopes/" + numberedScope, access.Lead, 200, []string{"Signals that are not closed", "/signals/" + id}, nil},
		{"/today", access.Lead, 200, []string{"/signals/" + id}, nil},
		{"/today", access.Technician, 200, []string{"higher since about"}, []string{"/signals/"}},
	} {
		a := b.ask(http.MethodGet, c.path, c.role)
		if a.status != c.status {
			t.Errorf("%s: status %d, want %d", c.path, a.status, c.status)
		}
		for _, want := range c.want {
			if !strings.Contains(a.body, want) {
				t.Errorf("%s does not show %q:\n%s", c.path, want, a.body[strings.Index(a.body, "<main")+1:])
			}
		}
		for _, not := range c.not {
			if strings.Contains(a.body, not) {
				t.Errorf("%s shows %q", c.path, not)
			}
		}
	}
}

func TestNumbersAsFiles(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.allSeries()
	for path, want := range map[string]string{
		"/trends?scope=D-09&format=csv":            "D-09,outer-distal-end,duodenoscope,A,K,62,adopted,3",
		seriesPath + "?last=3&format=csv":          ",251,6.",
		"/signals?format=csv":                      ",D-09,outer-distal-end,A,K,higher,new,open,",
		"/failures?scope=d-09&by=month&format=csv": "2026-02-01,28,6,",
	} {
		a := b.ask(http.MethodGet, path, access.Analyst)
		if a.status != http.StatusOK || !strings.Contains(a.body, want) {
			t.Errorf("%s: status %d, want a line with %q:\n%s", path, a.status, want, a.body)
		}
		if a := b.ask(http.MethodGet, strings.Replace(path, "csv", "xlsx", 1), access.Analyst); a.status != http.StatusOK || !strings.HasPrefix(a.body, "PK") {
			t.Errorf("%s as XLSX: status %d", path, a.status)
		}
	}
	if n := strings.Count(b.ask(http.MethodGet, seriesPath+"?last=3&format=csv", access.Analyst).body, "\r\n"); n != 4 {
		t.Errorf("%d lines for 3 readings", n)
	}
}

// The half year that is looked at when nobody asks for another time begins with the day that the form shows.
func TestFailuresBeginWithADay(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.allSeries()
	zone := b.desk.DB.Zone()
	day := b.at().AddDays(-failuresBack, zone).Time().In(zone).Format(time.DateOnly)
	begin, err := time.ParseInLocation(time.DateOnly, day, zone)
	if err != nil {
		t.Fatal(err)
	}
	first := unit.At(begin)
	if first.Add(time.Hour) > b.at().AddDays(-failuresBack, zone) {
		t.Fatalf("the clock shows %s: too early in the day to tell", b.at().In(zone))
	}
	err = b.desk.DB.Write(b.Context(), func(tx *store.Tx) error {
		if err := b.measured(tx, scope.OuterDistalEnd, first.Add(-13*time.Hour), 1, false); err != nil {
			return err
		}
		return b.measured(tx, scope.OuterDistalEnd, first, 1, false)
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.server.LookAtSeries(b.Context()); err != nil {
		t.Fatal(err)
	}
	usual := b.ask(http.MethodGet, "/failures?by=day&format=csv", access.Analyst).body
	named := b.ask(http.MethodGet, "/failures?by=day&format=csv&from="+day, access.Analyst).body
	if !strings.Contains(usual, "\n"+day+",1,0,") {
		t.Errorf("the first test of %s is not counted:\n%s", day, usual)
	}
	if usual != named {
		t.Errorf("without a time:\n%s\nfrom %s on:\n%s", usual, day, named)
	}
}

// A long list comes in pages that follow on each other.
func TestPagesOfReadings(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.allSeries()
	rows := regexp.MustCompile(`<th scope="row"><a href="/records/[^"]*">(2\d{3}-[^<]*)<`)
	var all []string
	for path := seriesPath; path != ""; {
		body := b.ask(http.MethodGet, path, access.Lead).body
		for _, m := range rows.FindAllStringSubmatch(body, -1) {
			all = append(all, m[1])
		}
		next := regexp.MustCompile(`<a class="button plain" href="([^"]*)" rel="next">`).FindStringSubmatch(body)
		if path = ""; next != nil {
			path = strings.ReplaceAll(next[1], "&amp;", "&")
		}
	}
	if len(all) != readingsEach || !slices.IsSortedFunc(all, func(a, b string) int { return strings.Compare(b, a) }) {
		t.Errorf("%d readings on the pages, want %d, the newest first", len(all), readingsEach)
	}
}

// What people did stays when the readings that raised a signal are taken back, and the pages say what
// happened.
func TestSignalThatIsGone(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.allSeries()
	signal := b.signals(numberedScope)[0]
	b.handle(signal, trend.Handling{Act: trend.Seen})
	void := func(id ledger.ID) {
		b.clock.Move(time.Second)
		b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			e.Corrects, e.Reason, e.Second = id, "of another scope", access.Operator("L-02") // a reading at a level takes two
			return w.Void(e)
		})
	}
	page := func() string {
		t.Helper()
		b.allSeries()
		a := b.ask(http.MethodGet, "/signals/"+string(signal.ID), access.Lead)
		if a.status != http.StatusOK {
			t.Fatalf("status %d:\n%s", a.status, a.body)
		}
		return a.body
	}
	void(signal.Reading)
	if body := page(); !strings.Contains(body, "Its beginning has moved") || strings.Contains(body, "No longer raised") {
		t.Errorf("after the first reading was voided:\n%s", body)
	}
	b.look(func(v desk.View) error {
		points, err := v.Numbers().SeriesIn(signal.Series, b.at(), desk.UsualWatching(), 60)
		for _, p := range points.Points[firstHigher-1:] {
			void(p.ID)
		}
		return err
	})
	if body := page(); !strings.Contains(body, "No longer raised") || !strings.Contains(body, "<b>seen</b>") {
		t.Errorf("after all were voided:\n%s", body)
	}
	if body := b.ask(http.MethodGet, "/signals?state=gone", access.Lead).body; !strings.Contains(body, "no longer raised</span>") {
		t.Errorf("the list of those that are gone:\n%s", body)
	}
}

// Forms about signals store once, refuse what makes no sense, and keep what was typed.
func TestActsAboutSignals(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	path := "/signals/" + b.allSeries()
	id := func(n int) string { return fmt.Sprintf("01890a5d-ac96-774b-bcce-b302099a80%02d", n) }
	for i, c := range []struct {
		path   string
		role   access.Role
		fields map[string]string
		status int
		want   string
	}{
		{"/acts", access.Lead, map[string]string{"id": id(0), "act": "forgotten"}, 400, "nothing that is done"},
		{"/acts", access.Lead, map[string]string{"id": id(0), "act": "closed", "words": "x"}, 400, "nothing that is done"},
		{"/closing", access.Lead, map[string]string{"id": id(0), "act": "closed", "words": "x", "secret": password}, 409, "Say first what was behind the signal"},
		{"/acts", access.InfectionPrevention, map[string]string{"id": id(1), "act": "seen"}, 303, ""},
		{"/acts", access.InfectionPrevention, map[string]string{"id": id(1), "act": "seen"}, 303, ""},
		{"/acts", access.Lead, map[string]string{"id": id(2), "act": "explained", "cause": "mood", "words": awkward}, 400, "Choose a cause"},
		{"/acts", access.Lead, map[string]string{"id": id(2), "act": "linked"}, 400, "Choose a record"},
		{"/acts", access.Lead, map[string]string{"id": "none", "act": "seen"}, 400, "is not a record id"},
		{"/acts", access.Lead, map[string]string{"id": id(2), "act": "explained", "cause": "lot", "words": awkward}, 303, ""},
		{"/closing", access.InfectionPrevention, map[string]string{"id": id(3), "act": "closed", "words": "x", "secret": "wrong " + password}, 403, "not right"},
		{"/closing", access.InfectionPrevention, map[string]string{"id": id(3), "act": "seen"}, 400, "nothing that is done"},
		{"/void", access.InfectionPrevention, map[string]string{"id": id(4), "act": id(2), "reason": "x"}, 403, ""},
		{"/void", access.Lead, map[string]string{"id": id(4), "act": id(2), "reason": " "}, 400, "Say why"},
		{"/void", access.Lead, map[string]string{"id": id(4), "act": id(9), "reason": "x"}, 404, "no such entry"},
		{"/void", access.Lead, map[string]string{"id": id(4), "act": id(2), "reason": "x"}, 303, ""},
	} {
		b.clock.Move(time.Second)
		if strings.HasPrefix(c.fields["secret"], "wrong") { // longer than a proof of who signs holds
			b.clock.Move(5 * time.Minute)
		}
		a := b.send(path+c.path, c.role, c.fields)
		if a.status != c.status || !strings.Contains(a.body, c.want) {
			t.Errorf("%d: %s with %v: status %d, want %d and %q:\n%s", i, c.path, c.fields, a.status, c.status, c.want, a.body)
		}
		if c.fields["words"] == awkward && a.status == 400 && !strings.Contains(a.body, "&lt;b&gt;dent&lt;/b&gt;") {
			t.Errorf("%d: what was typed is lost", i)
		}
	}
	b.look(func(v desk.View) error {
		life, err := v.Numbers().Life(ledger.ID(strings.TrimPrefix(path, "/signals/")))
		if len(life.Acts) != 2 || life.State != trend.LifeSeen {
			t.Errorf("%d acts, %s", len(life.Acts), life.State)
		}
		return err
	})
	if a := b.send(path+"/acts", access.Technician, map[string]string{"id": id(5), "act": "explained"}); a.status != http.StatusForbidden {
		t.Errorf("a technician: status %d", a.status)
	}
}

// Codes of people are hidden until somebody asks for them.
func TestPeopleAreHidden(t *testing.T) {
	t.Parallel()
	coincides := []string{"lot 8", desk.CleanedBy + " T-07"}
	if got, want := withWords(coincides, false), "lot 8, cleaned by one person"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := withWords(coincides, true), "lot 8, cleaned by T-07"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if coincides[1] != desk.CleanedBy+" T-07" {
		t.Error("the signal itself was changed")
	}
}

// However often something is recorded, looking at the series takes a twentieth of one processor at most.
func TestRest(t *testing.T) {
	t.Parallel()
	for _, took := range []time.Duration{0, time.Millisecond, time.Second, 20 * time.Second} {
		if share := float64(took) / float64(took+rest(took)); share > 0.05 || rest(took) < watchEvery {
			t.Errorf("after a look of %s a rest of %s", took, rest(took))
		}
	}
}
