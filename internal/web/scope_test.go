package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"maps"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// pastScope has been through a lot once furnish is done: two cycles that passed, a repair, one that
// failed, files.
const pastScope = "D-08"

// furnish gives the site a scope with a past and returns a file that was attached to it.
func (b *site) furnish() (file string) {
	b.Helper()
	b.look(func(v desk.View) error {
		all, err := v.Records().Attachments(pastScope)
		if err == nil && len(all) > 0 {
			file = string(all[0].ID)
		}
		return nil // before the first time there is no such scope
	})
	if file != "" {
		return file
	}
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.SettingUp().RegisterInstrument(e, b.at(), scope.Instrument{
			Tag: pastScope, Serial: "SN " + pastScope, Model: duodenoscope.Name, Owner: scope.Own, Location: "Endoscopy 1", InService: b.at(),
		})
	})
	for range 2 {
		b.turn(pastScope, "30")
	}
	sent := b.clock.Move(time.Minute)
	away := b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.RecordRepair(e, scope.Repair{Scope: pastScope, Sent: sent, Fault: "leak at the bending section"}, "")
	})
	returned := b.clock.Move(3 * time.Hour)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r := scope.Repair{Scope: pastScope, Sent: sent, Returned: returned, Fault: "leak at the bending section", Work: "rubber replaced"}
		return w.RecordRepair(e, r, string(away.Record.ID))
	})
	b.turn(pastScope, "250")
	for i, a := range []dossier.Attachment{
		{Kind: dossier.Certificate, Title: "certificate of the repair"},
		{Kind: dossier.Photograph, Title: awkward},
		{Kind: dossier.Photograph, Title: "taken of another scope"},
	} {
		a.Scope = pastScope
		content := photograph(b.TB, 40+i, 30)
		if a.Kind == dossier.Certificate {
			content = paper("certificate")
		}
		b.clock.Move(time.Second)
		r := b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.Attach(e, a, content) })
		if a.Title == awkward {
			file = string(r.Record.ID)
			continue
		}
		if i == 2 {
			b.clock.Move(time.Second)
			b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
				e.Corrects, e.Reason = r.Record.ID, "it shows D-01"
				return w.Void(e)
			})
		}
	}
	b.clock.Move(20 * time.Second)
	return file
}

// turn brings a scope once verification; with a reading over the action level it stops there.
func (b *site) turn(tag, value string) {
	b.Helper()
	b.clock.Move(time.Minute)
	b.use(tag)
	b.clean(tag)
	for _, p := range routine {
		b.read(b.take(tag, p), value)
	}
	if value == "30" {
		b.finish(tag)
	}
}

// look asks the desk.
func (b *site) look(ask func(desk.View) error) {
	b.Helper()
	if err := b.desk.View(context.WithoutCancel(b.Context()), ask); err != nil {
		b.Fatal(err)
	}
}

func photograph(tb testing.TB, width, height int) []byte {
	tb.Helper()
	p := image.NewRGBA(image.Rect(0, 0, width, height))
	for x := range width {
		for y := range height {
			p.Set(x, y, color.RGBA{uint8(40 + 4*x), uint8(60 + 4*y), 120, 255})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, p); err != nil {
		tb.Fatal(err)
	}
	return b.Bytes()
}

// paper is a document as small as the check of files allows.
func paper(text string) []byte {
	return []byte("%PDF-1.4\n% " + text + "\nstartxref\n9\n%%EOF\n")
}

// post sends a form as a role.
func (b *site) send(path string, role access.Role, fields map[string]string) answer {
	b.Helper()
	values := url.Values{}
	for name, value := range fields {
		values.Set(name, value)
	}
	return b.ask(http.MethodPost, path, role, func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Body = io.NopCloser(strings.NewReader(values.Encode()))
	})
}

// upload sends a form with a file as a role.
func (b *site) upload(path string, role access.Role, fields map[string]string, name, declared string, content []byte) answer {
	b.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for field, value := range fields {
		if err := form.WriteField(field, value); err != nil {
			b.Fatal(err)
		}
	}
	if name != "" {
		h := textproto.MIMEHeader{}
		h.Set("Content-Disposition", fmt.Sprintf(`form-data; name="file"; filename=%q`, name))
		h.Set("Content-Type", declared)
		part, err := form.CreatePart(h)
		if err == nil {
			_, err = part.Write(content)
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		b.Fatal(err)
	}
	return b.ask(http.MethodPost, path, role, func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", form.FormDataContentType())
		r.Body = io.NopCloser(&body)
	})
}

// newID is an id as the server puts it into a form.
func (b *site) newID() string {
	return string(ledger.NewID(b.at(), rand.Reader))
}

// size returns the number of records.
func (b *site) size() (n int64) {
	b.Helper()
	b.look(func(v desk.View) error {
		lines, err := v.Chronicle(heldScope, 0, b.at(), 10000)
		n = int64(len(lines))
		return err
	})
	return n
}

// hold has a technician place a hold on the ready scope and returns its id.
func (b *site) hold() string {
	b.Helper()
	return string(b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.PlaceHold(e, reprocessing.Hold{Scope: readyScope, By: "T-01", Reason: "dropped"})
	}).Record.ID)
}

func (b *site) holdsOf(tag string) (open []desk.Liftable) {
	b.Helper()
	b.look(func(v desk.View) (err error) {
		open, err = v.Records().Liftables(tag, b.at())
		return err
	})
	return open
}

// Each form of a scope's page stores one record however often it is sent, and what was typed stays when
// it is not accepted.
func TestScopeForms(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	at := "/scopes/" + heldScope
	local := b.at().Time().In(b.server.Desk.DB.Zone()).Format(kit.FormTime)
	tests := []struct {
		name, path string
		role       access.Role
		fields     map[string]string
		done       string
		// without is a field without which it is refused, kept what the answer must hold then.
		without, kept string
	}{
		{"hold", at + "/holds", access.Technician, map[string]string{"reason": " dropped & scratched "}, "hold", "reason", "reason is missing"},
		{"hold by infection prevention", at + "/holds", access.InfectionPrevention, map[string]string{"reason": "culture grew"}, "hold", "id", "culture grew"},
		{"request", at + "/requests", access.InfectionPrevention, map[string]string{"reason": "after the culture"}, "asked", "reason", "needs the name"},
		{"repair", at + "/repairs", access.Technician, map[string]string{"sent": local, "fault": "leak at the tip"}, "sent", "sent", "leak at the tip"},
	}
	for _, test := range tests {
		fields := map[string]string{"id": b.newID()}
		maps.Copy(fields, test.fields)
		missing := map[string]string{}
		for name, value := range fields {
			if name != test.without {
				missing[name] = value
			}
		}
		before := b.size()
		bad := b.send(test.path, test.role, missing)
		if bad.status != http.StatusBadRequest || !strings.Contains(bad.body, test.kept) || !strings.Contains(bad.body, "details open") || b.size() != before {
			t.Errorf(
				"%s without its %s: status %d, %d records more; want it refused, and in its form %q",
				test.name,
				test.without,
				bad.status,
				b.size()-before,
				test.kept,
			)
		}
		for range 2 {
			b.clock.Move(time.Second)
			good := b.send(test.path, test.role, fields)
			if to := good.header.Get("Location"); good.status != http.StatusSeeOther || to != at+"?done="+test.done {
				t.Errorf("%s: status %d to %q\n%s", test.name, good.status, to, good.body)
			}
		}
		if n := b.size() - before; n != 1 {
			t.Errorf("%s sent twice: %d records", test.name, n)
		}
	}
	page := b.ask(http.MethodGet, at+"?done=hold", access.Technician).body
	for _, want := range []string{"The hold is placed.", "Back from repair", "dropped &amp; scratched"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if strings.Contains(b.ask(http.MethodGet, at+"?done=nonsense", access.Technician).body, "nonsense") {
		t.Error("the page repeats what an address says")
	}
}

func TestReturnFromRepair(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	var away []reprocessing.Repair
	repairs := func() {
		b.look(func(v desk.View) (err error) {
			away, err = v.Records().Repairs(awayScope, 0, b.at())
			return err
		})
	}
	repairs()
	fields := map[string]string{
		"id":       b.newID(),
		"repair":   away[0].ID,
		"work":     "sealed",
		"returned": b.clock.Move(26 * time.Hour).Time().In(b.server.Desk.DB.Zone()).Format(kit.FormTime),
	}
	for range 2 {
		if got := b.send("/scopes/"+awayScope+"/repairs", access.Lead, fields); got.status != http.StatusSeeOther {
			t.Fatalf("status %d\n%s", got.status, got.body)
		}
	}
	repairs()
	if len(away) != 1 || !away[0].Returned.Known() || away[0].Work != "sealed" || away[0].Fault != "leak at the bending section" {
		t.Errorf("the repair: %+v", away)
	}
	fields["id"] = b.newID()
	if got := b.send(
		"/scopes/"+readyScope+"/repairs",
		access.Lead,
		fields,
	); got.status != http.StatusBadRequest ||
		!strings.Contains(got.body, "is not a repair of") {
		t.Errorf("a repair of another scope: status %d", got.status)
	}
}

// A lift is signed: by whoever lifts and, without a verification passed since, by a second person who may.
func TestLiftIsSigned(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention, access.Technician, newcomer} {
		b.session(role)
	}
	hold, other := b.hold(), string(b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.PlaceHold(e, reprocessing.Hold{Scope: heldScope, By: "T-01", Reason: "dropped"})
	}).Record.ID)
	second := codeOf(access.InfectionPrevention)
	b.clock.Move(access.ProofHolds) // nobody has shown lately who they are
	tests := []struct {
		name   string
		change map[string]string
		status int
		want   string
	}{
		{"no reason", map[string]string{"reason": " "}, http.StatusBadRequest, "Say why"},
		{"not signed", map[string]string{"secret": ""}, http.StatusForbidden, "This is a signature."},
		{"another password", map[string]string{"secret": password + "x"}, http.StatusForbidden, "The password is not right."},
		{"no second person", map[string]string{"second": ""}, http.StatusBadRequest, "second person"},
		{"oneself as the second", map[string]string{"second": strings.ToLower(codeOf(access.Lead))}, http.StatusBadRequest, "somebody else"},
		{
			"a second without a password",
			map[string]string{"second-password": ""},
			http.StatusForbidden,
			"Second person: The code or the password is not right.",
		},
		{"a second that nobody is", map[string]string{"second": "X-99"}, http.StatusForbidden, "Second person: The code or the password is not right."},
		{"a second who may not", map[string]string{"second": codeOf(access.Technician)}, http.StatusForbidden, "may lift holds"},
		{"a second whose password somebody else chose", map[string]string{"second": codeOf(newcomer)}, http.StatusBadRequest, "set by somebody else"},
		{"both", nil, http.StatusSeeOther, ""},
		{"both, sent once more", nil, http.StatusSeeOther, ""},
	}
	id := b.newID()
	for _, test := range tests {
		fields := map[string]string{
			"id":              id,
			"hold":            hold,
			"reason":          "looked at: nothing is broken",
			"secret":          password,
			"second":          second,
			"second-password": password,
		}
		maps.Copy(fields, test.change)
		b.clock.Move(2 * time.Minute) // longer than anybody has to wait after a wrong password
		got := b.send("/scopes/"+readyScope+"/lifts", access.Lead, fields)
		b.keep(access.Lead, got)
		if got.status != test.status || !strings.Contains(got.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%.3000s", test.name, got.status, test.status, test.want, got.body)
		}
		if strings.Contains(got.body, password) {
			t.Errorf("%s: the page shows a password", test.name)
		}
		if got.status != http.StatusSeeOther &&
			(!strings.Contains(got.body, `value="`+strings.TrimSpace(fields["reason"])) || len(b.holdsOf(readyScope)) != 1) {
			t.Errorf("%s: what was typed is gone, or the hold is", test.name)
		}
	}
	if open := b.holdsOf(readyScope); len(open) != 0 {
		t.Fatalf("still on hold: %+v", open)
	}
	stay := len(b.holdsOf(heldScope))
	astray := map[string]string{"id": b.newID(), "hold": other, "reason": "nothing", "secret": password, "second": second, "second-password": password}
	if got := b.send("/scopes/"+readyScope+"/lifts", access.Lead, astray); got.status != http.StatusBadRequest || len(b.holdsOf(heldScope)) != stay {
		t.Errorf("a hold on another scope: status %d, %d of %d holds stand", got.status, len(b.holdsOf(heldScope)), stay)
	}
	page := b.ask(http.MethodGet, "/scopes/"+readyScope, access.Lead).body
	if want := codeOf(access.Lead) + " and " + second; !strings.Contains(page, want) {
		t.Errorf("the page does not say who lifted: %s", want)
	}
}

// keep goes on with the token that an answer gave a role.
func (b *site) keep(role access.Role, a answer) {
	b.Helper()
	r := http.Response{Header: a.header}
	for _, c := range r.Cookies() {
		if c.Name == b.server.CookieName() {
			b.mu.Lock()
			b.tokens[role] = c.Value
			b.mu.Unlock()
		}
	}
}

func TestUpload(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	at := "/scopes/L%207%2F2/files"
	picture := photograph(t, 8, 6)
	fields := func(change ...string) map[string]string {
		f := map[string]string{"id": b.newID(), "kind": "photograph", "title": "scratch at the tip"}
		for i := 0; i+1 < len(change); i += 2 {
			f[change[i]] = change[i+1]
		}
		return f
	}
	large := append(slices.Clone(picture), make([]byte, dossier.MaxSize)...)
	tests := []struct {
		name, file, declared string
		fields               map[string]string
		content              []byte
		role                 access.Role
		status               int
		want                 string
	}{
		{"a picture", "a.png", "image/png", fields(), picture, access.Technician, http.StatusSeeOther, ""},
		{"the largest form", "a.png", "image/png", fields(), large[:dossier.MaxSize], access.Technician, http.StatusSeeOther, ""},
		{
			"a byte too large",
			"a.png",
			"image/png",
			fields(),
			large[:dossier.MaxSize+1],
			access.Technician,
			http.StatusRequestEntityTooLarge,
			"larger than 10 MiB",
		},
		{
			"far too large",
			"a.png",
			"image/png",
			fields(),
			append(slices.Clone(large), large...),
			access.Technician,
			http.StatusRequestEntityTooLarge,
			"larger than 10 MiB",
		},
		{"a page", "a.html", "text/html", fields(), []byte("<script>alert(1)</script>"), access.Technician, http.StatusUnsupportedMediaType, "are not kept"},
		{
			"a page that is called a picture",
			"a.png",
			"image/png",
			fields(),
			[]byte("<script>alert(1)</script>"),
			access.Technician,
			http.StatusBadRequest,
			"not kept",
		},
		{"a document that is called a picture", "a.png", "image/png", fields(), paper("x"), access.Technician, http.StatusBadRequest, "holds a PDF document"},
		{"no file", "", "", fields(), nil, access.Technician, http.StatusBadRequest, "Choose a file."},
		{"no title", "a.png", "image/png", fields("title", " "), picture, access.Technician, http.StatusBadRequest, "title is missing"},
		{
			"about a record of another scope",
			"a.png",
			"image/png",
			fields("about", b.anyRecord(readyScope)),
			picture,
			access.Technician,
			http.StatusBadRequest,
			"is of scope",
		},
		{"no id", "a.png", "image/png", fields("id", "x"), picture, access.Technician, http.StatusBadRequest, "Open the page anew"},
		{"somebody who only reads", "a.png", "image/png", fields(), picture, access.Auditor, http.StatusForbidden, "not for your roles"},
	}
	var files []desk.Attached
	count := func() int {
		b.look(func(v desk.View) (err error) {
			files, err = v.Records().Attachments(unknownScope)
			return err
		})
		return len(files)
	}
	for _, test := range tests {
		b.clock.Move(time.Second)
		before := count()
		for range 2 {
			got := b.upload(at, test.role, test.fields, test.file, test.declared, test.content)
			if got.status != test.status || !strings.Contains(got.body, test.want) {
				t.Errorf("%s: status %d, want %d with %q:\n%.2000s", test.name, got.status, test.status, test.want, got.body)
			}
			if title := test.fields["title"]; got.status != http.StatusSeeOther && test.role == access.Technician && title != " " &&
				!strings.Contains(got.body, `value="`+title) {
				t.Errorf("%s: the title that was typed is gone", test.name)
			}
		}
		if want := before + map[bool]int{true: 1}[test.status == http.StatusSeeOther]; count() != want {
			t.Errorf("%s: %d files after it was sent twice, want %d", test.name, count(), want)
		}
	}
}

// A file comes with its type and cannot become a part of the site, and only to whoever may see scopes.
func TestFilesAreServed(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	id := b.furnish()
	got := b.ask(http.MethodGet, "/files/"+id, access.Technician)
	if got.status != http.StatusOK || got.body != string(photograph(t, 41, 30)) {
		t.Fatalf("status %d, %d bytes", got.status, len(got.body))
	}
	if csp := got.header.Values("Content-Security-Policy"); !slices.Contains(csp, "default-src 'none'; sandbox") {
		t.Errorf("policies: %q", csp)
	}
	for name, want := range map[string]string{
		"Content-Type": "image/png", "X-Content-Type-Options": "nosniff", "Cache-Control": "private, max-age=31536000, immutable", "Content-Encoding": "",
	} {
		if value := got.header.Get(name); value != want {
			t.Errorf("%s: %q, want %q", name, value, want)
		}
	}
	if place := got.header.Get("Content-Disposition"); !strings.HasPrefix(place, "inline; ") {
		t.Errorf("a picture: %s", place)
	}
	b.look(func(v desk.View) error {
		all, err := v.Records().Attachments(pastScope)
		for _, a := range all {
			if a.Media != dossier.PDF {
				continue
			}
			if place := b.ask(
				http.MethodGet,
				"/files/"+string(a.ID),
				access.Lead,
			).header.Get(
				"Content-Disposition",
			); !strings.HasPrefix(
				place,
				"attachment; ",
			) {
				t.Errorf("a document: %s", place)
			}
		}
		return err
	})
	for _, role := range []access.Role{access.ProcedureRoom, access.Administrator} {
		if got := b.ask(http.MethodGet, "/files/"+id, role); got.status != http.StatusForbidden || strings.Contains(got.body, "PNG") {
			t.Errorf("%s: status %d", role, got.status)
		}
	}
	if got := b.ask(http.MethodGet, "/files/"+b.anyRecord(heldScope), access.Lead); got.status != http.StatusNotFound {
		t.Errorf("a record that attaches nothing: status %d", got.status)
	}
}

// A file is taken back by whoever attached it, or by somebody who may void records, and always with a
// reason; it is then in the list of records only.
// Infection prevention files the report of a laboratory, and takes back its own file and no other.
func TestInfectionPreventionFilesReports(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	theirs := b.furnish()
	if page := b.ask(
		http.MethodGet,
		"/scopes/"+pastScope,
		access.InfectionPrevention,
	).body; !strings.Contains(page, `id="file-title"`) ||
		strings.Contains(page, `id="repair-sent"`) {
		t.Error("there is no form for a file, or one for a repair")
	}
	got := b.upload(
		"/scopes/"+pastScope+"/files",
		access.InfectionPrevention,
		map[string]string{"id": b.newID(), "kind": "report", "title": "report of the laboratory"},
		"a.pdf",
		"application/pdf",
		paper("no growth"),
	)
	if got.status != http.StatusSeeOther {
		t.Fatalf("status %d\n%.1500s", got.status, got.body)
	}
	var own string
	b.look(func(v desk.View) error {
		all, err := v.Records().Attachments(pastScope)
		own = string(all[0].ID)
		return err
	})
	b.clock.Move(time.Second)
	for file, want := range map[string]int{theirs: http.StatusForbidden, own: http.StatusSeeOther} {
		if got := b.send(
			"/files/"+file+"/void",
			access.InfectionPrevention,
			map[string]string{"id": b.newID(), "reason": "another scope"},
		); got.status != want {
			t.Errorf("take back: status %d, want %d", got.status, want)
		}
	}
	if got := b.upload(
		"/scopes/"+pastScope+"/files",
		access.Auditor,
		map[string]string{"id": b.newID(), "kind": "report", "title": "x"},
		"a.pdf",
		"application/pdf",
		paper("x"),
	); got.status != http.StatusForbidden {
		t.Errorf("an auditor: status %d", got.status)
	}
}

func TestVoidFile(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	theirs := b.furnish()
	attach := b.upload(
		"/scopes/"+pastScope+"/files",
		access.Technician,
		map[string]string{"id": b.newID(), "kind": "photograph", "title": "my own"},
		"a.png",
		"image/png",
		photograph(t, 5, 5),
	)
	if attach.status != http.StatusSeeOther {
		t.Fatal(attach.status)
	}
	var own string
	b.look(func(v desk.View) error {
		all, err := v.Records().Attachments(pastScope)
		own = string(all[0].ID)
		return err
	})
	b.clock.Move(time.Second)
	tests := []struct {
		name, file, reason string
		role               access.Role
		status             int
	}{
		{"without a reason", own, " ", access.Technician, http.StatusBadRequest},
		{"somebody else's", theirs, "blurred", access.Technician, http.StatusForbidden},
		{"one's own", own, "blurred", access.Technician, http.StatusSeeOther},
		{"somebody else's by a lead", theirs, "wrong scope", access.Lead, http.StatusSeeOther},
		{"what was taken back", theirs, "once more", access.Lead, http.StatusConflict},
	}
	for _, test := range tests {
		got := b.send("/files/"+test.file+"/void", test.role, map[string]string{"id": b.newID(), "reason": test.reason})
		if got.status != test.status {
			t.Errorf("%s: status %d, want %d\n%.1500s", test.name, got.status, test.status, got.body)
		}
	}
	page := b.ask(http.MethodGet, "/scopes/"+pastScope, access.Technician).body
	if strings.Contains(page, `src="/files/`+own) || !strings.Contains(page, "<s>attachment: my own</s>") ||
		!strings.Contains(page, "taken back by "+codeOf(access.Technician)+": blurred") {
		t.Error("the file that was taken back is shown, or not struck in the records")
	}
}

func TestScopeList(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	tags := func(query string) (list []string) {
		t.Helper()
		got := b.ask(http.MethodGet, "/scopes?format=csv&"+query, access.Auditor)
		if kind := got.header.Get("Content-Type"); got.status != http.StatusOK || !strings.HasPrefix(kind, "text/csv") {
			t.Fatalf("status %d, %s", got.status, kind)
		}
		rows, err := csv.NewReader(strings.NewReader(got.body)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		page := b.ask(http.MethodGet, "/scopes?"+query, access.Auditor).body
		for _, row := range rows[1:] {
			list = append(list, row[0])
			if !strings.Contains(page, ">"+row[0]+"</a></th>") {
				t.Errorf("%s: the page lacks %s, which the file has", query, row[0])
			}
		}
		if n := strings.Count(page, `<th scope="row">`); n != len(list) {
			t.Errorf("%s: %d rows on the page and %d in the file", query, n, len(list))
		}
		return list
	}
	for query, want := range map[string][]string{
		"":                        {"D-01", "D-02", "D-03", "D-04", "D-07", "G-06", "L 7/2"},
		"state=on+hold":           {heldScope},
		"state=out+of+service":    {awayScope},
		"kind=gastroscope":        {inUseScope},
		"q=g1":                    {inUseScope},
		"q=l+7":                   {unknownScope},
		"state=ready&q=endoscopy": {readyScope},
		"state=ready&kind=none":   nil,
		"q=" + barcode:            {readyScope},
	} {
		if got := tags(query); !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", query, got, want)
		}
	}
	if got := b.ask(http.MethodGet, "/scopes?format=csv", access.Technician); got.status != http.StatusForbidden {
		t.Errorf("a technician exports: status %d", got.status)
	}
	if strings.Contains(b.ask(http.MethodGet, "/scopes", access.Technician).body, "format=") {
		t.Error("a technician is offered what is not allowed")
	}
}

// The cycles of a scope come in pages, each once.
func TestCyclePages(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for range cyclesShown + 3 {
		b.clock.Move(time.Hour)
		u := reprocessing.Use{Scope: inUseScope, Start: b.clock.Move(time.Minute), End: b.clock.Move(10 * time.Minute), Procedure: "gastroscopy", Room: "3"}
		b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordUse(e, u, "MRN-2063") })
	}
	at, seen := "/scopes/"+inUseScope, 0
	for at != "" {
		page := b.ask(http.MethodGet, at, access.Lead)
		if page.status != http.StatusOK || strings.Contains(page.body, "MRN-2063") || strings.Contains(page.body, "patient\"") {
			t.Fatalf("%s: status %d, or it names the patient", at, page.status)
		}
		seen += strings.Count(page.body, `<details class="trip">`)
		at = ""
		if before, _, ok := strings.Cut(page.body, `">Older cycles`); ok {
			at = strings.ReplaceAll(before[strings.LastIndex(before, `href="`)+len(`href="`):], "&amp;", "&")
			at, _, _ = strings.Cut(at, "#")
		}
	}
	// The first use of the department goes on without an end; before it lies the arrival.
	if want := cyclesShown + 3 + 1; seen != want {
		t.Errorf("%d cycles before the present one, want %d", seen, want)
	}
	if got := b.ask(http.MethodGet, "/scopes/"+inUseScope+"?before=yesterday", access.Lead); got.status != http.StatusBadRequest {
		t.Errorf("no instant: status %d", got.status)
	}
}

func TestDossier(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.furnish()
	u := reprocessing.Use{Scope: pastScope, Start: b.at(), End: b.clock.Move(10 * time.Minute), Procedure: "ercp"}
	var committed reprocessing.Use
	r := b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordUse(e, u, "MRN-2063") })
	if err := json.Unmarshal(r.Record.Body, &committed); err != nil || committed.Patient == "" {
		t.Fatalf("%v, %+v", err, committed)
	}
	got := b.ask(http.MethodGet, "/scopes/"+pastScope+"/dossier", access.Auditor)
	note, err := b.desk.DB.Checkpoint(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	c, err := ledger.Open(note, []string{b.desk.DB.Site().VKey})
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Test site", pastScope, "D1", "SN " + pastScope, codeOf(access.Auditor), strings.ReplaceAll(c.Root.String(), "+", "&#43;"), fmt.Sprintf("%d records", c.Size),
		"rubber replaced", "ercp", "250 RLU", "certificate of the repair", "opa-0.55",
	} {
		if !strings.Contains(got.body, want) {
			t.Errorf("the dossier lacks %q", want)
		}
	}
	if strings.Contains(got.body, committed.Patient) || strings.Contains(got.body, "MRN-2063") {
		t.Error("the dossier names a patient")
	}
	before := b.ask(http.MethodGet, "/scopes/"+pastScope+"/dossier?from=2020-01-01&to=2020-01-02", access.Auditor)
	if before.status != http.StatusOK || strings.Contains(before.body, "ercp") || !strings.Contains(before.body, "none in this period") {
		t.Errorf("a period before everything: status %d", before.status)
	}
}

func TestPhotographInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	name := filepath.Join(t.TempDir(), "tip.png")
	if err := os.WriteFile(name, photograph(t, 64, 48), 0o600); err != nil {
		t.Fatal(err)
	}
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Technician)
	p.scripts(false) // it is a plain form
	p.open("/scopes/" + readyScope)
	p.click("#files ~ details > summary")
	p.fill("#file-title", "scratch at the tip")
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#file-file"), []string{name}))
	p.click("#files ~ details form button")
	p.waitText(".said", "The file is kept.")
	p.scripts(true)
	p.open("/scopes/" + readyScope)
	p.do(chromedp.ScrollIntoView(chromedp.CSS(".files img")))
	p.wait(`document.querySelector(".files img").naturalWidth === 64`)
	if got := p.text(".files .card"); !strings.Contains(got, "scratch at the tip") || !strings.Contains(got, "by "+codeOf(access.Technician)) {
		t.Errorf("the card says:\n%s", got)
	}
}

func TestHoldInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.session(access.InfectionPrevention)
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	p.open("/scopes/" + readyScope)
	p.click("details:has(#hold-reason) > summary")
	p.option("#hold-kind", "something else")
	p.fill("#hold-reason", "fell to the floor")
	p.click("details:has(#hold-reason) button")
	p.waitText(".said", "The hold is placed.")
	p.waitText(".headline", "on hold")

	p.click("details:has([name=second]) > summary")
	p.fill("[name=hold] ~ [name=reason]", "leak test passed")
	p.fill("[name=second]", codeOf(access.InfectionPrevention))
	p.fill("[name=second-password]", "a guess in the dark")
	p.expect(http.StatusForbidden)
	p.click("details:has([name=second]) button")
	p.waitText("details[open] .problem", "Second person:")
	p.inspect("scope-lift-refused")
	if got := eval[string](p, `document.querySelector("[name=hold] ~ [name=reason]").value`); got != "leak test passed" {
		t.Errorf("the reason that was typed became %q", got)
	}
	b.clock.Move(2 * time.Minute)
	p.fill("[name=second-password]", password)
	p.click("details:has([name=second]) button")
	p.waitText(".said", "The hold is lifted.")
	p.waitText(".headline", "ready")
}

// On paper a dossier has nothing to click on, and page after page.
func TestDossierOnPaper(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.furnish()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	p.open("/scopes/" + pastScope + "/dossier")
	p.wait(`[...document.images].every((i) => i.complete && i.naturalWidth > 0)`)
	printed := run(p, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
		yes := true
		r, err := cdp.Call(ctx, t, cdppage.PrintToPDF, cdppage.PrintToPDFParams{PrintBackground: &yes, PreferCSSPageSize: &yes})
		return r.Data, err
	})
	if *screenshots != "" {
		if err := os.WriteFile(filepath.Join(*screenshots, "dossier.pdf"), printed, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if pages := bytes.Count(printed, []byte("/Type /Page\n")); pages < 3 {
		t.Errorf("%d pages were printed", pages)
	}
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	if seen := eval[[]string](
		p,
		`[...document.querySelectorAll("nav, form, button, .button")].filter((e) => e.checkVisibility()).map((e) => e.outerHTML.slice(0, 80))`,
	); len(
		seen,
	) > 0 {
		t.Errorf("on paper there is also: %q", seen)
	}
}
