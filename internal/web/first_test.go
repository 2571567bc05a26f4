package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/base/text"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/reading"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// first is a first run that a test drives. It begins without a ledger:
//
//	f := firstRun(t, storetest.NewClock())
//	p := f.browser()         // a page at the form of the first run
//	f.begin(p)               // fills the form in and sends it: one meter system, one kit, the lead L-01
//	b := f.site()            // the site that has begun, as other tests have it; p is signed in to it
//
// From there a test describes the facility by its forms or by files (bring), brings a cycle
// (bringCycle), has the meter M-1 checked, and does the first test (firstTest), which needs a
// duodenoscope D-01, levels, and what the form of the first run named. The clock goes on by itself, as
// bench work needs it to.
type first struct {
	testing.TB
	*First
	clock *storetest.Clock
	dir   string
}

// firstRun serves a first run on this computer until the test ends.
func firstRun(tb testing.TB, clock *storetest.Clock, change ...func(*FirstOptions)) *first {
	tb.Helper()
	listener, err := new(net.ListenConfig).Listen(tb.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	_, port, err := net.SplitHostPort(listener.Addr().String())
	if err != nil {
		tb.Fatal(err)
	}
	o := FirstOptions{
		Home: func(dir string) store.Home { return sqlite.Folder(dir) },
		Base: &url.URL{Scheme: "http", Host: "localhost:" + port}, Dir: filepath.Join(tb.TempDir(), "data"), Zone: "Europe/Berlin", Terms: record.TermsUS,
		Clock: clock.Now,
		Log:   slog.New(slog.NewTextHandler(tb.Output(), nil)), Cost: access.Cost{Memory: 8, Passes: 1, Lanes: 1},
	}
	for _, f := range change {
		f(&o)
	}
	served, err := NewFirst(o)
	if err != nil {
		tb.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.WithoutCancel(tb.Context()))
	ended := make(chan error, 1)
	go func() { ended <- served.Run(ctx, listener) }()
	tb.Cleanup(func() {
		stop()
		if err := <-ended; err != nil && !errors.Is(err, http.ErrServerClosed) {
			tb.Error(err)
		}
	})
	tick(tb, clock)
	return &first{tb, served, clock, o.Dir}
}

// browser opens the printed address in a browser.
func (f *first) browser() *page {
	f.Helper()
	p := openPage(f, f.Base.String())
	p.open("/first-run/" + f.secret)
	p.waitText("h1", "First run")
	return p
}

// begin fills the form in and sends it.
func (f *first) begin(p *page) {
	f.Helper()
	for _, x := range [][2]string{
		{"#name", "Example clinic"},
		{"#system", "example-system"},
		{"#meter", "M-1"},
		{"#kit", "example-kit"},
		{"#lot", "A17"},
		{"#code", "L-01"},
		{"#person", "Kim Muster"},
		{"#password", password},
		{"#again", password},
	} {
		p.fill(x[0], x[1])
	}
	p.set("#until", f.clock.Now().AddDate(0, 6, 0).Format(time.DateOnly))
	p.wait(`document.querySelector("#site").value === "EC"`) // suggested from the name
	p.click("form button.go")
	p.waitText("h1", "has begun")
}

// site returns the site that has begun.
func (f *first) site() *site {
	f.Helper()
	s := f.begun()
	if s == nil {
		f.Fatal("nothing has begun")
	}
	return &site{TB: f, desk: s.Desk, clock: f.clock, server: s, tokens: map[access.Role]string{}}
}

// none fails the test when there is a ledger.
func (f *first) none(why string) {
	f.Helper()
	if err := sqlite.Folder(f.dir).Vacant(); err != nil {
		f.Errorf("%s: %v", why, err)
	}
}

// bring uploads a file of a kind, tries it and stores it, and stands on the page that says so.
func (p *page) bring(kind desk.Kind, content string) {
	p.Helper()
	name := filepath.Join(p.TempDir(), string(kind)+".csv")
	if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
		p.Fatal(err)
	}
	p.open("/import/" + string(kind))
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{name}))
	p.click(".import-upload button")
	p.waitText("h1", string(kind)+".csv")
	p.click(`[value="try"]`)
	p.waitText("#tried", "What would happen")
	if eval[bool](p, `document.querySelector("#secret") !== null`) {
		p.fill("#secret", password)
	}
	p.click(`[value="store"]`)
	p.waitText("#stored", "Stored")
}

// rows makes a file of rows; the columns are separated by commas.
func fileOf(rows ...string) string { return strings.Join(rows, "\n") + "\n" }

// From nothing to the first test in the browser, from files: the facility begins, is read in with the
// wizard, a meter is checked, and a whole verification is done at the bench.
func TestFromNothingByFiles(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	f := firstRun(t, storetest.NewClock())
	p := f.browser()
	f.begin(p)
	p.inspect("first-run-begun")
	p.click(`main a[href="/import"]`)
	p.waitText("h1", "Import")
	if got := p.text(".import-kinds"); !strings.Contains(got, "1 registered") {
		t.Errorf("what the first run registered is not told:\n%s", got)
	}
	b := f.site()
	long := b.minutes(-60 * 24 * 30)
	p.bring(desk.Models, desk.Example(desk.Models))
	p.bring(desk.Fleet, fileOf("tag,serial,model,owner,in_service", "D-01,X1001,Example D,own,"+long))
	p.bring(desk.People, fileOf("person,role", "T-01,technician", "N-01,procedure room"))
	var levels strings.Builder
	for _, point := range []string{"outer-distal-end", "elevator-recess", "instrument-channel"} {
		fmt.Fprintf(&levels, "\nexample-system,example-kit,%s,100,200,over,facility baseline,1,L-01,%s", point, long)
	}
	p.bring(desk.Levels, "system,kit,point,alert,action,comparison,source,edition,adopted_by,adopted"+levels.String()+"\n")
	p.bring(desk.Targets, fileOf(
		"system,kind,material,low,high,source,edition,adopted_by,adopted",
		"example-system,positive,light cell,300,3000,meter instructions,1,L-01,"+long,
		"example-system,blank,empty chamber,,10,meter instructions,1,L-01,"+long,
	))
	p.bringCycle(b)
	p.bring(
		desk.Checks,
		fileOf("meter,at,person,positive,positive_material,blank,blank_material", "M-1,"+b.minutes(-5)+",T-01,1012,light cell,1,empty chamber"),
	)
	p.firstTest(b)
}

// From nothing to the first test in the browser, from forms: model, scope, people, targets, levels and the
// check of the meter are typed. Uses and steps come from other systems, so they are a file here too.
func TestFromNothingByForms(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	f := firstRun(t, storetest.NewClock())
	p := f.browser()
	f.begin(p)
	b := f.site()
	p.open("/set-up")
	if got := p.text("main"); !strings.Contains(got, "Register a model") {
		t.Errorf("the overview does not say what is missing:\n%s", got)
	}
	signed := func(button string) {
		t.Helper()
		if eval[bool](p, `document.querySelector("#secret") !== null`) {
			p.fill("#secret", password)
		}
		p.press("form.long", button)
	}
	p.open("/set-up/register/model")
	p.fill("#f-name", "Example D")
	p.set("#f-kind", "duodenoscope")
	p.click("#f-elevator")
	p.fill("#f-outer", "13")
	p.click("details:has(#f-instrument-there) > summary")
	p.click("#f-instrument-there")
	p.fill("#f-instrument-bore", "4.2")
	p.fill("#f-instrument-length", "1350")
	p.click("#f-instrument-brushable")
	p.click("#f-instrument-flushable")
	p.fill("#f-instrument-cleaning", "brush")
	p.press("form.long", "Register the model")
	p.waitText("h1", "Example D")
	p.open("/set-up/register/scope")
	p.fill("#f-tag", "D-01")
	p.set("#f-model", "Example D")
	p.fill("#f-serial", "X1001")
	p.set("#f-in-service", b.at().Add(-24 * time.Hour).In(b.desk.DB.Zone())[:10]+"T08:00")
	p.press("form.long", "Register the scope")
	p.waitText("h1", "D-01")
	for _, x := range [][2]string{{"T-01", "technician"}, {"N-01", "procedure-room"}} {
		p.open("/people")
		p.fill("#new-code", x[0])
		p.fill("#new-name", "Robin Muster")
		p.click(fmt.Sprintf("section form input[value=%q]", x[1]))
		p.press("section", "Make the account")
		p.waitFor(".once")
	}
	for _, x := range [][4]string{{"positive", "light cell", "300", "3000"}, {"blank", "empty chamber", "", "10"}} {
		p.open("/set-up/register/target")
		p.fill("#f-system", "example-system")
		p.set("#f-kind", x[0])
		p.fill("#f-material", x[1])
		if x[2] != "" {
			p.fill("#f-low", x[2])
		}
		p.fill("#f-high", x[3])
		p.fill("#f-source", "meter instructions")
		signed("Register the target")
		p.waitText("h1", x[1])
	}
	for _, point := range []string{"outer-distal-end", "elevator-recess", "instrument-channel"} {
		p.open("/set-up/register/level")
		p.fill("#f-system", "example-system")
		p.fill("#f-kit", "example-kit")
		p.set("#f-point", point)
		p.fill("#f-alert", "100")
		p.fill("#f-action", "200")
		p.fill("#f-source", "kit instructions")
		signed("Register the level")
		p.waitText("h1", text.Spaced(point))
	}
	p.inspect("first-level")
	p.open("/meters/M-1")
	p.fill("#value-positive", "1012")
	p.fill("#value-blank", "1")
	p.press("section form", "Record the check")
	p.waitText("#outcome", "may be used")
	p.bringCycle(b)
	p.open("/set-up")
	p.screenshot("set-up-complete")
	p.firstTest(b)
}

// minutes is an instant so many minutes from now, as files hold it.
func (b *site) minutes(n int) string {
	return b.at().Add(time.Duration(n) * time.Minute).Time().Format(time.RFC3339)
}

// bringCycle reads in a use of the scope D-01 and its steps up to the samples.
func (p *page) bringCycle(b *site) {
	p.Helper()
	p.bring(desk.Uses, fileOf("scope,start,end,procedure,person", "D-01,"+b.minutes(-90)+","+b.minutes(-50)+",ERCP,N-01"))
	p.bring(desk.Steps, fileOf("scope,step,start,end,person,result",
		"D-01,point-of-use,"+b.minutes(-49)+","+b.minutes(-46)+",N-01,", "D-01,leak-test,"+b.minutes(-40)+","+b.minutes(-38)+",T-01,pass",
		"D-01,manual-cleaning,"+b.minutes(-37)+","+b.minutes(-20)+",T-01,", "D-01,inspection,"+b.minutes(-19)+","+b.minutes(-17)+",T-01,pass"))
}

// firstTest does the first test of the scope D-01 at the bench, with the lot and the meter that the
// first run named, and holds that it is complete and under every level.
func (p *page) firstTest(b *site) {
	p.Helper()
	p.open("/bench")
	p.waitText("#network", "all stored")
	p.scan("D-01")
	p.waitText("#scope-name", "D-01")
	p.scan("A17")
	p.waitText("#said", "Lot A17 of example-kit")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	p.sampleByScanner("OUTER-DISTAL-END", "surface", "20")
	p.sampleByScanner("ELEVATOR-RECESS", "surface", "40")
	p.sampleByScanner("INSTRUMENT-CHANNEL", "rinsate", "31")
	p.waitText("#job", "3 of 3 points read")
	p.screenshot("first-test")
	if err := b.desk.View(p.Context(), func(v desk.View) error {
		j, err := v.Day().Job("D-01", v.Now())
		if !j.Verification.Complete || j.Verification.Outcome != reading.OK {
			p.Errorf("the cleaning verification: complete %v, %s", j.Verification.Complete, j.Verification.Outcome)
		}
		return err
	}); err != nil {
		p.Fatal(err)
	}
}

// What is wrong is told with the form as it was typed, without secrets, and nothing is made.
func TestFirstRunProblems(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	f := firstRun(t, storetest.NewClock())
	p := f.browser()
	p.fill("#name", "Example clinic")
	p.fill("#code", "Kim Muster")
	p.fill("#person", "Kim Muster")
	p.fill("#password", "too short")
	p.fill("#again", "another")
	p.set("#until", "2026-01-01")
	p.fill("#lot", "A17")
	p.fill("#kit", "example-kit")
	p.set("#zone", "")
	p.expect(http.StatusBadRequest)
	p.click("form button.go")
	p.waitFor("[role=alert]")
	p.settle()
	got := p.text("[role=alert]")
	for _, want := range []string{
		"Choose a time zone", "cannot be a person's code", "two passwords differ", "Name the meter system", "first one a code",
		"at least 15",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not told:\n%s", want, got)
		}
	}
	for field, want := range map[string]string{
		"name": "Example clinic", "site": "EC", "kit": "example-kit", "lot": "A17", "until": "2026-01-01",
		"password": "", "again": "",
	} {
		if got := eval[string](p, fmt.Sprintf("document.querySelector('#%s').value", field)); got != want {
			t.Errorf("%s: %q, want %q", field, got, want)
		}
	}
	p.inspect("first-run-problems")
	f.none("a form with problems")
}

// Without scripts all of it works: the code is made from the name when it was left empty, and told before
// anything is made.
func TestFirstRunWithoutScripts(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	f := firstRun(t, storetest.NewClock())
	p := openPage(t, f.Base.String())
	p.scripts(false)
	p.open("/first-run/" + f.secret)
	for _, x := range [][2]string{
		{"#name", "Example clinic"},
		{"#system", "example-system"},
		{"#meter", "M-1"},
		{"#kit", "example-kit"},
		{"#code", "L-01"},
		{"#person", "Kim Muster"},
		{"#password", password},
		{"#again", password},
	} {
		p.fill(x[0], x[1])
	}
	p.expect(http.StatusBadRequest)
	p.click("form button.go")
	p.waitText("[role=alert]", "made from the name")
	f.none("a code that nobody has seen")
	p.fill("#password", password)
	p.fill("#again", password)
	p.click("form button.go")
	p.waitText("h1", "Example clinic has begun")
	if got, want := p.text(".key"), f.site().desk.DB.Site().VKey; strings.TrimSpace(got) != want || want == "" {
		t.Errorf("the public key: %q, want %q", got, want)
	}
	p.open("/today") // signed in already
	p.waitText("h1", "Today")
}

// firstClient is a browser for a first run, without a browser.
func firstClient(t *testing.T) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &http.Client{Jar: jar, Transport: &http.Transport{DisableKeepAlives: true}, Timeout: patience}
}

// sent asks and returns the status and the body.
func (f *first) sent(c *http.Client, method, path string, form url.Values, header ...string) (status int, body string) {
	f.Helper()
	r, err := http.NewRequestWithContext(f.Context(), method, f.Base.String()+path, strings.NewReader(form.Encode()))
	if err != nil {
		f.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	a, err := c.Do(r)
	if err != nil {
		f.Fatal(err)
	}
	text, err := io.ReadAll(a.Body)
	if err := errors.Join(err, a.Body.Close()); err != nil {
		f.Fatal(err)
	}
	if got := a.Header.Get("Content-Security-Policy"); got != kit.Policy {
		f.Errorf("%s: Content-Security-Policy %q", path, got)
	}
	return a.StatusCode, string(text)
}

// The first run belongs to the one browser that showed the secret first.
func TestFirstRunSecret(t *testing.T) {
	t.Parallel()
	f := firstRun(t, storetest.NewClock())
	stranger, owner := firstClient(t), firstClient(t)
	for _, path := range []string{"/first-run", "/first-run/" + strings.Repeat("x", len(f.secret)), "/first-run/" + f.secret[1:], "/first-run/code?name=x"} {
		if status, body := f.sent(stranger, http.MethodGet, path, nil); status != http.StatusForbidden || strings.Contains(body, f.dir) {
			t.Errorf("%s: status %d", path, status)
		}
	}
	if status, _ := f.sent(stranger, http.MethodGet, "/today", nil); status != http.StatusNotFound {
		t.Errorf("a page of a site that has not begun: status %d", status)
	}
	for range 2 { // the same browser may open the address again
		if status, body := f.sent(owner, http.MethodGet, "/first-run/"+f.secret, nil); status != http.StatusOK || !strings.Contains(body, f.dir) {
			t.Errorf("the address: status %d", status)
		}
	}
	if status, body := f.sent(
		stranger,
		http.MethodGet,
		"/first-run/"+f.secret,
		nil,
	); status != http.StatusForbidden ||
		!strings.Contains(body, "another browser") {
		t.Errorf("the address in another browser: status %d", status)
	}
	for _, path := range []string{"/first-run", "/first-run/invented"} {
		if status, _ := f.sent(stranger, http.MethodPost, path, nil); status != http.StatusForbidden {
			t.Errorf("%s from another browser: status %d", path, status)
		}
		if status, _ := f.sent(owner, http.MethodPost, path, nil, "Sec-Fetch-Site", "cross-site"); status != http.StatusForbidden {
			t.Errorf("%s from another site: status %d", path, status)
		}
	}
	f.none("nobody sent the form")
}

// form is the form of the first run as a browser sends it without files.
func firstForm() url.Values {
	return url.Values{
		"name": {"Example clinic"}, "site": {"NORTH"}, "zone": {"Europe/Berlin"}, "test": {usualTest()}, "system": {"example-system"}, "meter": {"M-1"},
		"kit": {"example-kit"}, "rules": {"preset"}, "code": {"L-01"}, "person": {"Kim Muster"}, "password": {password}, "again": {password},
	}
}

// Sent twice at once it begins once, and the address of the first run goes on to tell the key.
func TestFirstRunTwice(t *testing.T) {
	t.Parallel()
	f := firstRun(t, storetest.NewClock())
	c := firstClient(t)
	f.sent(c, http.MethodGet, "/first-run/"+f.secret, nil)
	type sent struct {
		status int
		body   string
	}
	answers := make(chan sent, 2)
	for range cap(answers) {
		go func() {
			status, body := f.sent(c, http.MethodPost, "/first-run", firstForm())
			answers <- sent{status, body}
		}()
	}
	for range cap(answers) {
		if a := <-answers; a.status != http.StatusOK || !strings.Contains(a.body, "NORTH") || !strings.Contains(a.body, "rinsate.local/NORTH") {
			t.Errorf("status %d:\n%.600s", a.status, a.body)
		}
	}
	b := f.site()
	if n := b.records(); n != 5 { // site, rules, person, meter, account
		t.Errorf("%d records", n)
	}
	if status, body := f.sent(c, http.MethodGet, "/today", nil); status != http.StatusOK || !strings.Contains(body, "Kim Muster") {
		t.Errorf("the first page: status %d", status)
	}
	if status, _ := f.sent(firstClient(t), http.MethodGet, "/first-run", nil); status != http.StatusForbidden {
		t.Errorf("the first run from a stranger: status %d", status)
	}
	template := "/import/levels/template.csv?" + url.Values{"system": {"example-system"}, "kit": {"example-kit"}, "analyte": {"atp"}, "unit": {"RLU"}}.Encode()
	if status, body := f.sent(c, http.MethodGet, template, nil); status != http.StatusOK || strings.Count(body, "example-system,example-kit,") < 8 {
		t.Errorf("levels to fill in: status %d:\n%s", status, body)
	}
}

// A rule set of the facility's own is taken as a text, and told to be wrong as one.
func TestFirstRunOwnRules(t *testing.T) {
	t.Parallel()
	f := firstRun(t, storetest.NewClock())
	c := firstClient(t)
	f.sent(c, http.MethodGet, "/first-run/"+f.secret, nil)
	form := firstForm()
	form.Set("rules", "own")
	form.Set("rules-text", "name: ours\nedition: <1>\n")
	if status, body := f.sent(
		c,
		http.MethodPost,
		"/first-run",
		form,
	); status != http.StatusBadRequest || !strings.Contains(body, "edition: &lt;1&gt;") ||
		!strings.Contains(body, "no clock limits") {
		t.Errorf("status %d:\n%.3000s", status, body)
	}
	f.none("rules that cannot be followed")
	form.Set("rules-text", strings.Replace(string(rules.Preset()), "name: General rule set", "name: Our rule set", 1))
	if status, body := f.sent(c, http.MethodPost, "/first-run", form); status != http.StatusOK {
		t.Fatalf("status %d:\n%.3000s", status, body)
	}
	if err := f.site().desk.View(t.Context(), func(v desk.View) error {
		r, err := v.Registry().Rules(v.Now(), store.Forever)
		if r.Name != "Our rule set" {
			t.Errorf("the rule set is %s", r.Cite())
		}
		return err
	}); err != nil {
		t.Error(err)
	}
}

// The invented hospital is built beside the data folder, its progress can be watched, and its pages are
// served at the same address.
func TestFirstRunInvented(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	clock := storetest.NewClock()
	step := make(chan struct{})
	f := firstRun(t, clock, func(o *FirstOptions) {
		o.Invent = func(ctx context.Context, dir string, progress func(done, total int)) error {
			progress(3, 365)
			select {
			case <-step:
			case <-ctx.Done():
				return ctx.Err()
			}
			db, err := desk.Beginning{
				Site:      record.SiteBody{Code: "INV", Name: "Invented hospital", Zone: "Europe/Berlin"},
				Rules:     rules.Preset(),
				RulesName: "general.yaml",
				By:        "L-01",
			}.Begin(
				ctx,
				sqlite.Folder(dir),
				clock.Now,
			)
			if err != nil {
				return err
			}
			return db.Close() //nolint:contextcheck // a ledger is closed properly although nobody waits any more
		}
		o.Accounts = func(ctx context.Context, door *identity.Door) ([]Invented, error) {
			x := Invented{Code: "L-01", Password: password, Roles: []access.Role{access.Lead}}
			_, _, err := door.AddAccount(
				ctx,
				identity.Entry{Actor: access.Operator(x.Code)},
				identity.NewAccount{Code: x.Code, Name: "Lead", Roles: x.Roles, Password: x.Password},
			)
			return []Invented{x}, err
		}
	})
	p := f.browser()
	p.click(".instead button")
	p.waitText("[role=status]", "3 of 365 days")
	p.reload()
	p.waitText("[role=status]", "3 of 365 days")
	p.inspect("first-run-building")
	close(step)
	p.waitText("h1", "The invented hospital is open")
	if got := p.text("main"); !strings.Contains(got, f.dir+"-demo") || !strings.Contains(got, password) {
		t.Errorf("the page says:\n%s", got)
	}
	p.inspect("first-run-invented")
	f.none("the invented hospital has a folder of its own")
	p.click("main a.go")
	p.fill("#code", "L-01")
	p.fill("#password", password)
	p.keys("\r")
	p.waitText("h1", "Today")
	p.waitText(".top", "invented data")
}

// An invented hospital that fails leaves nothing, and the form comes back and says so.
func TestFirstRunInventedFails(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	f := firstRun(t, storetest.NewClock(), func(o *FirstOptions) {
		o.Invent = func(_ context.Context, dir string, _ func(done, total int)) error {
			return errors.Join(os.MkdirAll(dir, 0o700), os.WriteFile(filepath.Join(dir, "half"), nil, 0o600), errors.New("the disk is full"))
		}
	})
	p := f.browser()
	p.click(".instead button")
	p.waitText("[role=alert]", "the disk is full")
	if left, err := filepath.Glob(f.dir + "-demo*"); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	f.begin(p) // the facility can begin all the same
}

// Every time zone that is offered is known.
func TestZones(t *testing.T) {
	t.Parallel()
	n := 0
	for _, g := range zoneGroups("") {
		for _, zone := range g.Zones {
			n++
			if _, err := time.LoadLocation(zone); err != nil {
				t.Error(err)
			}
		}
	}
	if n < 400 {
		t.Errorf("there are %d", n)
	}
	if g := zoneGroups("Etc/GMT+3"); g[0].Zones[0] != "Etc/GMT+3" {
		t.Errorf("a zone of this computer that is not in the list: %v", g[0])
	}
	if g := zoneGroups("Europe/Berlin"); g[0].Area != "Africa" {
		t.Errorf("a zone that is in the list stands before it: %v", g[0])
	}
}

// A lot can be used on its last day.
func TestFirstLot(t *testing.T) {
	t.Parallel()
	p := beginPage{
		Typed: map[string]string{"zone": "Europe/Berlin", "test": usualTest(), "system": "A", "meter": "M-1", "kit": "K", "lot": "7", "until": "2026-06-30"},
		Tests: testChoices(),
	}
	var b desk.Beginning
	p.kit(&b, func(field, text string) { t.Errorf("%s: %s", field, text) })
	if b.Lot == nil || b.Lot.Expires != unit.At(time.Date(2026, 6, 30, 22, 0, 0, 0, time.UTC)) {
		t.Errorf("%+v", b.Lot)
	}
}
