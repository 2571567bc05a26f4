package web

import (
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// set puts a value into a field at once, as a chooser of dates or of options does.
func (p *page) set(css, value string) {
	p.Helper()
	p.waitFor(css)
	if !eval[bool](p, fmt.Sprintf("(() => { const f = document.querySelector(%q); f.value = %q; return f.value === %q })()", css, value, value)) {
		p.Fatalf("%s does not take %q", css, value)
	}
}

// standsOf reads what stands of a thing.
func standsOf[T any](b *site, typ record.Kind, key string) (body T, editions int) {
	b.Helper()
	b.look(func(v desk.View) error {
		all, err := v.Records().Editions(typ, key)
		if err != nil {
			return err
		}
		e, ok := desk.Latest(all)
		if !ok {
			b.Fatalf("no %s %s", typ, key)
		}
		editions = len(all)
		body, err = desk.BodyOf[T](e)
		return err
	})
	return body, editions
}

// Somebody registers a model, a scope, a lot and a meter, looks at the drawing before, changes the model and
// sees what the two editions differ in.
func TestRegisterInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.session(access.Administrator)
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	follow := func(text string) {
		t.Helper()
		p.wait(fmt.Sprintf("[...document.querySelectorAll('main a')].some((a) => a.innerText === %q)", text))
		eval[bool](p, fmt.Sprintf("([...document.querySelectorAll('main a')].find((a) => a.innerText === %q).click(), true)", text))
	}
	p.open("/set-up")
	follow("Register a model")
	p.fill("#f-name", "C 7/b")
	p.set("#f-kind", "colonoscope")
	p.fill("#f-outer", "12,8") // a comma as on paper
	p.click("details:has(#f-instrument-there) > summary")
	p.click("#f-instrument-there")
	p.fill("#f-instrument-bore", "wide")
	p.fill("#f-instrument-length", "1680")
	p.click("#f-instrument-brushable")
	p.fill("#f-instrument-cleaning", "brush")
	p.expect(http.StatusBadRequest)
	p.press("form.long", "Look at the drawing first")
	p.waitText("[role=alert]", "cannot be read")
	p.waitText("#f-instrument-bore-fault", "no number: wide")
	p.set("#f-instrument-bore", "3.7")
	p.press("form.long", "Look at the drawing first")
	p.waitText("main", "As it would be stored")
	p.waitText("main", "18.1 mL") // π/4·3.7²·1680 mm³ = 18.06 mL
	if got := eval[int](p, `document.querySelectorAll("main svg").length`); got != 3 {
		t.Errorf("%d drawings, want one for each of three widths", got)
	}
	p.press("form.long", "Register the model")
	p.waitText("[role=status]", "It is registered.")
	p.waitText("h1", "C 7/b")

	p.open("/set-up/register/scope")
	p.fill("#f-tag", "C-7")
	p.set("#f-model", "C 7/b")
	p.fill("#f-serial", "SN 77")
	p.set("#f-owner", "loan")
	p.press("form.long", "Register the scope")
	p.waitText("[role=status]", "It is registered.")
	p.open("/set-up/register/lot")
	p.fill("#f-kit", "K")
	p.fill("#f-lot", "L-77")
	p.set("#f-expires", "2027-04-01T00:00")
	p.press("form.long", "Register the lot")
	p.waitText(".headline", "in date")
	p.open("/set-up/register/meter")
	p.fill("#f-code", "M-7")
	p.fill("#f-system", "A")
	p.press("form.long", "Register the meter")
	p.waitText(".headline", "in service")

	p.open("/set-up/models")
	follow("C 7/b")
	p.waitText("h1", "C 7/b")
	follow("Change")
	p.set("#f-instrument-bore", "3.8")
	p.click("details:has(#f-air-there) > summary")
	p.click("#f-air-there")
	p.fill("#f-air-bore", "1.2")
	p.fill("#f-air-length", "3000")
	p.fill("#reason", "measured again")
	p.fill("[name=second]", codeOf(access.Administrator)) // another bore may ask for less
	p.fill("[name=second-password]", password)
	p.press("form.long", "Store the change")
	p.waitText("[role=status]", "new edition")
	for _, words := range []string{"3.7 mm", "3.8 mm", "≠", "changed", "+", "added", "air channel", "inner diameter 1.2 mm"} {
		if got := p.text(".differences"); !strings.Contains(got, words) {
			t.Errorf("the difference does not say %q:\n%s", words, got)
		}
	}
	if got := p.text("[aria-labelledby=history]"); !strings.Contains(got, "measured again") {
		t.Errorf("the history does not say why:\n%s", got)
	}
	p.open("/set-up/models/C%207%2Fb/edit")
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		m, _ := standsOf[scope.Model](b, record.Model, "C 7/b")
		m.Channels[0].Length, m.Channels[0].Cleaning, m.Second = 1700, "brush twice", codeOf(access.Administrator)
		r, _, err := w.SettingUp().RegisterModel(e, w.Now(), m)
		return r, err
	})
	p.set("#f-instrument-length", "1690")
	p.fill("#reason", "at the same time")
	p.expect(http.StatusConflict)
	p.press("form.long", "Store the change")
	p.waitText(".conflict", "Instrument channel, Length, port to tip: theirs 1700, yours 1690")
	p.inspect("model-conflict")
	if got := eval[string](p, `document.querySelector("#f-instrument-cleaning").value`); got != "brush twice" {
		t.Errorf("what the other has stored became %q in the form", got)
	}
	if a := b.ask(http.MethodGet, "/ready/C-7", nobody); !strings.Contains(a.body, "C-7") || a.status != http.StatusOK {
		t.Errorf("the release check does not know the scope: %d", a.status)
	}
	m, editions := standsOf[scope.Model](b, record.Model, "C 7/b")
	if editions != 3 || len(m.Channels) != 2 || m.OuterDiameter != 12.8 || m.Risk != scope.StandardRisk || m.Chosen != nil {
		t.Errorf("%d editions, the last %+v", editions, m)
	}
}

// Somebody changes the text of the rules, is told what is wrong with its line, looks at the difference, adopts
// it with a signature, and the bench works by it at once.
func TestRulesInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.session(access.Lead)
	b.session(access.InfectionPrevention)
	b.clock.Move(access.ProofHolds) // nobody has shown lately who they are
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	change := func(from, to string) {
		t.Helper()
		p.waitFor("#text")
		if !eval[bool](
			p,
			fmt.Sprintf(
				`(() => { const t = document.querySelector("#text"), old = t.value; t.value = old.replace(%q, %q); return t.value !== old })()`,
				from,
				to,
			),
		) {
			t.Fatalf("%q is not in the text", from)
		}
	}
	p.open("/set-up/rules/text")
	change("Swab about 10 cm of the distal end", "Swab about 12 cm of the distal end")
	change(`edition: "2026-1"`, `edition: "2026-2"`)
	change("shake: 5s", "shaek: 5s")
	p.expect(http.StatusBadRequest)
	p.press("main", "Look at the difference")
	p.waitText(".faults", `Line 11: the key "shaek" is not known here`)
	p.inspect("rules-text-wrong")
	change("shaek: 5s", "shake: 9s")
	p.press("main", "Look at the difference")
	p.waitText("h1", "Adopt General rule set, edition 2026-2")
	for _, words := range []string{"shortest shaking", "5s", "9s", "protocol for outer distal end, act 2", "12 cm"} {
		if got := p.text(".differences"); !strings.Contains(got, words) {
			t.Errorf("the difference does not say %q:\n%s", words, got)
		}
	}
	p.inspect("rules-preview")
	p.waitText("[aria-labelledby=less]", "protocol of outer distal end: another way of sampling")
	p.fill("#second", codeOf(access.InfectionPrevention)) // which the form keeps
	p.fill("#second-password", password)
	p.fill("#reason", "as the kit's new instructions say")
	p.fill("#secret", "a guess in the dark")
	p.expect(http.StatusForbidden)
	p.press("main", "Adopt the rule set")
	p.waitText("[role=alert]", "not right")
	if _, editions := standsOf[record.RulesBody](b, record.Rules, "rules"); editions != 1 {
		t.Error("it was adopted without a signature")
	}
	b.clock.Move(2 * time.Minute)
	p.fill("#second-password", password)
	p.fill("#secret", password)
	p.press("main", "Adopt the rule set")
	p.waitText("[role=status]", "It judges from now on")
	p.waitText("h1", "edition 2026-2")
	if all, _ := standsOf[record.RulesBody](b, record.Rules, "rules"); all.Second != codeOf(access.InfectionPrevention) || all.Slip != "" {
		t.Errorf("signed with %q, a slip %q", all.Second, all.Slip)
	}
	p.waitText("[aria-labelledby=history]", "as the kit's new instructions say")
	p.open("/bench")
	p.waitText("#network", "all stored")
	p.scan(inWorkScope)
	p.waitText("#bench", "Swab about 12 cm of the distal end")
}

// Somebody verifies a rule and changes a limit in the form without a script; the rule that is changed counts as
// not verified.
func TestRulesForm(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	p.scripts(false)
	signIn(b, p, access.InfectionPrevention)
	p.open("/set-up/rules/edit")
	fold := func(name string) string { return fmt.Sprintf("details:has([name=%q])", name) }
	within := "reprocessing / steps / manual-cleaning / within"
	p.click(fold(within) + " > summary")
	p.set(fmt.Sprintf("[name=%q]", within), "45min")
	arrival := "sampling / due / on-arrival / "
	p.click(fold(arrival+"verified") + " > summary")
	p.set(fmt.Sprintf("[name=%q]", arrival+"verified"), "yes")
	p.expect(http.StatusBadRequest)
	p.click("form.long > p > button")
	p.waitText(".fault", "Say where in the cited text")
	p.fill(fmt.Sprintf("[name=%q]", arrival+"verified_in"), "local policy, section 4")
	disinfectant := "reprocessing / disinfectants / opa-0.55 / contact" // which somebody has verified
	p.click(fold(disinfectant) + " > summary")
	p.set(fmt.Sprintf("[name=%q]", disinfectant), "14min")
	p.click("form.long > p > button")
	p.waitText("h1", "edition 2026-2")
	p.fill("#reason", "after the audit")
	p.click("form.long > p > button")
	p.waitText("[role=status]", "adopted")
	text, _ := standsOf[record.RulesBody](b, record.Rules, "rules")
	r, err := text.Rules()
	if err != nil {
		t.Fatal(err)
	}
	for _, rule := range r.Rules() {
		switch {
		case slices.Equal(rule.Base, []string{"sampling", "due", "on-arrival"}):
			if !rule.Source.Verified || rule.Source.VerifiedBy != codeOf(access.InfectionPrevention) || rule.Source.VerifiedIn != "local policy, section 4" {
				t.Errorf("verified: %+v", rule.Source)
			}
		case slices.Equal(rule.Base, []string{"cycle", "disinfectants", "opa-0.55"}):
			if rule.Source.Verified || !strings.Contains(rule.Words, "14min") {
				t.Errorf("a changed rule: %s %+v", rule.Words, rule.Source)
			}
		case slices.Equal(rule.Base, []string{"cycle", "steps", "manual-cleaning"}):
			if !strings.Contains(rule.Words, "45min") {
				t.Errorf("the limit: %s", rule.Words)
			}
		}
	}
	if !strings.Contains(text.Text, "# no guideline fixes a number") {
		t.Error("the comments of the text are gone")
	}
}

// fieldsOf are the fields of the form on a page, as they would be sent.
func fieldsOf(t *testing.T, page string) map[string]string {
	t.Helper()
	fields := map[string]string{}
	for _, name := range []string{"id", "base"} {
		_, rest, ok := strings.Cut(page, `name="`+name+`" value="`)
		if !ok {
			continue
		}
		fields[name], _, _ = strings.Cut(rest, `"`)
	}
	return fields
}

// Two people change the same scope from the same edition: the second is told what the first has stored, what
// was left alone takes it over, and what both have changed is told.
func TestTwoEditors(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	at := "/set-up/fleet/" + readyScope
	before, _ := standsOf[scope.Instrument](b, record.Instrument, readyScope)
	open := func(role access.Role) map[string]string {
		fields := fieldsOf(t, b.ask(http.MethodGet, at+"/edit", role).body)
		maps.Copy(fields, scopeValues(before, b.desk.DB.Zone()))
		fields["reason"] = "moved"
		return fields
	}
	first, second := open(access.Lead), open(access.Administrator)
	first["location"], first["serial"] = "Endoscopy 9", "SN 1"
	second["location"], second["barcode"] = "Endoscopy 5", "0777"
	for i := range 2 { // sent twice by a browser that got no answer
		if got := b.send(at, access.Lead, first); got.status != http.StatusSeeOther {
			t.Fatalf("the first, sent %d times: status %d\n%s", i+1, got.status, got.body)
		}
		b.clock.Move(time.Minute)
	}
	got := b.send(at, access.Administrator, second)
	if got.status != http.StatusConflict {
		t.Fatalf("the second: status %d", got.status)
	}
	for _, words := range []string{
		"changed it meanwhile", "Changed meanwhile by R-lead", "Endoscopy 9", "SN 1", "Both of you have changed these",
		`name="location" type="text" value="Endoscopy 5"`, `name="serial" type="text" value="SN 1"`, `name="barcode" type="text" value="0777"`, `value="moved"`,
	} {
		if !strings.Contains(got.body, words) {
			t.Errorf("the second does not see %q", words)
		}
	}
	if now, n := standsOf[scope.Instrument](b, record.Instrument, readyScope); n != 2 || now.Location != "Endoscopy 9" {
		t.Errorf("%d editions, the scope is at %s", n, now.Location)
	}
	second["base"], second["serial"] = fieldsOf(t, got.body)["base"], "SN 1"
	if got := b.send(at, access.Administrator, second); got.status != http.StatusSeeOther {
		t.Errorf("the second, having seen it: status %d", got.status)
	}
	if now, n := standsOf[scope.Instrument](
		b,
		record.Instrument,
		readyScope,
	); n != 3 || now.Location != "Endoscopy 5" || now.Serial != "SN 1" || now.Barcode != "0777" ||
		now.InService != before.InService {
		t.Errorf("%d editions, the scope is %+v", n, now)
	}
}

// Two people change the rules: the second goes on from what the first has adopted, in the form and in the text.
func TestTwoAdopters(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	form := fieldsOf(t, b.ask(http.MethodGet, "/set-up/rules/edit", access.Lead).body)
	b.describe() // adopts edition 2026-2 with two cleanings
	form["edition"], form["reading / cleanings"], form["reprocessing / unstored"] = "2026-2", "4", "2h"
	got := b.send("/set-up/rules/preview", access.Lead, form)
	if got.status != http.StatusConflict || !strings.Contains(got.body, "Changed meanwhile by L-01") ||
		!strings.Contains(got.body, `reading / cleanings: theirs <b>2</b>, yours <b>4</b>`) ||
		!strings.Contains(got.body, `value="2h"`) {
		t.Errorf("the form: status %d\n%.4000s", got.status, got.body)
	}
	text := strings.Replace(string(rules.Preset()), "unstored: 3h", "unstored: 2h", 1)
	sent := map[string]string{"base": form["base"], "text": strings.ReplaceAll(text, "\n", "\r\n"), "reason": "x", "id": b.newID(), "secret": password}
	for _, path := range []string{"/set-up/rules/preview", "/set-up/rules"} {
		got := b.send(path, access.Lead, sent)
		if got.status != http.StatusConflict || !strings.Contains(got.body, "Changed meanwhile by L-01") || !strings.Contains(got.body, "unstored: 2h") {
			t.Errorf("%s: status %d\n%.4000s", path, got.status, got.body)
		}
	}
	if _, n := standsOf[record.RulesBody](b, record.Rules, "rules"); n != 2 {
		t.Errorf("%d editions", n)
	}
}

// A form that is refused shows what was typed and what is wrong, and nothing is stored.
func TestRegisterRefused(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Lead)
	at := kit.MomentText(b.at(), b.desk.DB.Zone())
	base := fieldsOf(t, b.ask(http.MethodGet, "/set-up/kits/K%7C7/edit", access.Lead).body)["base"]
	meter := fieldsOf(t, b.ask(http.MethodGet, "/set-up/meters/M-1/edit", access.Lead).body)["base"]
	for _, test := range []struct {
		name, path string
		fields     map[string]string
		status     int
		want       string
	}{
		{"no id", "/set-up/meters", map[string]string{"id": "x", "code": "M-9", "system": "A"}, http.StatusBadRequest, "Open the page anew"},
		{"a meter without a system", "/set-up/meters", map[string]string{"code": "M-9"}, http.StatusBadRequest, "give a code and the meter system"},
		{"a meter that there is", "/set-up/meters", map[string]string{"code": "M-1", "system": "A"}, http.StatusConflict, "registered already"},
		{
			"a scope of no model", "/set-up/fleet",
			map[string]string{"tag": "X-1", "model": "none", "owner": "own", "in-service": at},
			http.StatusNotFound,
			"not registered",
		},
		{
			"a scope without a day", "/set-up/fleet",
			map[string]string{"tag": "X-1", "model": "D1", "owner": "own", "in-service": "soon"},
			http.StatusBadRequest,
			"no date and time: soon",
		},
		{"a model without a bore", "/set-up/models", map[string]string{
			"name": "N", "kind": "gastroscope", "outer": "9", "sampled": "100", "air-there": "yes",
			"air-length": "2000",
		}, http.StatusBadRequest, "must be over 0 mm"},
		{"a point that it has not", "/set-up/models", map[string]string{
			"name": "N", "kind": "gastroscope", "outer": "9", "sampled": "100",
			"point-balloon-channel": "routine",
		}, http.StatusBadRequest, "does not exist on this model"},
		{"a lot without an expiry", "/set-up/kits", map[string]string{"kit": "K", "lot": "77"}, http.StatusBadRequest, "give kit, lot and expiry"},
		{"a change without a reason", "/set-up/kits/K%7C7", map[string]string{"base": base, "expires": at}, http.StatusBadRequest, "Say why"},
		{"a change from nowhere", "/set-up/meters/M-1", map[string]string{"system": "A", "reason": "x"}, http.StatusBadRequest, "from which edition"},
		{"a change of nothing", "/set-up/meters/M-1", map[string]string{"base": meter, "system": "A", "reason": "x"}, http.StatusBadRequest, "Nothing is changed"},
		{
			"a change from no edition", "/set-up/kits/K%7C7",
			map[string]string{"base": b.anyRecord(readyScope), "expires": at, "reason": "x"},
			http.StatusNotFound,
			"no such edition",
		},
		{"a change of nothing there", "/set-up/kits/K%7Cnone", map[string]string{"expires": at, "reason": "x"}, http.StatusNotFound, "No lot is called"},
		{"a recall without a reason", "/set-up/kits/K%7C7/recall", map[string]string{"base": base, "at": at}, http.StatusBadRequest, "say why it is recalled"},
		{
			"a recall at no time", "/set-up/kits/K%7C7/recall",
			map[string]string{"base": base, "at": "now", "reason": "x"},
			http.StatusBadRequest,
			"no date and time: now",
		},
		{
			"a target without a source", "/set-up/targets",
			map[string]string{"system": "A", "kind": "positive", "material": "strip", "low": "1", "high": "5"},
			http.StatusBadRequest, "source, edition",
		},
		{"a scope leaves without a reason", "/set-up/fleet/D-01/leave", map[string]string{"at": at}, http.StatusBadRequest, "is no edition"},
	} {
		fields := map[string]string{"id": b.newID()}
		maps.Copy(fields, test.fields)
		before := b.size()
		got := b.send(test.path, access.Lead, fields)
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2500s", test.name, got.status, test.status, test.want, got.body)
		}
		if after := b.size(); after != before {
			t.Errorf("%s: %d records were stored", test.name, after-before)
		}
		if typed := test.fields["code"]; typed != "" && !strings.Contains(got.body, `value="`+typed+`"`) {
			t.Errorf("%s: what was typed is gone", test.name)
		}
	}
}

// A target is adopted with a signature, and checks are judged by it.
func TestTargetIsSigned(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Lead)
	b.clock.Move(access.ProofHolds)
	fields := map[string]string{
		"id":       b.newID(),
		"system":   "A",
		"kind":     "positive",
		"material": "strip",
		"low":      "400",
		"high":     "600",
		"source":   "sheet of the maker",
		"edition":  "3",
	}
	if got := b.send(
		"/set-up/targets",
		access.Lead,
		fields,
	); got.status != http.StatusForbidden || !strings.Contains(got.body, "This is a signature") ||
		!strings.Contains(got.body, `value="sheet of the maker"`) {
		t.Errorf("not signed: status %d", got.status)
	}
	fields["secret"] = password
	got := b.send("/set-up/targets", access.Lead, fields)
	b.keep(access.Lead, got)
	if got.status != http.StatusSeeOther {
		t.Fatalf("signed: status %d\n%s", got.status, got.body)
	}
	x, _ := standsOf[quality.Target](b, record.Target, "A|positive|strip")
	if x.Low != 400 || x.High != 600 || x.Adopter != codeOf(access.Lead) || !x.Adopted.Known() {
		t.Errorf("adopted: %+v", x)
	}
}

// A loan arrives, goes back, and comes again; a lot is recalled; a form from before is told so.
func TestLoanAndRecall(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Administrator)
	p.open("/set-up/fleet/L%207%2F2")
	p.waitText("main", "It goes back to its owner")
	old := fieldsOf(t, p.html())
	p.click("details:has(#leave-reason) > summary")
	p.fill("#leave-reason", "the own one is repaired")
	p.press("main", "It goes back")
	p.waitText(".headline", "out of service")
	b.clock.Move(5 * time.Minute)
	p.reload()
	p.click("details:has(#return-reason) > summary")
	p.fill("#return-reason", "lent again")
	p.press("main", "It arrives again")
	p.waitText("[role=status]", "back in service")
	p.waitText(".differences", "removed")
	old["id"], old["reason"], old["at"] = b.newID(), "x", kit.MomentText(b.at(), b.desk.DB.Zone())
	if got := b.send(
		"/set-up/fleet/L%207%2F2/leave",
		access.Lead,
		old,
	); got.status != http.StatusConflict ||
		!strings.Contains(got.body, "Somebody else (R-administrator)") {
		t.Errorf("a form from before: status %d", got.status)
	}
	if i, n := standsOf[scope.Instrument](b, record.Instrument, unknownScope); n != 3 || i.Retired.Known() {
		t.Errorf("%d editions, the last %+v", n, i)
	}
	p.open("/set-up/kits/K%7C7")
	p.click("details:has(#recall-reason) > summary")
	p.fill("#recall-reason", "the maker asks for it back")
	p.press("main", "Recall the lot")
	p.waitText(".headline", "recalled")
	p.open("/set-up/kits?state=recalled")
	p.waitText("tbody", "7")
}

// Two people take a recall back on the page of the lot, and neither the form of its edition nor one of them does.
func TestTakeBackRecall(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	const path = "/set-up/kits/K%7C7"
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		all, err := w.Records().Editions(record.Lot, "K|7")
		if err != nil {
			return desk.Receipt{}, err
		}
		last, _ := desk.Latest(all)
		e.Reason = "a notice"
		return w.SettingUp().Recall(e, "K|7", ledger.ID(last.ID), b.at())
	})
	b.clock.Move(time.Minute)
	edit := fieldsOf(t, b.ask(http.MethodGet, path+"/edit", access.Lead).body)
	edit["recalled"], edit["reason"], edit["expires"] = "", "a typo", kit.MomentText(b.at().Add(time.Hour), b.desk.DB.Zone())
	if got := b.send(path, access.Lead, edit); got.status != http.StatusBadRequest || !strings.Contains(got.body, "Two people take a recall back") {
		t.Errorf("emptied in the form: status %d\n%.2500s", got.status, got.body)
	}
	page := b.ask(http.MethodGet, path, access.Lead).body
	if !strings.Contains(page, "Take the recall back") {
		t.Errorf("the lead is offered nothing:\n%.2500s", page)
	}
	b.ask(http.MethodGet, path, access.InfectionPrevention) // who has signed in once has a password
	if page := b.ask(http.MethodGet, path, access.Auditor).body; strings.Contains(page, "Take the recall back") {
		t.Error("an auditor is offered to take the recall back")
	}
	form := func(change map[string]string) map[string]string {
		fields := map[string]string{
			"id": b.newID(), "base": edit["base"], "reason": "another lot was meant", "secret": password,
			"second": codeOf(access.InfectionPrevention), "second-password": password,
		}
		maps.Copy(fields, change)
		return fields
	}
	for _, test := range []struct {
		name   string
		change map[string]string
		status int
		want   string
	}{
		{"without a second person", map[string]string{"second": ""}, http.StatusBadRequest, "it takes a second person"},
		{"with oneself", map[string]string{"second": codeOf(access.Lead)}, http.StatusBadRequest, "must be somebody else"},
		{"without a reason", map[string]string{"reason": " "}, http.StatusBadRequest, "say why the recall is taken back"},
		{"with a guess", map[string]string{"second-password": "a guess in the dark"}, http.StatusForbidden, "Second person: "},
	} {
		if got := b.send(path+"/take-back", access.Lead, form(test.change)); got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2500s", test.name, got.status, test.status, test.want, got.body)
		}
	}
	b.clock.Move(time.Minute) // after a guess the next one has to wait
	if got := b.send(path+"/take-back", access.Lead, form(nil)); got.status != http.StatusSeeOther {
		t.Fatalf("taken back: status %d\n%.2500s", got.status, got.body)
	}
	l, n := standsOf[quality.Lot](b, record.Lot, "K|7")
	if n != 3 || l.Recalled.Known() || l.Cleared != codeOf(access.InfectionPrevention) {
		t.Errorf("%d editions, the last %+v", n, l)
	}
}

// Whoever only reads sees everything and no form that stores; a technician sees nothing of it.
func TestSetUpForReaders(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, e := range b.setUpExamples() {
		if strings.HasSuffix(e.path, "/edit") || strings.Contains(e.path, "/register/") || e.template == "problem" || strings.Contains(e.path, "look=") ||
			strings.Contains(e.path, "rules/") {
			continue
		}
		for _, role := range []access.Role{access.Auditor, access.Analyst} {
			got := b.ask(http.MethodGet, e.path, role)
			main := got.body[strings.Index(got.body, "<main"):]
			if got.status != http.StatusOK || strings.Contains(main, `method="post"`) || strings.Contains(main, "/edit\"") ||
				strings.Contains(main, "/register/") {
				t.Errorf("%s for %s: status %d, or it offers to change something", e.path, role, got.status)
			}
		}
		if got := b.ask(http.MethodGet, e.path, access.Technician); got.status != http.StatusForbidden {
			t.Errorf("%s for a technician: status %d", e.path, got.status)
		}
	}
}

// With the keyboard alone: from the overview to a meter that is registered.
func TestSetUpByKeyboard(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	p.open("/set-up")
	reach := func(words string) { // tabs until the focus is on what is called so
		t.Helper()
		for range 120 {
			p.keys(kb.Tab)
			if eval[bool](p, fmt.Sprintf("(document.activeElement.labels?.[0] ?? document.activeElement).innerText.trim().startsWith(%q)", words)) {
				return
			}
		}
		t.Fatalf("the focus never came to %q", words)
	}
	reach("Register a meter")
	p.keys("\r")
	p.waitText("h1", "Register a meter")
	reach("Code")
	p.keys("M-K")
	reach("Meter system")
	p.keys("A")
	reach("Register the meter")
	p.keys(" ")
	p.waitText("[role=status]", "It is registered.")
	if m, _ := standsOf[quality.Meter](b, record.Meter, "M-K"); m.System != "A" {
		t.Errorf("registered %+v", m)
	}
}

// Every list and every history is had as a file by whoever may export.
func TestSetUpFiles(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.describe()
	for path, words := range map[string]string{
		"/set-up/models": "D1,duodenoscope", "/set-up/fleet?state=out": "G-09,out of service", "/set-up/meters": "M-1,A", "/set-up/targets": "light,positive,A",
		"/set-up/kits?q=recalled": "",
		"/set-up/kits":            "8,K,recalled", "/set-up/rules": "Cleaning verifications,cleaning verification,\"After a test over the " +
			"action level", "/set-up/models/D1": "measured again",
	} {
		address := path + "?format=csv"
		if strings.Contains(path, "?") {
			address = path + "&format=csv"
		}
		got := b.ask(http.MethodGet, address, access.Auditor)
		if got.status != http.StatusOK || !strings.HasPrefix(got.header.Get("Content-Type"), "text/csv") || !strings.Contains(got.body, words) {
			t.Errorf("%s: status %d, %s, without %q:\n%s", address, got.status, got.header.Get("Content-Type"), words, got.body)
		}
		if strings.Contains(path, "state=out") && strings.Contains(got.body, readyScope) {
			t.Errorf("%s does not keep to the filter:\n%s", address, got.body)
		}
		if got := b.ask(http.MethodGet, address, access.Administrator); got.status != http.StatusForbidden {
			t.Errorf("%s for an administrator: status %d", address, got.status)
		}
	}
}

// What was typed into a form of a model and what it stores are the same in both directions, also with sampling
// points that the facility has chosen.
func TestModelFields(t *testing.T) {
	t.Parallel()
	chosen := duodenoscope
	chosen.Chosen = []scope.Choice{{Kind: scope.OuterDistalEnd, Routine: true}, {Kind: scope.InstrumentLumen}}
	turned := duodenoscope
	turned.Channels = []scope.Channel{duodenoscope.Channels[1], duodenoscope.Channels[0]}
	for _, m := range []scope.Model{duodenoscope, gastroscope, chosen, turned} {
		a := kit.Reply{Typed: modelValues(m, time.UTC), Zone: time.UTC}
		got := readModel(&a, m, "", 0)
		was, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		is, err := json.Marshal(got)
		if err != nil || string(was) != string(is) || len(a.Wrong) > 0 {
			t.Errorf("%s\nbecame\n%s (%v, %v)", was, is, err, a.Wrong)
		}
	}
	derived := kit.Reply{Typed: modelValues(duodenoscope, time.UTC)}
	derived.Typed[pointField(scope.ElevatorRecess)] = pointDemand
	m, _ := readModel(&derived, nil, "", 0).(scope.Model)
	if got := m.Routine(); len(m.Chosen) == 0 || slices.Contains(got, scope.ElevatorRecess) || !slices.Contains(got, scope.InstrumentLumen) {
		t.Errorf("with one point chosen: %+v", m.Chosen)
	}
}

func TestFollowingEdition(t *testing.T) {
	t.Parallel()
	for edition, want := range map[string]string{
		"2026-1": "2026-2", "9": "10", "v1.09b": "v1.10b", "first": "first-2", "": "-2",
		"99999999999999999999": "99999999999999999999-2",
	} {
		if got := following(edition); got != want {
			t.Errorf("%q is followed by %q, want %q", edition, got, want)
		}
	}
}

func TestMingled(t *testing.T) {
	t.Parallel()
	base := map[string]string{"a": "1", "b": "1", "c": "1", "d": "1", "e": ""}
	mine := map[string]string{"a": "1", "b": "2", "c": "2", "d": "2"}
	now := map[string]string{"a": "3", "b": "1", "c": "3", "d": "2", "e": "3"}
	got, both := kit.Mingled(base, mine, now, []string{"a", "b", "c", "d", "e"})
	want := map[string]string{"a": "3", "b": "2", "c": "2", "d": "2", "e": "3"}
	if fmt.Sprint(got) != fmt.Sprint(want) || !slices.Equal(both, []string{"c"}) {
		t.Errorf("got %v, clashes %v", got, both)
	}
}

// A form keeps seconds that a browser does not show.
func TestMomentKeepsSeconds(t *testing.T) {
	t.Parallel()
	at := unit.At(time.Date(2026, 3, 2, 9, 30, 17, 0, time.UTC))
	a := kit.Reply{Typed: map[string]string{"same": "2026-03-02T09:30", "other": "2026-03-02T09:31"}, Zone: time.UTC}
	if got := a.Moment("same", at); got != at {
		t.Errorf("not changed: %s", got)
	}
	if got := a.Moment("other", at); got != at.Add(43*time.Second) {
		t.Errorf("changed: %s", got)
	}
}
