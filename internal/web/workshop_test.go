package web

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
)

// Somebody derives a level from the readings, judges it by cultures, replays the past, adopts it and signs.
// From then on it judges at the bench, and the release check keeps a scope that it does not let pass.
func TestDeriveAndAdopt(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.levelled()
	p := openPage(t, b.server.Base.String())
	b.session(access.InfectionPrevention) // who signs with the lead
	signIn(b, p, access.Lead)
	b.clock.Move(6 * time.Minute) // whoever signed in that long ago has to sign anew
	p.open("/levels")
	p.click(`a[href="/levels/workshop"].button`)
	p.waitText("h1", "Level workshop")
	p.click(`a[href="/levels/workshop?kit=K&point=instrument-channel&system=A"]`)
	p.waitText("[role=status]", "readings count")

	// A scope is left out, with a reason.
	p.fill("#doubt-0", levelScope(3))
	p.fill("#why-0", "a fault that was found later")
	p.click(`button[value=baseline]`)
	p.waitText("main", "8: a fault that was found later")
	p.click(`form button[value=candidates]`)
	p.waitText("main", "299 are needed")
	p.click("#method-0")
	p.click(`form button[value=cultures]`)
	p.waitText("h2", "Judged by cultures")
	p.fill("#csv", b.someCultures())
	p.click("form[enctype] button")
	p.waitText("main", "12 cultures are given")
	p.waitText("#judged + p", "area under the curve")
	p.click(`a[href*="step=known"].button`)
	p.waitText("main", "differences between scopes included")
	p.click(`form button[value=replay]`)
	p.waitText("main", "cleaning verifications have another outcome")
	p.do(chromedp.Evaluate[chromedp.Void]("history.back()"))
	p.waitText("h2", "known cleanliness")
	p.reload() // the address has everything
	p.waitText("main", "action level")
	p.click(`.level-steps a[href*="step=replay"]`)
	p.waitText("main", "cleaning verifications have another outcome")
	p.click(`form button[value=adopt]`)
	p.waitText("h2", "Adopt the level")
	p.fill("#edition", "2026-2")
	p.fill("#note", "the readings of the last weeks")
	p.fill("#secret", "not the password")
	p.expect(http.StatusForbidden)
	p.click(".level-form button")
	p.waitFor(".problem")
	if got := eval[string](
		p,
		`document.querySelector("#note").value + "|" + document.querySelector("#secret").value`,
	); got != "the readings of the last weeks|" {
		t.Errorf("after a wrong password the form holds %q", got)
	}
	b.clock.Move(2 * time.Minute) // until the next cleaning may be made
	p.fill("#secret", password)
	p.expect(http.StatusBadRequest)
	p.click(".level-form button")
	p.waitText(".problem", "asks for less than before")
	p.fill("#second", codeOf(access.InfectionPrevention))
	p.fill("#second-password", password)
	p.click(".level-form button")
	p.waitText(".said", "adopted and signed")
	for _, words := range []string{
		"in force", "the readings of the last weeks", "log-normal", "a fault that was found later", "SHA-256",
		"area under the curve", "cleaning verifications have another outcome",
	} {
		if !strings.Contains(p.text("main"), words) {
			t.Errorf("the record does not tell %q:\n%s", words, p.text("main"))
		}
	}

	var l desk.LevelEdition
	b.look(func(v desk.View) error {
		all, err := v.Studies().LevelTargets()
		for _, x := range all {
			if x.InForce.Point == scope.InstrumentLumen {
				l = *x.InForce
			}
		}
		return err
	})
	if l.Edition != "2026-2" || l.Adopter != codeOf(access.Lead) || !l.Derived || l.Action >= 300 || l.Action <= 200 {
		t.Fatalf("in force: %+v", l)
	}
	// 201 was over the level of 200; it is not over this one, and 30 more are. The scope is one whose cycles are on record
	// as the rules ask: those of the readings above were written without the rules, so that its use would place a hold.
	tag := readyScope
	for i, value := range []string{"201", (l.Action + 1).String()} {
		b.use(tag)
		b.clean(tag)
		for _, point := range routine {
			v := "30"
			if point == scope.InstrumentLumen {
				v = value
			}
			b.read(b.take(tag, point), v)
		}
		b.look(func(v desk.View) error {
			last, err := v.Numbers().Lately(tag, scope.InstrumentLumen, b.at(), 1)
			if err != nil {
				return err
			}
			x, err := v.Numbers().ReadingOf(last[0].ID)
			if want := []reading.Outcome{reading.Alert, reading.Action}[i]; x.Judgement.Outcome != want ||
				!strings.Contains(x.Judgement.Why, "2026-2") && !strings.Contains(x.Judgement.Why, l.Action.String()) {
				t.Errorf("%s RLU: %s because %s, want %s", value, x.Judgement.Outcome, x.Judgement.Why, want)
			}
			return err
		})
		b.finish(tag) // whatever was read
		p.open("/ready/" + tag)
		p.waitFor(".answer")
		got, ready := p.text(".answer"), i == 0
		if strings.Contains(p.text(".answer .state"), "ready") != ready || strings.Contains(got, "do not use") == ready {
			t.Errorf("at %s RLU the release check says:\n%s", value, got)
		}
	}
}

// Two levels of one target are set side by side, and a verification that they judge differently leads to its record.
func TestCompareTwoLevels(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.levelled()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Auditor)
	p.open("/levels/compare?" + levelQuery)
	p.do(chromedp.SetValue(chromedp.CSS("#second"), "template:channel-sponge-2016"))
	p.click("form[method=get] button")
	p.waitText("#differs + ul", "The second action level is 0.50 times the first.")
	text := p.text("main")
	for _, words := range []string{"is cleaned again with a probability of", "further cleanings", "cleaning verifications have another " +
		"outcome", "sponge drawn through the channel"} {
		if !strings.Contains(text, words) {
			t.Errorf("the comparison does not tell %q:\n%s", words, text)
		}
	}
	p.fill("#csv", b.someCultures())
	p.click("form[enctype] button")
	p.waitText("#differs + ul", "culture-positive scopes")
	if at := p.location(); !strings.Contains(at, "second=template") || !strings.Contains(at, "cultures=") {
		t.Errorf("the address forgot what was asked: %s", at)
	}
	p.click("#past ~ .scroll tbody tr td:last-child a")
	p.waitText("h1", "Cleaning verification")
}

// What cannot be is refused with words that say what to do, and the page stays usable.
func TestWorkshopRefuses(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.levelled()
	for name, test := range map[string]struct {
		query  string
		status int
		words  string
	}{
		"no such point":        {"system=A&kit=K&point=nose", http.StatusBadRequest, "is not known; allowed: outer-distal-end"},
		"no kit":               {"system=A&point=instrument-channel", http.StatusBadRequest, "one meter system and one kit"},
		"no readings":          {"system=B&kit=K&point=instrument-channel", http.StatusNotFound, "There is no reading of"},
		"no such day":          {levelQuery + "&from=yesterday", http.StatusBadRequest, "is no day"},
		"days exchanged":       {levelQuery + "&from=2026-02-01&to=2026-01-01", http.StatusBadRequest, "Exchange the two days"},
		"no reason":            {levelQuery + "&doubt=LV-01&why=", http.StatusBadRequest, "Why does LV-01 not count"},
		"no such reading":      {levelQuery + "&doubt=Q-99&why=gone", http.StatusNotFound, "is of scope Q-99"},
		"nothing chosen":       {levelQuery + "&step=replay", http.StatusBadRequest, "Choose a candidate first"},
		"no candidate":         {levelQuery + "&step=known&method=distribution-free", http.StatusBadRequest, "299 are needed"},
		"no such method":       {levelQuery + "&step=known&method=guess", http.StatusBadRequest, "no method"},
		"no action level":      {levelQuery + "&step=known&method=typed&alert=5", http.StatusBadRequest, "whole number over 0"},
		"alert over action":    {levelQuery + "&step=known&method=typed&alert=50&action=40", http.StatusBadRequest, "nor over the action level"},
		"shares exchanged":     {levelQuery + "&step=candidates&share-alert=0.99&share-action=0.95", http.StatusBadRequest, "not over the action percentile"},
		"too many points":      {levelQuery + "&step=known&method=typed&action=40&points=1,2,3,4,5", http.StatusBadRequest, "at most 4 numbers"},
		"too many curves":      {levelQuery + "&step=known&method=typed&action=40&points=1,2,3&cleanings=2,3", http.StatusBadRequest, "cannot be told apart"},
		"no spread":            {levelQuery + "&step=known&method=typed&action=40&spread=x", http.StatusBadRequest, "is not a number"},
		"cultures of no level": {levelQuery + "&step=cultures", http.StatusBadRequest, "Choose a candidate first"},
		"cultures in pieces":   {levelQuery + "&step=cultures&method=typed&action=40&cultures=AAAA", http.StatusBadRequest, "are not whole"},
		"replay in a void":     {levelQuery + "&step=replay&method=typed&action=40&from=2020-01-01&to=2020-01-02", http.StatusNotFound, "There is no reading of"},
		"prevalence over one": {levelQuery + "&step=cultures&method=typed&action=40&prevalence=2&cultures=" + packCultures([]desk.Culture{{
			Scope: "LV-00",
			Taken: b.at(),
		}}), http.StatusBadRequest, "is no share"},
		"nobody to compare to": {"compare", http.StatusBadRequest, "There is no level"},
		"only negative culture": {
			levelQuery + "&step=cultures&method=typed&action=40&cultures=" + packCultures([]desk.Culture{{Scope: "LV-00", Taken: b.at()}}),
			http.StatusBadRequest, "can be said only with both",
		},
	} {
		path := workshopPath + "?" + test.query
		if test.query == "compare" {
			path = comparePath + "?" + levelQuery + "&second=nothing"
		}
		a := b.ask(http.MethodGet, path, access.Lead)
		if a.status != test.status || !strings.Contains(a.body, test.words) || !strings.Contains(a.body, "</html>") {
			t.Errorf("%s: status %d, want %d with %q:\n%.3000s", name, a.status, test.status, test.words, problemOf(a))
		}
	}
}

// problemOf is what a page says is wrong, for a message.
func problemOf(a answer) string {
	_, rest, ok := strings.Cut(a.body, `class="problem"`)
	if !ok {
		return "no problem"
	}
	rest, _, _ = strings.Cut(rest, "</p>")
	return rest
}

// adoption is a whole form that adopts a level, with fields changed in pairs.
func adoption(id string, change ...string) map[string]string {
	form := map[string]string{
		"system":      "A",
		"kit":         "K",
		"point":       string(scope.InstrumentLumen),
		"id":          id,
		"method":      "typed",
		"alert":       "60",
		"action":      "90",
		"seen-alert":  "60",
		"seen-action": "90",
		"edition":     "3",
		"note":        "a trial",
		"source":      "own",
		"secret":      password,
	}
	for i := 0; i+1 < len(change); i += 2 {
		form[change[i]] = change[i+1]
	}
	return form
}

// A form that is sent twice adopts once; one that lacks something, or shows another level than what the
// readings give, adopts nothing.
func TestAdoptOnce(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.levelled()
	count := func() (n int) {
		b.look(func(v desk.View) error {
			all, err := v.Registry().Levels()
			n = len(all)
			return err
		})
		return n
	}
	before := count()
	const id = "0190a1b2-c3d4-7e5f-8a6b-7c8d9e0f1a2b"
	for name, test := range map[string]struct {
		change []string
		status int
		words  string
	}{
		"no edition":     {[]string{"edition", " "}, http.StatusBadRequest, "Give the edition a name"},
		"no reason":      {[]string{"note", ""}, http.StatusBadRequest, "Say why this level"},
		"no target":      {[]string{"system", "", "kit", "", "point", ""}, http.StatusBadRequest, "Choose first what the level is for"},
		"no such moment": {[]string{"at", "soon"}, http.StatusBadRequest, "This is no date and time"},
		"another level":  {[]string{"method", "log-normal"}, http.StatusConflict, "Readings have come or gone"},
		"no id":          {[]string{"id", ""}, http.StatusBadRequest, "Open the page anew"},
	} {
		a := b.send(workshopPath, access.Lead, adoption(id, test.change...))
		if a.status != test.status || !strings.Contains(a.body, test.words) {
			t.Errorf("%s: status %d, want %d with %q: %s", name, a.status, test.status, test.words, problemOf(a))
		}
	}
	if n := count(); n != before {
		t.Fatalf("%d levels were adopted by forms that were refused", n-before)
	}
	for range 2 {
		a := b.send(workshopPath, access.Lead, adoption(id))
		if got := a.header.Get("Location"); a.status != http.StatusSeeOther || got != "/levels/"+id+"?done=adopted" {
			t.Fatalf("status %d to %q: %s", a.status, got, problemOf(a))
		}
		b.clock.Move(time.Second)
	}
	if n := count(); n != before+1 {
		t.Errorf("%d levels more, want 1", n-before)
	}
	if a := b.send(workshopPath, access.Lead, adoption(id, "edition", "4")); a.status != http.StatusConflict {
		t.Errorf("another level under the same id: status %d", a.status)
	}
	// One that judges from later on is listed as such and does not judge yet.
	a := b.send(workshopPath, access.InfectionPrevention, adoption("0190a1b2-c3d4-7e5f-8a6b-7c8d9e0f1a2c", "edition", "5", "at", "2031-01-01T06:00"))
	if a.status != http.StatusSeeOther {
		t.Fatalf("a level for later: status %d: %s", a.status, problemOf(a))
	}
	body := b.ask(http.MethodGet, "/levels", access.Analyst).body
	for _, words := range []string{"From 2031-01-01 06:00 on:", "1 earlier", "edition 3."} {
		if !strings.Contains(body, words) {
			t.Errorf("the list does not tell %q", words)
		}
	}
}

// Lists are taken away as files by whoever may export, with the readings that do not count.
func TestLevelFiles(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.levelled()
	chosen := workshopPath + "?" + levelQuery + "&method=typed&action=90&step="
	for path, want := range map[string]string{
		"/levels?":              "in force,A,K,instrument-channel,every kind,atp,100,200,RLU,over it,test,1,",
		chosen + baselineStep:   "record,scope,kind,at,cleaning,RLU,counts,why not\r\n",
		chosen + candidatesStep: "distribution-free,action,99 %,,,,,",
		chosen + knownStep:      "points,cleanings at most,true median RLU,cleaned again",
		chosen + replayStep:     "scope,cycle sampled at,cleaning,today,proposed\r\nLV-",
		comparePath + "?" + levelQuery + "&second=typed&second-action=90": "scope,cycle sampled at,cleaning,first,second\r\nLV-",
	} {
		a := b.ask(http.MethodGet, path+"&format=csv", access.Lead)
		if a.status != http.StatusOK || !strings.Contains(a.header.Get("Content-Type"), "text/csv") || !strings.Contains(a.body, want) {
			t.Errorf("%s: status %d, want %q in:\n%.600s", path, a.status, want, a.body)
		}
		if a := b.ask(http.MethodGet, path+"&format=xlsx", access.Lead); a.status != http.StatusOK || !strings.HasPrefix(a.body, "PK") {
			t.Errorf("%s as XLSX: status %d", path, a.status)
		}
	}
}

func TestPackCultures(t *testing.T) {
	t.Parallel()
	at := storetest.NewClock().At()
	all := []desk.Culture{
		{Scope: "L 7/2", Taken: at, Positive: true},
		{Scope: "D-01", Taken: at.Add(-time.Hour)},
		{Scope: "L 7/2", Taken: at.Add(90 * time.Second)},
		{Scope: "é", Taken: 1, Positive: true},
		{Taken: -7},
	}
	for n := range len(all) + 1 {
		got, err := unpackCultures(packCultures(all[:n]))
		if n == 0 {
			got = nil
		}
		if err != nil || len(got) != n {
			t.Fatalf("%d cultures: %v, %v", n, got, err)
		}
		for i, c := range got {
			if c != all[i] {
				t.Errorf("culture %d: %+v, want %+v", i, c, all[i])
			}
		}
	}
	many := make([]desk.Culture, 1000)
	for i := range many {
		many[i] = desk.Culture{Scope: levelScope(i * 7), Taken: at.Add(time.Duration(i*i) * time.Minute), Positive: i%9 == 0}
	}
	if n := len(packCultures(many)); n > mostPacked {
		t.Errorf("1000 cultures take %d bytes in an address, want at most %d", n, mostPacked)
	}
	packed := packCultures(all)
	for i := range len(packed) {
		if got, err := unpackCultures(packed[:i]); err == nil && i > 0 {
			t.Errorf("cut to %d characters it is %v", i, got)
		}
	}
	for _, text := range []string{"!", "AAAA", strings.Repeat("A", mostPacked+4)} {
		if got, err := unpackCultures(text); err == nil {
			t.Errorf("%.10q is %v", text, got)
		}
	}
}
