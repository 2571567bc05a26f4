package web

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
	"rinsate/internal/wire/table"
)

// foreign is a file of another system: other headers, semicolons, Windows-1252, local times, other words.
const foreign = "Ger\xe4t;Stelle;Entnommen;Aktiviert;Gelesen;Charge;Wert;Wer\n" +
	"D-01;au\xdfen;02.03.2026 10:20;02.03.2026 10:21;02.03.2026 10:21;7;41;T-01\n" +
	"D-01;Instrumentierkanal;02.03.2026 10:25;02.03.2026 10:26;02.03.2026 10:26;7;62;T-01\n"

// A file of another system is read in by saying, column by column, what it holds; the profile that comes
// of it is what the command takes.
func TestImportForeignFile(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	clock := storetest.NewClock()
	b := serve(t, clock)
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	name := filepath.Join(t.TempDir(), "werte.csv")
	if err := os.WriteFile(name, []byte(foreign), 0o600); err != nil {
		t.Fatal(err)
	}
	p.open("/import")
	p.click(`main a[href="/import/readings"]`)
	p.waitText("h1", "Import readings")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file"), []string{name}))
	p.click(".import-upload button")
	p.waitText("h1", "werte.csv")
	if got := p.text(".import-form"); !strings.Contains(got, "semicolon and the encoding windows-1252") || !strings.Contains(got, "außen") {
		t.Errorf("what was guessed is not told:\n%s", got)
	}
	p.click(`[value="try"]`) // as it is: what is missing is told
	p.waitText("#tried", "cannot be read")
	if got := p.text("[role=alert]"); !strings.Contains(got, `"scope" is missing`) || !strings.Contains(got, "Gerät") {
		t.Errorf("what is missing is not told:\n%s", got)
	}
	for _, c := range [][2]string{{"scope", "Gerät"}, {"point", "Stelle"}, {"collected", "Entnommen"}, {"activated", "Aktiviert"}, {"read", "Gelesen"}, {
		"lot",
		"Charge",
	}, {"value", "Wert"}, {"person", "Wer"}} {
		p.set(fmt.Sprintf(`[name="column.%s"]`, c[0]), c[1])
	}
	for _, c := range [][2]string{{"kit", "K"}, {"meter", "M-1"}, {"shaken_s", "6"}} {
		p.fill(fmt.Sprintf(`[name="constant.%s"]`, c[0]), c[1])
	}
	p.click(`p.row [value="look"]`)
	p.waitText(".import-form", "Times are written DD.MM.YYYY HH:mm")
	if got := eval[string](p, `document.querySelector('[name="constant.kit"]').value`); got != "K" {
		t.Errorf("what was typed is gone: the kit is %q", got)
	}
	p.set(`input[value="außen"] + select`, "outer-distal-end")
	p.set(`input[value="Instrumentierkanal"] + select`, "instrument-channel")
	before := b.records()
	p.click(`[value="try"]`)
	p.waitText("#tried", "What would happen")
	if got := b.records(); got != before {
		t.Errorf("trying stored %d records", got-before)
	}
	p.click(`[value="store"]`)
	p.waitText("#stored", "Stored")
	if got := b.records(); got < before+5 { // two samples, two readings, the import
		t.Errorf("%d records were stored", got-before)
	}
	at := p.location()
	p.reload()
	p.waitText("#stored", "Stored")

	profile := b.ask(http.MethodGet, at+"/profile.yaml", access.Lead).body
	parsed, err := table.ParseProfile("profile.yaml", strings.NewReader(profile))
	if err != nil || parsed.Columns["scope"] != "Gerät" || parsed.Values["point"]["außen"] != "outer-distal-end" || parsed.Constant["kit"] != "K" {
		t.Fatalf("the profile: %v\n%s", err, profile)
	}
	out, err := b.desk.As(access.Operator("L-01")).
		Import(t.Context(), desk.File{Kind: desk.Readings, Name: "werte.csv", Content: strings.NewReader(foreign), Profile: parsed, By: "L-01"}, false)
	if err != nil || out.Stored != 0 || out.Known != 2 {
		t.Errorf("the same file by the profile: %v, %+v", err, out)
	}
}

// Without scripts a file is tried and stored just the same; the page asks again by itself.
func TestImportWithoutScripts(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	p.scripts(false)
	signIn(b, p, access.Administrator)
	p.bring(desk.Meters, "meter,system\nM-8,A\n")
	if u := b.server.imports.of(codeOf(access.Administrator)); len(u) != 1 || u[0].now().result.Stored != 1 {
		t.Errorf("%v", u)
	}
}

// What goes on can be watched after a reload, by scripts without a reload, and is not done twice.
func TestImportProgress(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	u := b.hand(codeOf(access.Lead), desk.People, "people.csv", desk.Example(desk.People))
	u.change(func(st *state) { st.stage = stageTrying })
	u.read.Store(u.size / 2)
	p.open("/imports/" + u.id)
	p.waitText("[role=status]", "50 percent")
	u.read.Store(u.size * 3 / 4)
	p.waitText("[role=status]", "75 percent")
	b.server.beginImport(u, b.leads(u.by), access.Actor{}, true) // sent again meanwhile
	if st := u.now(); st.stage != stageTrying || st.trial != nil {
		t.Errorf("it began a second time: %+v", st)
	}
	u.change(func(st *state) { st.stage = stageWaiting })
	b.try(u)
	p.waitText("#tried", "What would happen")
}

// importForm is the form with a file as a browser sends it.
func importBody(t *testing.T, parts map[string]string) (body *bytes.Buffer, kind string) {
	t.Helper()
	body = new(bytes.Buffer)
	w := multipart.NewWriter(body)
	for _, name := range []string{"file", "profile"} {
		content, ok := parts[name]
		if !ok {
			continue
		}
		part, err := w.CreateFormFile(name, name+".csv")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(part, content); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return body, w.FormDataContentType()
}

func (b *site) sendImport(t *testing.T, kind desk.Kind, role access.Role, parts map[string]string) answer {
	t.Helper()
	body, form := importBody(t, parts)
	return b.ask(http.MethodPost, "/import/"+string(kind), role, func(r *http.Request) {
		r.Header.Set("Content-Type", form)
		r.Body = io.NopCloser(body)
	})
}

func TestImportRefusals(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	const file = "meter,system\nM-8,A\n"
	for _, c := range []struct {
		reason string
		kind   desk.Kind
		role   access.Role
		parts  map[string]string
		status int
		says   string
	}{
		{"no file", desk.Meters, access.Lead, nil, http.StatusBadRequest, "Choose a file."},
		{"a profile alone", desk.Meters, access.Lead, map[string]string{"profile": "decimal: comma\n"}, http.StatusBadRequest, "Choose a file."},
		{
			"a profile that is none", desk.Meters, access.Lead,
			map[string]string{"file": file, "profile": "decimals: comma\n"},
			http.StatusBadRequest,
			"there is no such key",
		},
		{
			"too large", desk.Meters, access.Lead,
			map[string]string{"file": strings.Repeat("x", importMost+1)},
			http.StatusRequestEntityTooLarge,
			"rinsate import meters FILE",
		},
		{
			"far too large", desk.Meters, access.Lead,
			map[string]string{"file": strings.Repeat("x", importLimit+1)},
			http.StatusRequestEntityTooLarge,
			"rinsate import meters FILE",
		},
		{"readings by an administrator", desk.Readings, access.Administrator, map[string]string{"file": file}, http.StatusForbidden, "not for your roles"},
		{"no such kind", "letters", access.Lead, map[string]string{"file": file}, http.StatusNotFound, "no such kind"},
	} {
		a := b.sendImport(t, c.kind, c.role, c.parts)
		if a.status != c.status || !strings.Contains(a.body, c.says) {
			t.Errorf("%s: status %d, want %d and %q:\n%.400s", c.reason, a.status, c.status, c.says, a.body)
		}
	}
	left, err := os.ReadDir(b.server.imports.folder)
	if err != nil || len(left) > 0 {
		t.Errorf("refused files were kept: %v, %v", left, err)
	}
	for i := range uploadsAtOnce + 1 {
		want := http.StatusSeeOther
		if i == uploadsAtOnce {
			want = http.StatusConflict
		}
		if a := b.sendImport(t, desk.Meters, access.Lead, map[string]string{"file": file}); a.status != want {
			t.Errorf("file %d: status %d, want %d", i+1, a.status, want)
		}
	}
	all := b.server.imports.of(codeOf(access.Lead))
	if a := b.ask(http.MethodGet, "/imports/"+all[0].id, access.Administrator); a.status != http.StatusNotFound {
		t.Errorf("the file of somebody else: status %d", a.status)
	}
}

// act sends a form of a file as the lead.
func (b *site) act(u *upload, form string) answer {
	b.Helper()
	return b.ask(http.MethodPost, "/imports/"+u.id, access.Lead, func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Body = io.NopCloser(strings.NewReader(form))
	})
}

// A file is stored as a whole or not at all, once, and only after it was tried; then its bytes are gone.
func TestImportStores(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	lead := codeOf(access.Lead)
	b.session(access.Lead)
	before := b.records()
	u := b.hand(lead, desk.Fleet, "fleet.csv", "tag,model,in_service\nZ-01,D1,2026-01-05T07:00:00+01:00\nZ-02,none,2026-01-05T07:00:00+01:00\n")
	b.act(u, "act=store")
	if st := b.settle(u).now(); st.stage != stageWaiting || b.records() != before {
		t.Errorf("it was stored before it was tried: %+v", st)
	}
	b.try(u)
	b.act(u, "act=store") // although a line is refused
	if st := b.settle(u).now(); st.stage != stageTried || st.trial.Refused != 1 || b.records() != before {
		t.Errorf("%d records, %+v", b.records()-before, st.trial)
	}

	u = b.hand(lead, desk.Meters, "meters.csv", "meter,system\nM-8,A\nM-9,A\nM-1,A\n")
	b.try(u)
	for range 3 {
		b.act(u, "act=store")
	}
	st := b.settle(u).now()
	if got := b.records() - before; st.stage != stageStored || st.result.Stored != 2 || got != 3 {
		t.Errorf("%d records: %+v", got, st.result)
	}
	if _, err := os.Stat(u.path); !os.IsNotExist(err) {
		t.Errorf("the file is still there: %v", err)
	}
	u = b.try(b.hand(lead, desk.Meters, "again.csv", "meter,system\nM-8,A\nM-9,A\n"))
	if st := u.now(); st.trial.Stored != 0 || st.trial.Known != 2 {
		t.Errorf("the same again: %+v", st.trial)
	}
	if a := b.act(u, "act=discard"); a.status != http.StatusSeeOther || len(b.server.imports.of(lead)) != 2 {
		t.Errorf("discarding: status %d", a.status)
	}
}

// Levels are adopted by reading them in: whoever does that signs.
func TestImportSigns(t *testing.T) {
	clock := storetest.NewClock()
	b := newSite(t, clock, "https://test.example")
	lead := codeOf(access.Lead)
	b.session(access.Lead)
	clock.Move(access.ProofHolds + time.Minute)
	before := b.records()
	u := b.try(b.hand(lead, desk.Levels, "levels.csv", desk.Example(desk.Levels)))
	for _, secret := range []string{"", "&secret=wrong"} {
		if a := b.act(u, "act=store"+secret); a.status != http.StatusForbidden || b.settle(u).now().stage != stageTried || b.records() != before {
			t.Errorf("%q: status %d", secret, a.status)
		}
	}
	clock.Move(time.Minute)
	if a := b.act(u, "act=store&secret="+strings.ReplaceAll(password, " ", "+")); a.status != http.StatusSeeOther || b.settle(u).now().stage != stageStored {
		t.Errorf("status %d: %s", a.status, a.body)
	}
}

// Every line is told, those that are refused first, as CSV and as a workbook.
func TestImportLines(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	lead := codeOf(access.Lead)
	var rows strings.Builder
	for i := range 300 {
		fmt.Fprintf(&rows, "Z-%03d,D1,rented,2026-01-05T07:00:00+01:00\n", i)
	}
	u := b.try(
		b.hand(
			lead,
			desk.Fleet,
			"fleet.csv",
			"tag,model,owner,in_service\nY-01,D1,own,2026-01-05T07:00:00+01:00\nD-01,D1,loan,2026-01-05T07:00:00+01:00\n"+rows.String(),
		),
	)
	st := u.now()
	if o := st.trial; o.Refused != 300 || len(o.Problems) != problemsShown || o.New() != 1 || o.Changed != 1 {
		t.Fatalf("%d refused, %d shown, %d new, %d changed", o.Refused, len(o.Problems), o.New(), o.Changed)
	}
	a := b.ask(http.MethodGet, "/imports/"+u.id+"/lines?format=csv", access.Lead)
	for _, want := range []string{
		"line,state,what,column,value,problem,allowed", "4,refused,,owner,rented,", `"own, loan, trial"`, "2,new,instrument Y-01",
		`3,changed,"instrument D-01; it is in service since`,
	} {
		if !strings.Contains(a.body, want) {
			t.Errorf("%q is not told:\n%s", want, a.body[max(0, len(a.body)-900):])
		}
	}
	if n := strings.Count(a.body, "\r\n"); n != 303 {
		t.Errorf("%d lines", n)
	}
	a = b.ask(http.MethodGet, "/imports/"+u.id+"/lines?format=xlsx", access.Lead)
	if _, err := zip.NewReader(strings.NewReader(a.body), int64(len(a.body))); err != nil {
		t.Errorf("the workbook: %v", err)
	}
	if a := b.ask(http.MethodGet, "/imports/"+u.id+"/lines?format=pdf", access.Lead); a.status != http.StatusBadRequest {
		t.Errorf("another format: status %d", a.status)
	}
}

// Files wait for an hour, what came of them is kept for a session, and nothing outlives the server.
func TestImportForgets(t *testing.T) {
	clock := storetest.NewClock()
	b := newSite(t, clock, "https://test.example")
	lead := codeOf(access.Lead)
	waits := b.hand(lead, desk.Meters, "waits.csv", "meter,system\nM-8,A\n")
	done := b.try(b.hand(lead, desk.Meters, "done.csv", "meter,system\nM-8,A\n"))
	b.server.beginImport(done, b.leads(lead), access.Actor{}, false)
	b.settle(done)
	busy := b.hand(lead, desk.Meters, "busy.csv", "meter,system\nM-8,A\n")
	busy.change(func(st *state) { st.stage = stageTrying })
	names := func() (all []string) {
		for _, u := range b.server.imports.of(lead) {
			all = append(all, u.name)
		}
		return all
	}
	clock.Move(uploadKept - time.Minute)
	if got := names(); len(got) != 3 {
		t.Errorf("before the hour is over: %v", got)
	}
	clock.Move(time.Minute)
	if got := names(); len(got) != 2 || strings.Contains(fmt.Sprint(got), "waits") {
		t.Errorf("after an hour: %v", got)
	}
	if _, err := os.Stat(waits.path); !os.IsNotExist(err) {
		t.Errorf("the file is still there: %v", err)
	}
	if err := b.server.imports.discard(busy); err == nil {
		t.Error("what is under way was discarded")
	}
	busy.change(func(st *state) { st.stage = stageTried })
	clock.Move(access.Longest)
	if got := names(); len(got) != 0 {
		t.Errorf("after a session: %v", got)
	}
	left := b.hand(lead, desk.Meters, "left.csv", "meter,system\nM-8,A\n")
	if _, err := newImports(b.desk.DB.Home().Dir(), clock.Now); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(left.path); !os.IsNotExist(err) {
		t.Errorf("the next start did not delete it: %v", err)
	}
}

// What cannot be read at all is told in words, with the form to say how it is written.
func TestImportUnreadable(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	lead := codeOf(access.Lead)
	for reason, c := range map[string]struct{ content, says string }{
		"nothing": {"", "no header row"}, "a picture": {"\x89PNG\r\n\x1a\n\x00\x00", "NUL"},
	} {
		u := b.hand(lead, desk.Meters, "x.csv", c.content)
		a := b.ask(http.MethodGet, "/imports/"+u.id, access.Lead)
		if a.status != http.StatusOK || !strings.Contains(a.body, c.says) || !strings.Contains(a.body, "Look at it again") {
			t.Errorf("%s: status %d\n%s", reason, a.status, a.body)
		}
	}
	u := b.hand(lead, desk.Meters, "x.csv", "meter,system\nM-8,A\n")
	b.act(u, "act=try&delimiter=comma&encoding=utf-8&zone=Nowhere/City&format=DD.MM.YYYY+HH:mm")
	if st := b.settle(u).now(); st.trial == nil || !strings.Contains(st.trial.Failed, "Nowhere/City") {
		t.Errorf("a zone that is none: %+v", st.trial)
	}
	if a := b.ask(http.MethodGet, "/imports/"+u.id, access.Lead); !strings.Contains(a.body, `value="Nowhere/City"`) {
		t.Errorf("what was typed is gone:\n%s", a.body)
	}
}
