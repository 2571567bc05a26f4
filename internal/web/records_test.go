package web

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"maps"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// tabTo presses the tabulator until the focus is where it should be.
func (p *page) tabTo(css string) {
	p.Helper()
	for range 150 {
		if eval[bool](p, "document.activeElement?.matches("+strconv.Quote(css)+") ?? false") {
			return
		}
		p.keys("\t")
	}
	p.Fatalf("the tabulator never leads to %s in %s", css, p.location())
}

// Somebody finds a reading by its lot and date, walks to its sample and back, and voids it: with the keyboard
// alone, and without scripts.
func TestVoidAReadingByKeyboard(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.session(access.Lead)
	b.session(access.InfectionPrevention)
	b.clock.Move(access.ProofHolds) // nobody has shown lately who they are
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	p.scripts(false)
	p.open("/records")
	p.tabTo("#lot")
	p.keys("7")
	p.tabTo("#type")
	p.keys("reading")
	p.tabTo("#outcome")
	p.keys("action")
	p.tabTo("#from")
	p.keys("03022026\t0800A")
	p.tabTo("form.records button")
	p.keys("\r")
	p.waitText("[role=status]", "1 record with lot 7, type reading, outcome action, from 2026-03-02 08:00")
	p.tabTo("tbody th a")
	p.keys("\r")
	p.waitText("h1", "Reading of "+heldScope)
	reading := p.location()
	p.tabTo(`section[aria-labelledby=named] th a`)
	p.keys("\r")
	p.waitText("h1", "Sample of "+heldScope)
	if got := p.text("section[aria-labelledby=naming]"); !strings.Contains(got, "250 RLU") {
		t.Errorf("what rests on the sample:\n%s", got)
	}
	p.tabTo(`section[aria-labelledby=naming] tr:last-child th a`)
	p.keys("\r")
	p.waitText("h1", "Reading of "+heldScope)
	p.tabTo(`a[href*="act=void"]`)
	p.keys("\r")
	p.waitFor("#act-reason")
	follows := p.text("#act ul")
	if !strings.Contains(follows, "Its sample counts as not read.") ||
		!strings.Contains(follows, "The cleaning verification is decided again: first test, not judged") {
		t.Errorf("what else changes:\n%s", follows)
	}
	if takes := p.text("#act form"); !strings.Contains(takes, "a second person who took no part in it") {
		t.Errorf("what it takes:\n%s", takes)
	}
	p.tabTo("#act-reason")
	p.keys("read with the lid open")
	p.tabTo("#act-secret")
	p.keys(password)
	p.tabTo("#act-second")
	p.keys(codeOf(access.InfectionPrevention))
	p.tabTo("#second-password")
	p.keys(password + "\r")
	p.waitText(".said", "The record is voided.")
	if at := p.location(); at != reading+"?done=voided" {
		t.Errorf("voided, and at %s", at)
	}
	chain := p.text("section[aria-labelledby=chain]")
	for _, want := range []string{"none of them counts", "this record", "voids it", "read with the lid open", codeOf(access.Lead)} {
		if !strings.Contains(chain, want) {
			t.Errorf("the versions lack %q:\n%s", want, chain)
		}
	}
	p.scripts(true)
	p.reload()
	p.inspect("reading-voided")
	p.open("/records?state=voided")
	p.waitText("[role=status]", "1 record with voided")
}

var recordLink = regexp.MustCompile(`<th scope="row"><a href="[^"]*/records/([0-9a-f-]{36})">(\d+)</a> `)

// The pages of a search hold every record once, and a file holds the same.
func TestSearchPages(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example/under")
	b.furnish()
	b.server.filing = filing{most: 1000, batch: 7}
	b.session(access.Auditor)
	var size int64
	b.look(func(v desk.View) (err error) {
		size, err = v.Size()
		return err
	})
	var seen []string
	for at := "/under/records?scope="; at != ""; {
		page := b.ask(http.MethodGet, at, access.Auditor)
		if page.status != http.StatusOK {
			t.Fatalf("%s: status %d", at, page.status)
		}
		for _, m := range recordLink.FindAllStringSubmatch(page.body, -1) {
			seen = append(seen, m[2])
		}
		at = ""
		if before, _, ok := strings.Cut(page.body, `">Older records`); ok {
			at = strings.ReplaceAll(before[strings.LastIndex(before, `href="`)+len(`href="`):], "&amp;", "&")
		}
	}
	var want []string
	for seq := size - 1; seq >= 0; seq-- {
		want = append(want, strconv.FormatInt(seq, 10))
	}
	if !slices.Equal(seen, want) {
		t.Errorf("on the pages: %v\nwant %d to 0", seen, size-1)
	}
	file := b.ask(http.MethodGet, "/under/records?format=csv", access.Auditor)
	rows, err := csv.NewReader(strings.NewReader(file.body)).ReadAll()
	if err != nil || file.status != http.StatusOK || !strings.Contains(file.header.Get("Content-Disposition"), "records.csv") {
		t.Fatalf("status %d, %v", file.status, err)
	}
	var filed []string
	for _, row := range rows[1:] {
		filed = append(filed, row[0])
	}
	if !slices.Equal(filed, want) {
		t.Errorf("in the file: %v", filed)
	}
	sheet := b.ask(http.MethodGet, "/under/records?format=xlsx&scope="+heldScope, access.Auditor)
	if _, err := zip.NewReader(strings.NewReader(sheet.body), int64(len(sheet.body))); err != nil || sheet.status != http.StatusOK {
		t.Errorf("the workbook: status %d, %v", sheet.status, err)
	}
	b.server.filing.most = int(size) - 1
	page := b.ask(http.MethodGet, "/under/records", access.Auditor).body
	if !strings.Contains(page, "A file takes at most "+strconv.FormatInt(size-1, 10)+" records.") || strings.Contains(page, "format=csv") {
		t.Error("the page does not say that a file cannot take them all")
	}
	if got := b.ask(
		http.MethodGet,
		"/under/records?format=csv",
		access.Auditor,
	); got.status != http.StatusBadRequest ||
		!strings.Contains(got.body, "Narrow the search") {
		t.Errorf("more than a file takes: status %d", got.status)
	}
}

func TestSearchAsksWrongly(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for query, want := range map[string]string{
		"from=yesterday":                       "This is no date and time: yesterday.",
		"from=2026-03-02&to=2026-03-02":        "The end lies before the beginning.",
		"type=sighting":                        "No record has the type",
		"outcome=nice":                         "No record has the outcome",
		"state=lost":                           "No record has the state",
		"id=zz":                                "is not a record id",
		"before=-1":                            "There is no such page",
		"lot=7&id=abcd&type=reading&from=2026": "This is no date and time",
	} {
		got := b.ask(http.MethodGet, "/records?"+query, access.Auditor)
		if got.status != http.StatusBadRequest || !strings.Contains(got.body, want) {
			t.Errorf("%s: status %d, want %q in it", query, got.status, want)
		}
		if strings.Contains(query, "lot=7") && !strings.Contains(got.body, `name="lot" value="7"`) {
			t.Errorf("%s: what was typed is gone", query)
		}
	}
}

// An outsider proves a record with the files of its page, with the verifier of this program and with sha256sum
// and openssl alone; a changed byte is found by both.
func TestProofOfARecord(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	key := b.ask(http.MethodGet, "/records/ledger/key.txt", access.Auditor).body
	script := b.ask(http.MethodGet, "/records/ledger/verify.sh", access.Auditor).body
	for _, typ := range []record.Kind{record.Rules, record.Reading} {
		id := ""
		b.look(func(v desk.View) error {
			return v.Records().Search(store.Query{Terms: []record.Term{record.ByType.Is(string(typ))}}, func(l desk.Line) (bool, error) {
				id = l.ID
				return false, nil
			})
		})
		page := b.ask(http.MethodGet, "/records/"+id, access.Auditor).body
		record := b.ask(http.MethodGet, "/records/"+id+"/record.json", access.Auditor).body
		proof := b.ask(http.MethodGet, "/records/"+id+"/record.tlog-proof", access.Auditor).body
		if _, err := ledger.VerifyProof([]byte(proof), []byte(record), []string{strings.TrimSpace(key)}); err != nil {
			t.Errorf("%s: %v", typ, err)
		}
		folder := t.TempDir()
		for name, content := range map[string]string{"r.json": record, "changed.json": record + " ", "p.tlog-proof": proof, "key.txt": key, "verify.sh": script} {
			if err := os.WriteFile(filepath.Join(folder, name), []byte(content), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		said, err := verifyBy(t, folder, "r.json")
		if err != nil || !strings.Contains(said, "The ledger test.example/s1 held this record") {
			t.Errorf("%s: %v\n%s", typ, err, said)
		}
		leaf, _, _ := strings.Cut(strings.TrimPrefix(said, "leaf "), "\n")
		if len(leaf) != 64 || !strings.Contains(page, leaf) {
			t.Errorf("%s: sha256sum says %s, which the page does not", typ, leaf)
		}
		if said, err := verifyBy(t, folder, "changed.json"); err == nil || !strings.Contains(said, "NOT PROVED") {
			t.Errorf("%s: a changed record is proved: %s", typ, said)
		}
	}
}

func verifyBy(t *testing.T, folder, record string) (said string, err error) {
	t.Helper()
	c := exec.CommandContext(t.Context(), "sh", "verify.sh", record, "p.tlog-proof", "key.txt")
	c.Dir = folder
	out, err := c.CombinedOutput()
	return string(out), err
}

// The ledger is compared with what somebody kept, and taken away as a whole.
func TestLedger(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	kept := b.ask(http.MethodGet, "/records/ledger/checkpoint.txt", access.Auditor).body
	b.hold()
	at := "/records/ledger"
	for _, c := range []struct {
		name, note string
		status     int
		want       string
	}{
		{"as it was kept", kept, http.StatusOK, "1 were added since."},
		{"as a browser sends it", strings.ReplaceAll(strings.TrimSpace(kept), "\n", "\r\n"), http.StatusOK, "Consistent:"},
		{"with another number", strings.Replace(kept, "\n", "\n1", 1), http.StatusBadRequest, "this ledger&#39;s key signed"},
		{"no checkpoint", "hello", http.StatusBadRequest, "paste the whole text"},
	} {
		got := b.send(at, access.Auditor, map[string]string{"earlier": c.note})
		if got.status != c.status || !strings.Contains(strings.ToLower(got.body), strings.ToLower(c.want)) {
			t.Errorf("%s: status %d, want %d with %q", c.name, got.status, c.status, c.want)
		}
	}
	file := b.ask(http.MethodGet, "/records/ledger/ledger.zip", access.Auditor)
	packed, err := zip.NewReader(strings.NewReader(file.body), int64(len(file.body)))
	if err != nil {
		t.Fatal(err)
	}
	folder := fstest.MapFS{}
	for _, f := range packed.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		folder[strings.TrimPrefix(f.Name, "ledger/")] = &fstest.MapFile{Data: content}
	}
	report, err := ledger.VerifyExport(folder, []string{b.desk.DB.Site().VKey}, []byte(kept))
	if err != nil || report.Site != "S1" {
		t.Errorf("the export: %+v, %v", report, err)
	}
}

// A record is voided or corrected by whoever may, with a reason and a signature; each form once.
func TestVoidAndCorrect(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.Technician, access.InfectionPrevention} {
		b.session(role)
	}
	reading := b.lastOf(heldScope, record.Reading)
	lot := ""
	b.look(func(v desk.View) error {
		return v.Records().Search(store.Query{Terms: []record.Term{record.ByType.Is(string(record.Access))}}, func(l desk.Line) (bool, error) {
			lot = l.ID
			return false, nil
		})
	})
	b.clock.Move(access.ProofHolds)
	for _, test := range []struct {
		name, at string
		role     access.Role
		change   map[string]string
		status   int
		want     string
	}{
		{"somebody else's", "/records/" + reading + "/void", access.Technician, nil, http.StatusForbidden, "it takes a lead or infection prevention"},
		{"no reason", "/records/" + reading + "/void", access.Lead, map[string]string{"reason": " "}, http.StatusBadRequest, "Say why."},
		{"not signed", "/records/" + reading + "/void", access.Lead, map[string]string{"secret": ""}, http.StatusForbidden, "This is a signature."},
		{
			"a wrong password", "/records/" + reading + "/correct", access.Lead,
			map[string]string{"secret": "a guess in the dark"},
			http.StatusForbidden,
			"The password is not right.",
		},
		{"what followed by the rules", "/records/" + lot + "/void", access.Lead, nil, http.StatusBadRequest, "cannot be voided"},
		{"no reading", "/records/" + lot + "/correct", access.Lead, nil, http.StatusBadRequest, "is not corrected field by field"},
		{"no value", "/records/" + reading + "/correct", access.Lead, map[string]string{"set-value": "many"}, http.StatusBadRequest, "many"},
		{"no such record", "/records/0199/void", access.Lead, nil, http.StatusNotFound, "There is no record"},
		{
			"one alone", "/records/" + reading + "/void", access.Lead,
			map[string]string{"second": ""},
			http.StatusBadRequest, "it takes a second person who took no part in it.",
		},
	} {
		b.clock.Move(2 * time.Minute) // longer than anybody has to wait after a wrong password
		fields := map[string]string{
			"id": b.newID(), "reason": "typed wrong", "set-value": "25", "secret": password,
			"second": codeOf(access.InfectionPrevention), "second-password": password,
		}
		maps.Copy(fields, test.change)
		before := b.total()
		got := b.send(test.at, test.role, fields)
		b.keep(test.role, got)
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2000s", test.name, got.status, test.status, test.want, got.body)
		}
		if strings.Contains(got.body, password) || b.total() != before {
			t.Errorf("%s: something was stored, or the page shows a password", test.name)
		}
	}
	foreseen := b.ask(http.MethodGet, "/records/"+reading+"?act=correct&set-value=25", access.Lead).body
	for _, want := range []string{
		"elevator recess, 25 RLU, OK", "This takes back a reading over the action level.", "The cleaning verification is decided again",
	} {
		if !strings.Contains(foreseen, want) {
			t.Errorf("before the correction the page lacks %q", want)
		}
	}
	fields := map[string]string{
		"id": b.newID(), "reason": "typed a zero too many", "set-value": "25", "secret": password,
		"second": codeOf(access.InfectionPrevention), "second-password": password,
	}
	var next string
	for range 2 { // sent twice, stored once
		got := b.send("/records/"+reading+"/correct", access.Lead, fields)
		b.keep(access.Lead, got)
		next = strings.TrimSuffix(got.header.Get("Location"), "?done=corrected")
		if got.status != http.StatusSeeOther || next != "/records/"+fields["id"] {
			t.Fatalf("status %d, to %s\n%s", got.status, next, got.body)
		}
	}
	for _, at := range []string{next, "/records/" + reading} {
		page := b.ask(http.MethodGet, at, access.Lead).body
		for _, want := range []string{"voids it", "is recorded in its place", "typed a zero too many", "counts now", "250 RLU", "25 RLU"} {
			if !strings.Contains(page, want) {
				t.Errorf("%s lacks %q", at, want)
			}
		}
	}
	fields["id"] = b.newID()
	if got := b.send("/records/"+reading+"/void", access.Lead, fields); got.status != http.StatusConflict {
		t.Errorf("the void of what was corrected: status %d", got.status)
	}
}

// total is how many records there are.
func (b *site) total() (n int64) {
	b.Helper()
	b.look(func(v desk.View) (err error) {
		n, err = v.Size()
		return err
	})
	return n
}

// Every list of the day's pages is taken away in both formats, by those who may.
func TestListsAsFiles(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.furnish()
	for _, test := range []struct {
		at    string
		role  access.Role
		wants []string
	}{
		{"/scopes?kind=gastroscope", access.Analyst, []string{inUseScope, "gastroscope"}},
		{"/scopes/" + pastScope + "?list=cycles", access.Auditor, []string{"used all the same", "OK", "after use"}},
		{"/scopes/" + pastScope + "?list=files", access.Auditor, []string{"certificate of the repair", "SHA-256"}},
		{"/people?x", access.Administrator, []string{codeOf(access.Administrator), "administrator"}},
		{"/today/due?x", access.Lead, []string{readyScope, "after the visit of the auditors"}},
	} {
		file := b.ask(http.MethodGet, test.at+"&format=csv", test.role)
		for _, want := range test.wants {
			if file.status != http.StatusOK || !strings.Contains(file.body, want) {
				t.Errorf("%s: status %d, want %q in:\n%.1000s", test.at, file.status, want, file.body)
			}
		}
		sheet := b.ask(http.MethodGet, test.at+"&format=xlsx", test.role)
		if _, err := zip.NewReader(bytes.NewReader([]byte(sheet.body)), int64(len(sheet.body))); err != nil || sheet.status != http.StatusOK {
			t.Errorf("%s as a workbook: status %d, %v", test.at, sheet.status, err)
		}
		if test.role == access.Administrator {
			continue
		}
		if got := b.ask(http.MethodGet, test.at+"&format=csv", access.Technician); got.status != http.StatusForbidden {
			t.Errorf("%s: a technician takes it away: status %d", test.at, got.status)
		}
	}
	if got := b.ask(http.MethodGet, "/scopes/"+pastScope+"?list=secrets&format=csv", access.Auditor); got.status != http.StatusBadRequest {
		t.Errorf("no such list: status %d", got.status)
	}
}

// erasable is a hold with a name in its reason, and its correction that repeats the name and says why.
func (b *site) erasable() (first, second string) {
	b.Helper()
	place := func(corrects, why string) string {
		b.clock.Move(time.Second)
		return string(b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			e.Corrects, e.Reason = ledger.ID(corrects), why
			return w.PlaceHold(e, reprocessing.Hold{Scope: readyScope, By: "L-01", Reason: patientNamed})
		}).Record.ID)
	}
	first = place("", "")
	return first, place(first, "placed at the wrong time")
}

const patientNamed = "seen with Jane Q. Example"

// The lead erases a text of a record, with its repetitions, for a reason of the list and with a signature.
func TestEraseAText(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.Technician} {
		b.session(role)
	}
	first, second := b.erasable()
	for _, test := range []struct {
		name, at string
		role     access.Role
		has, not string
	}{
		{"the lead is offered it, on a record that was corrected too", first, access.Lead, `act=erase#act">Erase a text</a>`, "Void this record"},
		{"whoever may not is not", second, access.Technician, "Jane Q.", "act=erase"},
		{"no text, nothing to erase", b.lastOf(heldScope, record.Reading), access.Lead, "Void this record", "act=erase"},
		{"one text is not chosen", first + "?act=erase", access.Lead, "in 1 further place that repeats it", "Which text"},
		{
			"one of several is", second + "?act=erase", access.Lead, `<option value="reason">Reason for the change: placed at the wrong time</option>`,
			"Why it is erased",
		},
		{"a text that is there", second + "?act=erase&field=reason", access.Lead, "<q>placed at the wrong time</q>", "repeats it"},
		{"a text that is not there", second + "?act=erase&field=body.note", access.Lead, "Which text", "Why it is erased"},
	} {
		page := b.ask(http.MethodGet, "/records/"+test.at, test.role).body
		if !strings.Contains(page, test.has) || strings.Contains(page, test.not) {
			t.Errorf("%s: want %q and not %q in\n%s", test.name, test.has, test.not, page)
		}
	}
	b.clock.Move(access.ProofHolds)
	for _, test := range []struct {
		name, at string
		role     access.Role
		change   map[string]string
		status   int
		want     string
	}{
		{"a technician", first, access.Technician, nil, http.StatusForbidden, "not for your roles"},
		{"no reason", first, access.Lead, map[string]string{"why": ""}, http.StatusBadRequest, "Say why."},
		{"a reason of one's own", first, access.Lead, map[string]string{"why": "Jane"}, http.StatusBadRequest, "Choose one of the reasons."},
		{"no text named", second, access.Lead, map[string]string{"field": ""}, http.StatusBadRequest, "Say which text."},
		{"not signed", first, access.Lead, map[string]string{"secret": ""}, http.StatusForbidden, "This is a signature."},
		{"a wrong password", first, access.Lead, map[string]string{"secret": "a guess in the dark"}, http.StatusForbidden, "The password is not right."},
		{"no such text", first, access.Lead, map[string]string{"field": "body.note"}, http.StatusNotFound, "The record has no such text."},
		{"no such record", "0199", access.Lead, nil, http.StatusNotFound, "There is no record"},
	} {
		b.clock.Move(2 * time.Minute) // longer than anybody has to wait after a wrong password
		fields := map[string]string{"id": b.newID(), "field": "body.reason", "why": string(record.NamesPatient), "secret": password}
		maps.Copy(fields, test.change)
		before := b.total()
		got := b.send("/records/"+test.at+"/erase", test.role, fields)
		b.keep(test.role, got)
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.2000s", test.name, got.status, test.status, test.want, got.body)
		}
		if strings.Contains(got.body, password) || b.total() != before {
			t.Errorf("%s: something was stored, or the page shows a password", test.name)
		}
	}
	before := b.total()
	fields := map[string]string{"id": b.newID(), "field": "body.reason", "why": string(record.NamesPatient), "secret": password}
	for range 2 { // sent twice, stored once
		got := b.send("/records/"+first+"/erase", access.Lead, fields)
		b.keep(access.Lead, got)
		if to := got.header.Get("Location"); got.status != http.StatusSeeOther || to != "/records/"+first+"?done=erased" {
			t.Fatalf("status %d, to %s\n%s", got.status, to, got.body)
		}
	}
	if b.total() != before+1 {
		t.Errorf("%d records were stored", b.total()-before)
	}
	said := b.ask(http.MethodGet, "/records/"+first+"?done=erased", access.Lead).body
	for _, want := range []string{"The text is erased for good", "Not reached are backups", "(erased)", "it named a patient"} {
		if !strings.Contains(said, want) {
			t.Errorf("afterwards the page lacks %q", want)
		}
	}
	for _, at := range []string{"/records/" + first, "/records/" + second, "/scopes/" + readyScope + "?records", "/ready/" + readyScope} {
		if page := b.ask(http.MethodGet, at, access.Lead).body; strings.Contains(page, "Jane Q.") {
			t.Errorf("%s still has the text", at)
		}
	}
	if page := b.ask(http.MethodGet, "/records/"+first, access.Lead).body; strings.Contains(page, "act=erase") {
		t.Error("an erased text is offered to be erased")
	}
}

func TestBeginning(t *testing.T) {
	t.Parallel()
	fits := strings.Repeat("ü", longestBeginning)
	if beginning(fits) != fits || beginning(fits+"x") != fits[:len(fits)-len("ü")]+"…" {
		t.Errorf("%q and %q", beginning(fits), beginning(fits+"x"))
	}
}

func TestTextLabel(t *testing.T) {
	t.Parallel()
	for field, want := range map[string]string{
		"reason":           "Reason for the change",
		"body.reason":      "Reason",
		"body.report.note": "Report, note",
		"body.verification.points[2].not_applicable": "Verification, points, 3, not applicable",
	} {
		if got := textLabel(field); got != want {
			t.Errorf("%s is called %q, want %q", field, got, want)
		}
	}
}
