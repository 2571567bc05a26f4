package web

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"maps"
	"net/http"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/identity"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// example is a page as somebody opens it.
type example struct {
	name, path string
	// template is what shows it.
	template string
	status   int
	role     access.Role
}

// examples are pages of every kind and with everything in them that the small department has.
func (b *site) examples() []example {
	b.Helper()
	file := b.furnish()
	pressed := b.pressed()
	list := []example{
		{"today", "/today", "today", http.StatusOK, access.Lead},
		{"wall", "/today?wall", "today", http.StatusOK, access.Lead},
		{"clock", "/clock?done=compared", "clock", http.StatusOK, access.Technician},
		{"attest", "/attest?done=2", "attest", http.StatusOK, access.Lead},
		{"attest, own acts", "/attest", "attest", http.StatusOK, access.Technician},
		{"clock, to read", "/clock", "clock", http.StatusOK, access.Auditor},
		{"restored", "/restored?done=nothing", "restored", http.StatusOK, access.Lead},
		{"restored, to read", "/restored", "restored", http.StatusOK, access.Auditor},
		{"first day", "/first-day?done=start", "first-day", http.StatusOK, access.Lead},
		{"first day, to read", "/first-day", "first-day", http.StatusOK, access.Auditor},
		{"scopes", "/scopes", "scopes", http.StatusOK, access.Lead},
		{"scopes, some", "/scopes?state=on+hold&kind=duodenoscope&q=endoscopy", "scopes", http.StatusOK, access.Auditor},
		{"scopes, none", "/scopes?q=nothing", "scopes", http.StatusOK, access.Lead},
		{"scope with a past", "/scopes/" + pastScope, "scope", http.StatusOK, access.Lead},
		{"scope with records", "/scopes/" + pastScope + "?records&done=hold", "scope", http.StatusOK, access.Lead},
		{"scope for somebody who only reads", "/scopes/" + heldScope, "scope", http.StatusOK, access.Auditor},
		{"dossier", "/scopes/" + pastScope + "/dossier", "dossier", http.StatusOK, access.Lead},
		{"dossier, no such period", "/scopes/" + readyScope + "/dossier?from=2026-01-02&to=2026-01-01", "dossier", http.StatusBadRequest, access.Lead},
		{"bench", "/bench", "bench", http.StatusOK, access.Technician},
		{"card", "/bench/card", "card", http.StatusOK, access.Technician},
		{"people", "/people", "people", http.StatusOK, access.Administrator},
		{"account", "/account", "account", http.StatusOK, access.Technician},
		{"password", "/password", "account", http.StatusOK, newcomer},
		{"sign-in", "/sign-in?next=%2Fscopes", "sign-in", http.StatusOK, nobody},
		{"first sign-in", "/first-sign-in", "sign-in", http.StatusOK, nobody},
		{"unlock", "/unlock", "sign-in", http.StatusOK, locked},
		{"no such scope", "/scopes/none", "problem", http.StatusNotFound, access.Lead},
		{"not allowed", "/today", "problem", http.StatusForbidden, access.ProcedureRoom},
		{"emergency", "/ready/" + heldScope + "/emergency", "emergency", http.StatusOK, nobody},
		{"something is wrong", "/ready/" + readyScope + "/hold", "wrong", http.StatusOK, access.ProcedureRoom},
		{"emergency, signed in", "/ready/" + inWorkScope + "/emergency", "emergency", http.StatusOK, access.ProcedureRoom},
		{"emergency, of a ready scope", "/ready/" + readyScope + "/emergency", "emergency", http.StatusOK, nobody},
		{"emergency, recorded", "/ready/" + urgentScope + "/emergency?done=" + pressed, "emergency", http.StatusOK, nobody},
		{"emergency, no such scope", "/ready/none/emergency", "problem", http.StatusNotFound, nobody},
		{"paper, too long a shift", "/paper/ready?hours=13", "problem", http.StatusBadRequest, access.Technician},
		{"emergencies", "/emergencies?done=seen", "emergencies", http.StatusOK, access.InfectionPrevention},
		{"emergencies, to complete", "/emergencies?show=unseen", "emergencies", http.StatusOK, access.Technician},
		{"paper, ready list", "/paper/ready?hours=12", "paper", http.StatusOK, access.Technician},
		{"paper, blank forms", "/paper/forms", "paper", http.StatusOK, access.Lead},
		{"ready", "/ready", "ready", http.StatusOK, nobody},
		{"release check for somebody", "/ready", "ready", http.StatusOK, access.Lead},
		{"release check, no such scope", "/ready/none", "ready", http.StatusNotFound, nobody},
	}
	for _, s := range []struct{ state, path string }{
		{"ready", readyScope},
		{"in reprocessing", inWorkScope},
		{"on hold", heldScope},
		{"away", awayScope},
		{"not known", "L%207%2F2"},
		{"in use", inUseScope},
		{"overdue", overdueScope},
	} {
		list = append(list,
			example{"release check, " + s.state, "/ready/" + s.path, "ready", http.StatusOK, nobody},
			example{"scope, " + s.state, "/scopes/" + s.path, "scope", http.StatusOK, access.Lead})
	}
	return slices.Concat(
		list,
		b.numberExamples(),
		b.levelExamples(),
		b.meterExamples(),
		b.recordExamples(file),
		b.setUpExamples(),
		b.helpExamples(),
		b.importExamples(),
	)
}

// filled replaces the wildcards of routes by what there is.
func (b *site) filled() *strings.Replacer {
	b.Helper()
	return strings.NewReplacer("{$}", "", "{tag}", readyScope, "{id}", b.anyRecord(readyScope), "{name...}", b.server.Assets.Names["app.css"],
		"{model}", duodenoscope.Name, "{point}", string(scope.OuterDistalEnd), "{record}", b.furnish(), "{topic}", "sample-a-scope",
		"{level}", b.anyLevel(), "{signal}", b.allSeries(), "{meter}", "M-1", "{kind}", "models", "{file}", b.importedFile(),
		"{lot}", "K%7C7", "{code}", "M-1", "{target}", "A%7Cpositive%7Clight", "{key}", levelKey)
}

// Only one template is there when an example is asked for, so that it is the one that was shown.
func TestEveryTemplate(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	all := b.server.Pages
	untried := maps.Clone(all)
	for _, e := range b.examples() {
		if all[e.template] == nil {
			t.Errorf("%s: there is no template %q", e.name, e.template)
			continue
		}
		b.server.Pages = map[string]*template.Template{e.template: all[e.template]}
		delete(untried, e.template)
		answer := b.ask(http.MethodGet, e.path, e.role)
		page := answer.body
		if answer.status != e.status || !strings.HasPrefix(page, "<!doctype html>") || !strings.HasSuffix(page, "</html>") {
			t.Errorf("%s (%s): status %d, want %d and a whole page of the template %q:\n%s", e.name, e.path, answer.status, e.status, e.template, page)
		}
	}
	for name := range untried {
		t.Errorf("no example shows the template %q: add one to examples", name)
	}
}

// A page without its frame is what its main element holds.
func TestFragment(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	whole := b.ask(http.MethodGet, "/today", access.Lead).body
	part := b.ask(http.MethodGet, "/today", access.Lead, func(r *http.Request) { r.Header.Set(kit.FragmentHeader, "main") }).body
	if strings.Contains(part, "<html") || !strings.Contains(changing.ReplaceAllString(whole, ""), ">"+changing.ReplaceAllString(part, "")+"</main>") {
		t.Errorf("the part is not what the whole page holds:\n%s", part)
	}
}

// client sends requests as they are, follows nothing and keeps no connection.
func client(t *testing.T) *http.Client {
	t.Helper()
	transport := &http.Transport{DisableKeepAlives: true}
	return &http.Client{Transport: transport, Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

func TestHeaders(t *testing.T) {
	t.Parallel()
	walksEverything(t)
	b := serve(t, storetest.NewClock())
	filled := b.filled()
	type request struct {
		method, path string
		role         access.Role
		header       [2]string
		status       int
	}
	requests := []request{
		{http.MethodGet, "/nowhere", access.Lead, [2]string{}, http.StatusNotFound},
		{http.MethodGet, "/scopes/none", access.Lead, [2]string{}, http.StatusNotFound},
		{http.MethodGet, "/static/none.css", nobody, [2]string{}, http.StatusNotFound},
		{http.MethodGet, "/today", access.ProcedureRoom, [2]string{}, http.StatusForbidden},
		{http.MethodDelete, "/ready", nobody, [2]string{}, http.StatusMethodNotAllowed},
		{http.MethodPost, "/ready", nobody, [2]string{"Sec-Fetch-Site", "cross-site"}, http.StatusForbidden},
	}
	for _, r := range b.server.Table {
		if r.Method != http.MethodGet {
			continue
		}
		role, status := access.Lead, http.StatusOK
		switch {
		case r.Need == access.ManageAccounts:
			role = access.Administrator
		case r.Page == "account":
			role = access.Technician
		case strings.HasSuffix(r.Path, "/patient"):
			role, status = access.InfectionPrevention, http.StatusNotFound // the record is no use with a number
		case strings.Contains(r.Path, "patient"):
			role = access.InfectionPrevention
		case r.Page == "sign-in":
			role = nobody // whoever has signed in is sent on
		}
		requests = append(requests, request{http.MethodGet, filled.Replace(r.Path), role, [2]string{}, status})
	}
	want := map[string]string{
		"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; connect-src 'self'; " +
			"manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
		"X-Content-Type-Options":       "nosniff",
		"Referrer-Policy":              "same-origin",
		"Cross-Origin-Opener-Policy":   "same-origin",
		"Cross-Origin-Resource-Policy": "same-origin",
		"Permissions-Policy":           "camera=(self), microphone=(), geolocation=()",
		"Cache-Control":                "no-store",
		"Strict-Transport-Security":    "", // the site is not served over TLS
	}
	asked := client(t)
	for _, r := range requests {
		q, err := http.NewRequestWithContext(t.Context(), r.method, b.server.Base.String()+r.path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.role != nobody {
			q.AddCookie(&http.Cookie{Name: b.server.CookieName(), Value: b.session(r.role)})
		}
		if r.header[0] != "" {
			q.Header.Set(r.header[0], r.header[1])
		}
		answer, err := asked.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		answer.Body.Close() //nolint:errcheck // nothing of it was read: a live page's has no end
		if answer.StatusCode != r.status {
			t.Errorf("%s %s: status %d, want %d", r.method, r.path, answer.StatusCode, r.status)
		}
		for name, value := range want {
			switch {
			case name != "Cache-Control" || r.status != http.StatusOK:
			case strings.HasPrefix(r.path, "/static/"):
				value = "public, max-age=31536000, immutable"
			case strings.HasPrefix(r.path, "/files/"):
				value = "private, max-age=31536000, immutable"
			case path.Ext(r.path) == ".js": // a worker, which browsers keep but ask after
				value = "no-cache"
			}
			if got := answer.Header.Get(name); got != value {
				t.Errorf("%s %s: %s: %q, want %q", r.method, r.path, name, got, value)
			}
		}
	}

	secure := newSite(t, storetest.NewClock(), "https://test.example")
	if got := secure.ask(http.MethodGet, "/nowhere", nobody).header.Get("Strict-Transport-Security"); got != "max-age=31536000" {
		t.Errorf("Strict-Transport-Security of a secure site: %q", got)
	}
}

// Whoever has not signed in is sent to sign in, and from there to the page that they wanted.
func TestNobody(t *testing.T) {
	t.Parallel()
	walksEverything(t)
	b := newSite(t, storetest.NewClock(), "https://test.example/rinsate")
	filled := b.filled()
	guarded := 0
	for _, r := range b.server.Table {
		if r.Act.What == "" && r.Need == kit.Public || r.Method != http.MethodGet {
			continue
		}
		guarded++
		at := filled.Replace(r.Path)
		answer := b.ask(http.MethodGet, "/rinsate"+at+"?a=b", nobody)
		if r.Data { // a script goes nowhere
			if got := answer.header.Get("Content-Type"); answer.status != http.StatusUnauthorized || got != "application/json" {
				t.Errorf("%s: status %d with %s, want %d", at, answer.status, got, http.StatusUnauthorized)
			}
			continue
		}
		want := "/rinsate/sign-in?next=" + strings.NewReplacer("%", "%25", "/", "%2F", "?", "%3F", "=", "%3D").Replace(at+"?a=b")
		if got := answer.header.Get("Location"); answer.status != http.StatusSeeOther || got != want {
			t.Errorf("%s: status %d to %q, want %d to %q", at, answer.status, got, http.StatusSeeOther, want)
		}
		if body := answer.body; strings.Contains(body, readyScope+" ") {
			t.Errorf("%s shows something to nobody:\n%s", at, body)
		}
	}
	if guarded == 0 {
		t.Error("no page needs a permission")
	}
}

func TestStaticFiles(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	folder, err := fs.Sub(sources(), "static")
	if err != nil {
		t.Fatal(err)
	}
	count := 0
	err = fs.WalkDir(folder, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		count++
		content, err := fs.ReadFile(folder, name)
		if err != nil {
			return err
		}
		address, err := b.server.Asset(name)
		if err != nil {
			return err
		}
		answer := b.ask(http.MethodGet, address, nobody)
		// A style sheet may have more behind it. The name must change with anything in it.
		sum := sha256.Sum256([]byte(answer.body))
		if answer.status != http.StatusOK || !strings.HasPrefix(answer.body, string(content)) ||
			!strings.Contains(address, hex.EncodeToString(sum[:])[:kit.HashLength]) {
			t.Errorf("%s: status %d, or another content than its name and %s say", address, answer.status, name)
		}
		if got := answer.header.Get("Cache-Control"); got != "public, max-age=31536000, immutable" {
			t.Errorf("%s: Cache-Control: %q", address, got)
		}
		if got, want := answer.header.Get("Content-Type"), kit.MediaTypes[path.Ext(name)]; got != want {
			t.Errorf("%s: Content-Type: %q, want %q", address, got, want)
		}
		if plain := b.ask(http.MethodGet, "/static/"+name, nobody); plain.status != http.StatusNotFound {
			t.Errorf("/static/%s: status %d; a name without a hash would be kept for ever", name, plain.status)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if count == 0 || count != len(b.server.Assets.ByHash) {
		t.Errorf("%d files, and %d are served", count, len(b.server.Assets.ByHash))
	}
	if _, err := b.server.Asset("none.css"); err == nil {
		t.Error("a file that does not exist has an address")
	}
}

// addresses are what a page refers to.
var addresses = regexp.MustCompile(`\b(?:href|src|action|formaction|data-live)="([^"]*)"`)

// Every address on every page that can be reached from the first one lies under the path of the site
// and leads somewhere.
func TestSubPath(t *testing.T) {
	t.Parallel()
	walksEverything(t)
	const prefix = "/rinsate"
	b := newSite(t, storetest.NewClock(), "https://x.example"+prefix)
	b.furnish()
	b.allSeries()
	seen := map[string]string{
		prefix + "/":            "the start",
		prefix:                  "the address without a slash",
		prefix + "/ready/none":  "the start",
		prefix + "/scopes/none": "the start",
	}
	next := slices.Sorted(maps.Keys(seen))
	found, files := 0, 0
	for len(next) > 0 {
		at := next[0]
		next = next[1:]
		answer := b.ask(http.MethodGet, at, access.Lead)
		body := answer.body
		if to := answer.header.Get("Location"); to != "" {
			body = `href="` + to + `"` // a redirect is an address like others
		} else if answer.status != http.StatusOK && !strings.HasSuffix(at, "/none") {
			t.Errorf("%s, which %s names: status %d", at, seen[at], answer.status)
		}
		if !strings.HasPrefix(answer.header.Get("Content-Type"), "text/html") && answer.header.Get("Location") == "" {
			files++
			continue
		}
		for _, match := range addresses.FindAllStringSubmatch(body, -1) {
			to, _, _ := strings.Cut(match[1], "#")
			if to == "" || strings.HasPrefix(to, "data:") {
				continue
			}
			found++
			if !strings.HasPrefix(to, prefix+"/") {
				t.Errorf("%s names %s, which is not under %s/", at, to, prefix)
				continue
			}
			// Acts are not tried, and a live page's news have no end.
			if act := strings.HasPrefix(match[0], "action") || strings.HasPrefix(match[0], "data-live") ||
				strings.HasPrefix(match[0], "formaction"); !act &&
				seen[to] == "" {
				seen[to] = at
				next = append(next, strings.ReplaceAll(to, "&amp;", "&"))
			}
		}
	}
	if found < 50 || files < 3 {
		t.Errorf("only %d addresses and %d files were found", found, files)
	}
	for _, tag := range []string{readyScope, "L%207%2F2"} {
		if seen[prefix+"/scopes/"+tag] == "" {
			t.Errorf("no page names the scope %s", tag)
		}
	}
}

// form gives a site a form that counts how often it was sent.
func (b *site) form() (sent *int) {
	sent = new(int)
	b.server.Mux.Handle(
		"POST /form",
		b.server.Serve(kit.Route{Method: http.MethodPost, Path: "/form", Act: identity.ToShowWho, Handle: func(x *kit.Exchange) error {
			if err := x.R.ParseForm(); err != nil {
				return fmt.Errorf("the form: %w", err)
			}
			*sent++
			return x.Redirect("/ready")
		}}),
	)
	return sent
}

func TestFormsOfOtherSites(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name    string
		headers map[string]string
		status  int
	}{
		{"another site", map[string]string{"Sec-Fetch-Site": "cross-site"}, http.StatusForbidden},
		{"a sibling", map[string]string{"Sec-Fetch-Site": "same-site"}, http.StatusForbidden},
		{"another site in an old browser", map[string]string{"Origin": "https://other.example"}, http.StatusForbidden},
		{"a page without an origin", map[string]string{"Origin": "null"}, http.StatusForbidden},
		{"this site", map[string]string{"Sec-Fetch-Site": "same-origin"}, http.StatusSeeOther},
		{"this site behind a proxy that changes the host", map[string]string{"Origin": "https://test.example", "Host": "127.0.0.1:8420"}, http.StatusSeeOther},
		{"another site behind such a proxy", map[string]string{"Origin": "https://other.example", "Host": "127.0.0.1:8420"}, http.StatusForbidden},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b := newSite(t, storetest.NewClock(), "https://test.example")
			sent := b.form()
			answer := b.ask(http.MethodPost, "/form", nobody, func(r *http.Request) {
				for name, value := range test.headers {
					r.Header.Set(name, value)
				}
				if host := test.headers["Host"]; host != "" {
					r.Host = host
				}
			})
			if want := map[bool]int{true: 1, false: 0}[test.status == http.StatusSeeOther]; answer.status != test.status || *sent != want {
				t.Errorf("status %d and sent %d times, want %d and %d", answer.status, *sent, test.status, want)
			}
		})
	}
}

func TestFormLimit(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		bytes  int
		status int
	}{
		{"as large as allowed", kit.FormLimit, http.StatusSeeOther},
		{"too large", kit.FormLimit + 1, http.StatusRequestEntityTooLarge},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b := newSite(t, storetest.NewClock(), "https://test.example")
			sent := b.form()
			body := "text=" + strings.Repeat("x", test.bytes-len("text="))
			answer := b.ask(http.MethodPost, "/form", nobody, func(r *http.Request) {
				r.Header.Set("Sec-Fetch-Site", "same-origin")
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				r.Body = io.NopCloser(strings.NewReader(body))
				r.ContentLength = int64(len(body))
			})
			if want := map[bool]int{true: 1, false: 0}[test.status == http.StatusSeeOther]; answer.status != test.status || *sent != want {
				t.Errorf("status %d and sent %d times, want %d and %d", answer.status, *sent, test.status, want)
			}
		})
	}
}

func TestFaultInATemplate(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	half := template.Must(template.New("half").Parse(`{{define "layout"}}the first half{{.Body.NoSuchField}}the second half{{end}}`))
	problem := b.server.Pages["problem"]
	b.server.Pages["ready"] = half
	answer := b.ask(http.MethodGet, "/ready", nobody)
	page := answer.body
	if answer.status != http.StatusInternalServerError || strings.Contains(page, "half") || !strings.Contains(page, "Something went wrong.") ||
		!strings.HasSuffix(page, "</html>") {
		t.Errorf("status %d:\n%s", answer.status, page)
	}
	if strings.Contains(page, "NoSuchField") {
		t.Errorf("the page tells what is not meant for people:\n%s", page)
	}
	b.server.Pages["problem"] = half
	answer = b.ask(http.MethodGet, "/ready", nobody)
	if page := answer.body; answer.status != http.StatusInternalServerError || page != "Something went wrong.\n" {
		t.Errorf("when the page of the problem is wrong too: status %d:\n%s", answer.status, page)
	}
	b.server.Pages["problem"] = problem
	b.server.Mux.Handle(
		"GET /fails",
		b.server.Serve(kit.Route{Method: http.MethodGet, Path: "/fails", Handle: func(*kit.Exchange) error { return errors.New("secret path") }}),
	)
	answer = b.ask(http.MethodGet, "/fails", nobody)
	if page := answer.body; answer.status != http.StatusInternalServerError || strings.Contains(page, "secret") ||
		!regexp.MustCompile(`the reference [0-9a-f]{8}\.`).MatchString(page) {
		t.Errorf("an error that is not meant for people: status %d:\n%s", answer.status, page)
	}
}

// TestPages opens every example in a browser.
func TestPages(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	seen := map[string]bool{}
	for _, e := range b.examples() {
		again := seen[e.template] && *screenshots == ""
		seen[e.template] = true
		t.Run(e.name, func(t *testing.T) {
			t.Parallel()
			p := openPage(t, b.server.Base.String())
			if e.role != nobody {
				signIn(b, p, e.role)
			}
			if e.status >= http.StatusBadRequest {
				p.expect(e.status)
			}
			p.open(e.path)
			name := strings.NewReplacer(" ", "-", ",", "").Replace(e.name)
			if again { // the same page with something else in it
				p.inspectAs(name, "light", sizes[0])
				p.inspectAs(name, "dark", sizes[2])
				return
			}
			p.inspect(name)
		})
	}
}

func TestSignIn(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.session(access.Lead) // there is an account now, and the browser knows nothing of it
	p := openPage(t, b.server.Base.String())
	p.open("/scopes?a=b")
	p.fill("#code", codeOf(access.Lead))
	p.fill("#password", password)
	p.keys("\r")
	p.waitText("h1", "Scopes")
	if at := p.location(); at != "/scopes?a=b" {
		t.Errorf("signed in and at %s", at)
	}
	if got := eval[string](p, "document.cookie"); got != "" {
		t.Errorf("scripts can read the session: %q", got)
	}
	p.click(`.who [formaction="/sign-out"]`)
	p.waitText("h1", "Sign in")
}

func TestScanner(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	p.open("/ready")
	for i, scan := range []struct{ text, scope, state, class string }{
		{barcode, readyScope, "ready for use", "ready"},
		{heldScope, heldScope, "on hold", "hold"},
		{strings.ToLower(inWorkScope), inWorkScope, "in reprocessing", "work"},
		{unknownScope, unknownScope, "not known", "unknown"},
		{"SN " + awayScope, awayScope, "out of service", "out"},
	} {
		if i > 2 {
			p.click("h1") // the focus is nowhere: the scanner has to work all the same
		}
		p.scan(scan.text)
		p.waitText(".answer h1", scan.scope)
		if got := p.text(".release .state"); !strings.HasSuffix(got, scan.state) {
			t.Errorf("%s: %q, want %q", scan.text, got, scan.state)
		}
		if scan.class != "unknown" && !eval[bool](p, fmt.Sprintf("document.querySelector('.release').classList.contains(%q)", scan.class)) {
			t.Errorf("%s: the page lacks the class %q", scan.text, scan.class)
		}
	}
	p.expect(http.StatusNotFound)
	p.scan("X-99")
	p.waitText(".answer", "No scope has this tag")
	p.expect(http.StatusNotFound)
	p.reload() // the answer has an address of its own
	p.waitText(".answer h1", "X-99")
	if at := p.location(); at != "/ready?scope=X-99" {
		t.Errorf("the answer is at %s", at)
	}
	if page := p.html(); strings.Contains(page, "T-02") || strings.Contains(page, "L-01") {
		t.Error("the release check names people")
	}
}

func TestReleaseWithoutScripts(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	p.scripts(false)
	p.open("/ready")
	p.fill("#scope", heldScope)
	p.click(".ask button")
	p.waitText(".answer h1", heldScope)
	if got := p.text(".answer"); !strings.Contains(got, "do not use on a patient") || !strings.Contains(got, "placed by a person: sign in to see why") ||
		strings.Contains(got, awkward) {
		t.Errorf("the answer, which must say that a person placed the hold, and not what they wrote:\n%s", got)
	}
}

// What is recorded elsewhere comes up on a page that is open, also what was recorded before the page
// began to listen and while it was cut off.
func TestLivePage(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	hold := func(tag, reason string) {
		t.Helper()
		b.clock.Move(time.Second)
		b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.PlaceHold(e, reprocessing.Hold{Scope: tag, By: "T-01", Reason: reason})
		})
	}
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	const held = "[aria-labelledby=on-hold]"
	p.open("/today")
	if got := p.text(held); strings.Contains(got, readyScope) {
		t.Fatalf("%s is on hold before:\n%s", readyScope, got)
	}
	hold(readyScope, "dropped")
	p.waitText(held, "dropped")
	hold(inWorkScope, "smells")
	p.waitText(held, "smells")
	if got := p.text("main"); strings.Contains(got, "connection is lost") || eval[bool](p, `document.querySelector(".stale") !== null`) {
		t.Error("the page says that it is not up to date")
	}

	p.offline(true)
	b.line.cut()
	p.waitFor(".stale")
	hold(overdueScope, "scratched")
	p.offline(false)
	p.waitText(held, "scratched")
	p.wait(`document.querySelector(".stale") === null`)
}

// A screen on the wall shows the board and nobody's name, code or words, where the pages are served so.
func TestWall(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	if a := b.ask(http.MethodGet, "/wall", nobody); a.status != http.StatusSeeOther {
		t.Errorf("a wall that nobody opened: status %d", a.status)
	}
	var err error
	b.server, err = New(b.desk, Options{Base: b.server.Base, Clock: b.clock.Now, Door: b.server.Door, Wall: true})
	if err != nil {
		t.Fatal(err)
	}
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.HandOver(e, dossier.Handover{Text: "ask Kim"})
	})
	a := b.ask(http.MethodGet, "/wall", nobody)
	if a.status != http.StatusOK || !strings.Contains(a.body, heldScope) || !strings.Contains(a.body, `data-live="/wall/live"`) {
		t.Fatalf("status %d:\n%s", a.status, a.body)
	}
	for _, word := range []string{"T-01", "T-02", "L-01", "N-01", "dent", "ask Kim", "auditors", "leak at the bending", "/scopes/"} {
		if strings.Contains(a.body, word) {
			t.Errorf("the wall shows %q", word)
		}
	}
}
