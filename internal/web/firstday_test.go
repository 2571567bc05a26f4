package web

import (
	"bytes"
	"context"
	"fmt"
	"html"
	"image"
	"image/png"
	"maps"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/quality"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// onTrial is a site that is set up, on trial, with the first cycle of readyScope on record.
func onTrial(t *testing.T) *site {
	t.Helper()
	b := newRegistered(t, storetest.NewClock(), record.TermsUS)
	b.clock.Move(time.Hour)
	b.use(readyScope)
	b.clean(readyScope)
	b.finish(readyScope)
	b.live("https://test.example")
	return b
}

// stock sends a list with a photograph.
func (b *site) stock(fields map[string]string, photographs int) answer {
	b.Helper()
	var picture, sent bytes.Buffer
	if err := png.Encode(&picture, image.NewGray(image.Rect(0, 0, 4, 4))); err != nil {
		b.Fatal(err)
	}
	form := multipart.NewWriter(&sent)
	for name, value := range fields {
		if err := form.WriteField(name, value); err != nil {
			b.Fatal(err)
		}
	}
	for i := range photographs {
		h := textproto.MIMEHeader{}
		h.Set("Content-Disposition", fmt.Sprintf(`form-data; name="file"; filename="paper %d.png"`, i))
		h.Set("Content-Type", "image/png")
		part, err := form.CreatePart(h)
		if err == nil {
			_, err = part.Write(picture.Bytes())
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		b.Fatal(err)
	}
	return b.ask(http.MethodPost, "/first-day/stock", access.Lead, func(r *http.Request) {
		r.Header.Set("Sec-Fetch-Site", "same-origin")
		r.Header.Set("Content-Type", form.FormDataContentType())
		r.Body = readCloser{&sent}
	})
}

type readCloser struct{ *bytes.Buffer }

func (readCloser) Close() error { return nil }

// Every page of a site on trial says that paper decides, and where the start is signed to whoever is signed in.
func TestPagesOnTrial(t *testing.T) {
	b := onTrial(t)
	const words, link = "On trial: paper decides", `href="/first-day"`
	for path, role := range map[string]access.Role{
		"/today": access.Lead, "/sign-in": nobody, "/ready/" + readyScope: nobody, "/scopes/" + readyScope: access.Technician, "/bench": access.Technician,
		"/scopes/" + readyScope + "/dossier": access.Auditor,
	} {
		a := b.ask(http.MethodGet, path, role)
		if a.status != http.StatusOK || !strings.Contains(a.body, words) || strings.Contains(a.body, link) != (role != nobody) {
			t.Errorf("%s: status %d, does not say it, or not where to sign:\n%.900s", path, a.status, a.body)
		}
	}
	a := b.ask(http.MethodGet, "/ready/"+readyScope, nobody)
	for _, not := range []string{"ready for use"} {
		if strings.Contains(a.body, not) {
			t.Errorf("the release check says %q:\n%.3000s", not, a.body)
		}
	}
	b.clock.Move(time.Minute)
	b.session(access.Lead)
	b.session(access.InfectionPrevention)
	id := b.newID()
	for _, test := range []struct {
		reason string
		fields map[string]string
		status int
		says   string
	}{
		{"one alone", map[string]string{}, http.StatusBadRequest, "takes a second person"},
		{
			"with a wrong password",
			map[string]string{"second": codeOf(access.InfectionPrevention), "second-password": "wrong"},
			http.StatusForbidden, "Second person:",
		},
		{"with a technician", map[string]string{"second": codeOf(access.Technician), "second-password": password}, http.StatusForbidden, "second person"},
	} {
		b.session(access.Technician)
		b.clock.Move(time.Minute)
		test.fields["id"] = id
		a := b.send("/first-day/start", access.Lead, test.fields)
		if a.status != test.status || !strings.Contains(html.UnescapeString(a.body), test.says) {
			t.Errorf("%s: status %d:\n%.2500s", test.reason, a.status, a.body)
		}
	}
	b.clock.Move(2 * time.Minute)
	a = b.send("/first-day/start", access.Lead, map[string]string{
		"id": id, "secret": password, "second": codeOf(access.InfectionPrevention), "second-password": password,
	})
	if a.status != http.StatusSeeOther || a.header.Get("Location") != "/first-day?done=start" {
		t.Fatalf("signed by two: status %d:\n%.2500s", a.status, a.body)
	}
	b.keep(access.Lead, a)
	for _, path := range []string{"/today", "/ready/" + readyScope, "/first-day"} {
		if a := b.ask(http.MethodGet, path, access.Lead); strings.Contains(a.body, words) || a.status != http.StatusOK {
			t.Errorf("%s after the start: status %d:\n%.900s", path, a.status, a.body)
		}
	}
}

// A list that two have signed makes its scopes ready, and their answer says by what.
func TestStockTakePage(t *testing.T) {
	b := newRegistered(t, storetest.NewClock(), record.TermsUS)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.SettingUp().SignStart(e, "H-01") })
	b.live("https://test.example")
	b.clock.Move(time.Hour)
	b.session(access.Lead)
	b.session(access.InfectionPrevention)
	a := b.ask(http.MethodGet, "/first-day", access.Lead)
	if !strings.Contains(a.body, `value="`+readyScope+`"`) || strings.Contains(a.body, `value="`+unknownScope+`"`) ||
		!strings.Contains(a.body, "reprocessed on arrival") {
		t.Fatalf("the list:\n%.4000s", a.body)
	}
	until := b.at().Add(24 * time.Hour).Time().In(b.desk.DB.Zone()).Format(kit.FormTime)
	good := func() map[string]string {
		return map[string]string{
			"id": b.newID(), "scope": readyScope, "cabinet-" + readyScope: "drying-cabinet", "until-" + readyScope: until, "secret": password,
			"second": codeOf(access.InfectionPrevention), "second-password": password,
		}
	}
	for _, test := range []struct {
		reason      string
		photographs int
		change      func(map[string]string)
		status      int
		says        string
	}{
		{"no photograph", 0, func(map[string]string) {}, http.StatusBadRequest, "the photograph of its paper is missing"},
		{"no scope", 1, func(f map[string]string) { delete(f, "scope") }, http.StatusBadRequest, "Mark the scopes"},
		{"no end", 1, func(f map[string]string) { f["until-"+readyScope] = "" }, http.StatusBadRequest, "When does the storage of " + readyScope},
		{"no cabinet", 1, func(f map[string]string) { f["cabinet-"+readyScope] = "" }, http.StatusBadRequest, "in which cabinet"},
		{"too many", 9, func(map[string]string) {}, http.StatusRequestEntityTooLarge, "At most 8"},
		{"one alone", 1, func(f map[string]string) { f["second"] = "" }, http.StatusBadRequest, "takes a second person"},
	} {
		fields := good()
		test.change(fields)
		a := b.stock(fields, test.photographs)
		if a.status != test.status || !strings.Contains(html.UnescapeString(a.body), test.says) {
			t.Errorf("%s: status %d:\n%.2500s", test.reason, a.status, a.body)
		}
		b.keep(access.Lead, a)
		b.clock.Move(time.Minute)
	}
	a = b.stock(good(), 2)
	if a.status != http.StatusSeeOther || a.header.Get("Location") != "/first-day?done=stock" {
		t.Fatalf("status %d:\n%.2500s", a.status, a.body)
	}
	a = b.ask(http.MethodGet, "/ready/"+readyScope, nobody)
	if !strings.Contains(a.body, "ready for use") || !strings.Contains(a.body, "By the stock-take of") {
		t.Errorf("the answer:\n%.3000s", a.body)
	}
	if a := b.ask(http.MethodGet, "/first-day", access.Auditor); !strings.Contains(a.body, "Ready by a stock-take") {
		t.Errorf("the page:\n%.4000s", a.body)
	}
}

// Once a site is started an administrator gives infection prevention with a second person.
func TestGrantWithASecondPerson(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Administrator)
	b.session(access.Lead)
	give := func(more map[string]string) answer {
		fields := map[string]string{"change": "add", "code": "H-07", "name": "Kim Muster", "role": string(access.InfectionPrevention)}
		maps.Copy(fields, more)
		return b.send("/people", access.Administrator, fields)
	}
	if a := give(nil); a.status != http.StatusForbidden || !strings.Contains(a.body, "or by two") {
		t.Errorf("alone: status %d:\n%.2500s", a.status, a.body)
	}
	a := give(map[string]string{"second": codeOf(access.Lead), "second-password": password})
	if a.status != http.StatusOK || !strings.Contains(a.body, "The account H-07 is made.") {
		t.Errorf("with a lead: status %d:\n%.2500s", a.status, a.body)
	}
	var granted []identity.Granted
	err := b.desk.View(context.Background(), func(v desk.View) (err error) {
		granted, err = v.People().Grants("H-07")
		return err
	})
	if err != nil || len(granted) != 1 || granted[0].Second != codeOf(access.Lead) {
		t.Errorf("%+v, %v", granted, err)
	}
}

// The pages of a site on trial fit a phone and a tablet, and keep nobody from using them, in light and in dark.
func TestFirstDayPages(t *testing.T) {
	needsBrowser(t)
	b := serveSite(t, "127.0.0.1", func(base string) *site {
		b := newRegistered(t, storetest.NewClock(), record.TermsUS)
		at := b.clock.Move(time.Hour)
		b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			r, _, err := w.AtMeters().CheckMeter(e, desk.Check{Meter: "M-1", Controls: []quality.Control{
				{Kind: quality.Positive, Material: "light", Value: 1000, At: at}, {Kind: quality.Blank, Material: "empty chamber", Value: 2, At: at},
			}})
			return r, err
		})
		b.use(heldScope)
		b.clean(heldScope)
		for _, p := range routine {
			b.read(b.take(heldScope, p), "30")
		}
		b.finish(heldScope)
		b.live(base)
		return b
	})
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	for _, size := range [][2]int64{{390, 844}, {1024, 768}} {
		p.size(size[0], size[1])
		for name, path := range map[string]string{"first-day": "/first-day", "paper-decides": "/ready/" + heldScope} {
			p.open(path)
			p.screenshot(fmt.Sprintf("%s-%d", name, size[0]))
			if wide := eval[int64](p, "document.documentElement.scrollWidth"); wide > size[0] {
				t.Errorf("%s is %d wide on %d", path, wide, size[0])
			}
		}
	}
	for _, dark := range []bool{false, true} {
		p.dark(dark)
		p.open("/first-day")
		for _, finding := range p.axe() {
			t.Errorf("dark %t: %s", dark, finding)
		}
	}
	small := eval[[]string](p, `[...document.querySelectorAll("main button, main select, main input:not([type=hidden]):not([type=checkbox]), main label.choice")]
		.filter(e => e.getBoundingClientRect().height < 43.5).map(e => e.outerHTML.slice(0, 90))`)
	if len(small) > 0 {
		t.Errorf("too small to touch: %v", small)
	}
}
