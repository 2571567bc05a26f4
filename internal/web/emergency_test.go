package web

import (
	"bytes"
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/record"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// urgentScope is one that was used in an emergency.
const urgentScope = "E-09"

// pressed records an emergency use of a scope of its own by nobody who has signed in, once, and returns its record.
func (b *site) pressed() (id string) {
	b.Helper()
	for _, u := range b.emergencies() {
		return string(u.First)
	}
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(e, b.at(), scope.Instrument{
			Tag: urgentScope, Model: gastroscope.Name, Owner: scope.Own, InService: b.at().Add(-time.Hour),
		})
	})
	b.clock.Move(time.Second)
	a := b.press(urgentScope, url.Values{"reason": {string(reprocessing.NoneReady)}, "words": {awkward}, "decided": {"Dr. Muster"}})
	if a.status != http.StatusSeeOther {
		b.Fatalf("pressed: status %d\n%s", a.status, a.body)
	}
	_, id, _ = strings.Cut(a.header.Get("Location"), "?done=")
	return id
}

func (b *site) emergencies() (all []desk.EmergencyUse) {
	b.Helper()
	b.look(func(v desk.View) (err error) {
		all, err = v.Day().Emergencies(0, store.Forever, false)
		return err
	})
	return all
}

// press sends the form of an emergency use of a scope as somebody who has not signed in.
func (b *site) press(tag string, f url.Values) answer {
	b.Helper()
	return b.sendForm("/ready/"+tag+"/emergency", nobody, f)
}

// pressFrom is press with something changed about the request.
func (b *site) pressFrom(tag string, f url.Values, change func(*http.Request)) answer {
	b.Helper()
	return b.sendForm("/ready/"+tag+"/emergency", nobody, f, change)
}

// sendForm sends a form with an id of its own, unless it has one.
func (b *site) sendForm(path string, role access.Role, f url.Values, change ...func(*http.Request)) answer {
	b.Helper()
	if f.Get("id") == "" {
		f.Set("id", string(ledger.NewID(b.at(), bytes.NewReader(bytes.Repeat([]byte{byte(len(path) + len(f.Encode()))}, 64)))))
	}
	return b.ask(http.MethodPost, b.server.Prefix+path, role, append([]func(*http.Request){func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Body = http.NoBody
		r.PostForm, r.Form = f, f
	}}, change...)...)
}

// Whoever stands at a patient records an emergency use from the answer, without signing in. The answer stays no, the
// scope is on hold, and it is on the list until infection prevention has seen it.
func TestEmergencyFromTheAnswer(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	no := b.ask(http.MethodGet, "/ready/"+inWorkScope, nobody).body
	if !strings.Contains(no, "How far from yes:") || !strings.Contains(no, `href="/ready/`+inWorkScope+`/emergency"`) {
		t.Fatalf("the answer does not lead to an emergency use:\n%s", no)
	}
	if yes := b.ask(http.MethodGet, "/ready/"+readyScope, nobody).body; strings.Contains(yes, "emergency") || strings.Contains(yes, "How far") {
		t.Errorf("a scope that is ready leads to an emergency use:\n%s", yes)
	}
	form := b.ask(http.MethodGet, "/ready/"+inWorkScope+"/emergency", nobody).body
	if !strings.Contains(form, ">"+readyScope+"<") || strings.Contains(form, ">"+heldScope+"<") {
		t.Errorf("what is ready instead:\n%s", form)
	}
	for name, f := range map[string]url.Values{
		"without who decided": {"reason": {string(reprocessing.CannotWait)}},
		"without a reason":    {"decided": {"N-07"}},
		"without words":       {"reason": {string(reprocessing.OtherReason)}, "decided": {"N-07"}},
	} {
		if a := b.press(inWorkScope, f); a.status != http.StatusBadRequest || !strings.Contains(a.body, `role="alert"`) {
			t.Errorf("%s: status %d", name, a.status)
		}
	}
	b.clock.Move(time.Minute)
	f := url.Values{"reason": {string(reprocessing.CannotWait)}, "decided": {"<b>N-07</b>"}, "words": {"bleeds"}}
	a := b.press(inWorkScope, f)
	if a.status != http.StatusSeeOther {
		t.Fatalf("status %d\n%s", a.status, a.body)
	}
	done := b.ask(http.MethodGet, a.header.Get("Location"), nobody).body
	if !strings.Contains(done, "the emergency use is recorded") || strings.Contains(done, "N-07") {
		t.Errorf("afterwards:\n%s", done)
	}
	if a := b.press(inWorkScope, f); a.status != http.StatusSeeOther {
		t.Errorf("sent again: status %d", a.status)
	}
	f.Del("id")
	f.Set("words", "pressed again")
	if a := b.press(inWorkScope, f); a.status != http.StatusConflict {
		t.Errorf("pressed again: status %d", a.status)
	}
	if got := b.ask(http.MethodGet, "/ready/"+inWorkScope, nobody).body; !strings.Contains(got, "do not use on a patient") || strings.Contains(got, "N-07") {
		t.Errorf("the answer afterwards:\n%s", got)
	}
	all := b.emergencies()
	if len(all) != 1 || all[0].By != "" || !all[0].Emergency.Unsigned || len(all[0].Holds) != 1 {
		t.Fatalf("recorded: %+v", all)
	}
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention, access.Technician} {
		if today := b.ask(http.MethodGet, "/today", role).body; !strings.Contains(today, "not yet seen by infection prevention: 1") {
			t.Errorf("today of the %s does not tell of it", role)
		}
	}
	if wall := b.ask(http.MethodGet, "/today?wall", access.Lead).body; strings.Contains(wall, "not yet seen") {
		t.Error("a wall tells of emergency uses")
	}
	list := b.ask(http.MethodGet, "/emergencies?show=unseen", access.InfectionPrevention).body
	if !strings.Contains(list, "&lt;b&gt;N-07&lt;/b&gt;") || !strings.Contains(list, "recorded where nobody had signed in") ||
		strings.Contains(list, "Record the rest") {
		t.Errorf("the list:\n%s", list)
	}
	at := "/emergencies/" + string(all[0].Record)
	ended := b.clock.Move(10 * time.Minute).Time().In(b.desk.DB.Zone()).Format("2006-01-02T15:04")
	if a := b.sendForm(at+"/rest", access.Technician, url.Values{"ended": {ended}, "procedure": {"ERCP"}, "patient": {"P-77"}}); a.status != http.StatusSeeOther {
		t.Fatalf("the rest: status %d\n%s", a.status, a.body)
	}
	if a := b.sendForm(at+"/rest", access.Technician, url.Values{"ended": {ended}, "room": {"2"}}); a.status != http.StatusConflict {
		t.Errorf("the rest of what was completed: status %d", a.status)
	}
	at = "/emergencies/" + string(b.emergencies()[0].Record)
	if a := b.sendForm(at+"/seen", access.InfectionPrevention, url.Values{"note": {"asked"}, "secret": {password}}); a.status != http.StatusSeeOther {
		t.Fatalf("seen: status %d\n%s", a.status, a.body)
	}
	got := b.emergencies()[0]
	if len(got.Lacking) > 0 || len(got.Seen) != 1 || !got.Holds[0].Open {
		t.Errorf("in the end: %+v", got)
	}
	if today := b.ask(http.MethodGet, "/today", access.Lead).body; strings.Contains(today, "not yet seen") {
		t.Error("today still tells of it")
	}
	file := b.ask(http.MethodGet, "/emergencies?format=csv", access.Lead)
	if file.status != http.StatusOK || !strings.Contains(file.body, inWorkScope+",") || !strings.Contains(file.body, "(open)") {
		t.Errorf("as a file: status %d\n%s", file.status, file.body)
	}
}

// The list of a shift has the ready scope and no other, and says when it ends; the forms are there, both as PDF too.
func TestShiftPaper(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	list := html.UnescapeString(b.ask(http.MethodGet, "/paper/ready?hours=4", access.Technician).body)
	end := b.at().Add(4 * time.Hour).In(b.desk.DB.Zone())
	if !strings.Contains(list, "Ready at most until "+end) || !strings.Contains(list, ">"+readyScope+"<") {
		t.Errorf("the list does not end at %s, or lacks %s:\n%s", end, readyScope, list)
	}
	for _, tag := range []string{inWorkScope, heldScope, awayScope, unknownScope, inUseScope, overdueScope} {
		if strings.Contains(list, ">"+tag+"<") {
			t.Errorf("%s is on it", tag)
		}
	}
	for _, path := range []string{"/paper/ready.pdf?hours=12", "/paper/forms.pdf"} {
		a := b.ask(http.MethodGet, path, access.Lead)
		if a.status != http.StatusOK || !strings.HasPrefix(a.body, "%PDF-") || a.header.Get("Content-Type") != "application/pdf" {
			t.Errorf("%s: status %d, %s", path, a.status, a.header.Get("Content-Type"))
		}
	}
	forms := b.ask(http.MethodGet, "/paper/forms", access.Lead).body
	for _, words := range []string{"Uses on patients", "emergency_words", "drying-cabinet", "opa-0.55", "Activated", record.UsedInEmergency} {
		if !strings.Contains(forms, words) {
			t.Errorf("the forms lack %q", words)
		}
	}
}

// What is not on record of an emergency use keeps a line on Today when infection prevention has seen it; where nobody can
// say when it ended or who the patient was, that is recorded, nobody has to invent it.
func TestEmergencyOfWhichNobodyKnowsTheEnd(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	b.clock.Move(time.Minute)
	for name, want := range map[string]url.Values{
		"Choose one of the reasons": {"decided": {"N-07"}},
		"the other reason is":       {"decided": {"N-07"}, "reason": {string(reprocessing.OtherReason)}, "words": {"-"}},
	} {
		a := b.press(inWorkScope, want)
		if a.status != http.StatusBadRequest || !strings.Contains(a.body, name) || strings.Contains(a.body, string(reprocessing.CannotWait)+" (") {
			t.Errorf("refused without %q, or with words of the program: status %d\n%s", name, a.status, a.body)
		}
	}
	form := b.ask(http.MethodGet, "/ready/"+inWorkScope+"/emergency", access.ProcedureRoom).body
	if strings.Contains(form, codeOf(access.ProcedureRoom)+`" maxlength`) {
		t.Error("the form says who decides")
	}
	if a := b.press(inWorkScope, url.Values{"reason": {string(reprocessing.CannotWait)}, "decided": {"N-07"}}); a.status != http.StatusSeeOther {
		t.Fatalf("status %d\n%s", a.status, a.body)
	}
	at := "/emergencies/" + string(b.emergencies()[0].Record)
	if a := b.sendForm(at+"/seen", access.InfectionPrevention, url.Values{"secret": {password}}); a.status != http.StatusSeeOther {
		t.Fatalf("seen: status %d\n%s", a.status, a.body)
	}
	const row = "Emergency uses of which something is not on record: 1"
	if today := b.ask(http.MethodGet, "/today", access.Lead).body; !strings.Contains(today, row) || strings.Contains(today, "not yet seen") {
		t.Error("Today does not tell that something lacks")
	}
	// Minutes earlier, and the number of a patient, which no page writes back.
	early := b.at().Time().Add(-time.Hour).In(b.desk.DB.Zone()).Format("2006-01-02T15:04")
	a := b.sendForm(at+"/rest", access.Technician, url.Values{"ended": {early}, "patient": {"P-77"}})
	if a.status != http.StatusBadRequest || !strings.Contains(a.body, "end before it started") || strings.Contains(a.body, "P-77") ||
		!strings.Contains(html.UnescapeString(a.body), "Type the patient's number again") {
		t.Errorf("too early: status %d\n%s", a.status, a.body)
	}
	b.clock.Move(time.Minute)
	a = b.sendForm(at+"/rest", access.Technician, url.Values{"procedure": {"ERCP"}})
	if a.status != http.StatusBadRequest || !strings.Contains(a.body, "it is not known") {
		t.Errorf("without an end: status %d\n%s", a.status, a.body)
	}
	rest := url.Values{"end": {notKnown}, "who": {notKnown}, "procedure": {"ERCP"}}
	if a := b.sendForm(at+"/rest", access.Technician, rest); a.status != http.StatusSeeOther {
		t.Fatalf("not known: status %d\n%s", a.status, a.body)
	}
	if got := b.emergencies(); len(got) != 1 || len(got[0].Lacking) > 0 || !got[0].EndNotKnown || got[0].End.Known() {
		t.Fatalf("in the end: %+v", got)
	}
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention} {
		today := b.ask(http.MethodGet, "/today", role).body
		if strings.Contains(today, "Emergency uses of which") || !strings.Contains(today, `<a href="/emergencies">Emergency uses</a>`) ||
			strings.Contains(today, `<a href="/attest">Not proven: attest</a>`) != (role == access.Lead) {
			t.Errorf("Today of the %s, when all is settled", role)
		}
	}
	if list := b.ask(http.MethodGet, "/emergencies", access.Lead).body; !strings.Contains(list, "<dt>Ended</dt><dd>not known</dd>") {
		t.Errorf("the list:\n%s", list)
	}
	// It was another scope: whoever looks for it later finds who took it back.
	b.clock.Move(time.Minute)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		e.Corrects, e.Reason, e.Second = b.emergencies()[0].Record, "it was another scope", access.Operator("H-01")
		return w.Void(e)
	})
	list := b.ask(http.MethodGet, "/emergencies", access.Lead).body
	if !strings.Contains(list, "<s><a") || !strings.Contains(list, "by L-01") || !strings.Contains(list, "it was another scope") ||
		strings.Contains(list, "Record the rest") {
		t.Errorf("taken back:\n%s", list)
	}
	if list := b.ask(http.MethodGet, "/emergencies?show=unseen", access.Lead).body; strings.Contains(list, "another scope") {
		t.Error("what was taken back waits for somebody")
	}
}
