package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// An analyst compares two lots by the readings of the field, and then by a file of pairs.
func TestCompareLots(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	b.plant()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Analyst)
	p.open("/meters/compare")
	p.option("#old-lot", "K, lot P-2")
	p.option("#new-lot", "K, lot "+plantedLot)
	p.press("form", "Compare the lots")
	p.waitText("#answer", "A new level is needed")
	if got := p.text("section[aria-labelledby=answer]"); !strings.Contains(got, "24 series") || !strings.Contains(got, "which is outside the margin of 1.25") {
		t.Errorf("the answer:\n%s", got)
	}
	p.paste("#table", pairsTable(30, 1.02))
	p.press("section form", "Compare the pairs")
	p.waitText("#answer", "The same level may stay")
	if got := p.text(
		"section[aria-labelledby=answer]",
	); !strings.Contains(got, "30 pairs of readings of the same samples") ||
		!strings.Contains(got, "show that a level may stay with a probability of 100 %") {
		t.Errorf("the answer to the pairs:\n%s", got)
	}
	if strings.Contains(p.text("section[aria-labelledby=answer]"), "Record this comparison") {
		t.Error("an analyst is offered to record the comparison")
	}
	lead := openPage(t, b.server.Base.String())
	signIn(b, lead, access.Lead)
	lead.open("/meters/compare?" + lotsQuery("P-2", plantedLot))
	lead.paste("#table", pairsTable(30, 1.02))
	lead.press("section form", "Compare the pairs")
	lead.waitText("#answer", "The same level may stay")
	lead.press("section form", "Record this comparison")
	lead.waitText("h1", "Comparison")
	lead.waitText("main", "S29")
}

// wipe empties a field.
func (p *page) wipe(css string) {
	p.Helper()
	p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("void (document.querySelector(%q).value = '')", css)))
}

// paste puts a text into a field as a whole.
func (p *page) paste(css, text string) {
	p.Helper()
	p.do(chromedp.Evaluate[chromedp.Void](fmt.Sprintf("void (document.querySelector(%q).value = %q)", css, text)))
}

// option chooses from a list by the text that is seen.
func (p *page) option(css, text string) {
	p.Helper()
	p.do(
		chromedp.Evaluate[chromedp.Void](
			fmt.Sprintf(`void (() => { const s = document.querySelector(%q); s.value = [...s.options].find((o) => o.text === %q).value; })()`, css, text),
		),
	)
}

// pairsTable writes a table of pairs whose ratio is about the same.
func pairsTable(n int, ratio float64) string {
	var b strings.Builder
	b.WriteString("sample,old,new\n")
	for i := range n {
		old := 40 + 10*float64(i)
		fmt.Fprintf(&b, "S%d,%.0f,%.0f\n", i, old, old*ratio*(1+0.05*float64(i%3-1)))
	}
	return b.String()
}

func TestCompareRefuses(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.plant()
	lots := "/meters/compare?" + lotsQuery("P-2", "P-3")
	for _, test := range []struct{ name, path, want string }{
		{"a margin", lots + "&margin=0.9", "is no margin"},
		{"a margin in words", lots + "&margin=x", "is no margin"},
		{"kits", "/meters/compare?" + url.Values{"what": {lotsCompared}, "old": {lotValue("K", "7")}, "new": {lotValue("Q", "1")}}.Encode(), "different kits"},
		{"what", "/meters/compare?what=scopes&old=a&new=b", "Lots or meters"},
		{"no kit", "/meters/compare?what=meters&old=M-1&new=M-2", "Choose the kit"},
		{"lots that are none", "/meters/compare?what=lots&old=a&new=b", "Choose both lots"},
		{"a day", lots + "&from=x", "is no day"},
		{"a long time", lots + "&from=2020-01-01", "longer than 400 days"},
	} {
		if a := b.ask(http.MethodGet, test.path, access.Analyst); a.status != http.StatusBadRequest || !strings.Contains(a.body, test.want) {
			t.Errorf("%s: status %d, want %q:\n%s", test.name, a.status, test.want, a.body)
		}
	}
	if a := b.ask(http.MethodGet, "/meters/compare?what=meters&kit=K&old=M-1&new=M-9", access.Analyst); a.status != http.StatusNotFound {
		t.Errorf("no such meter: status %d", a.status)
	}
	size := b.ledgerSize()
	for _, test := range []struct {
		name, path, table, want string
		status                  int
	}{
		{"a file", lots, pairsTable(30, 1.4), "A new level is needed", http.StatusOK},
		{"few", lots, pairsTable(5, 1), "Too few pairs to say: take 15 more", http.StatusOK},
		{"no columns", lots, "a,b\n1,2\n", "The first line names the columns: sample, old, new", http.StatusBadRequest},
		{"a reading of 0", lots, "sample,old,new\nx,0,3\ny,3,3\nz,4,5\n", "a ratio needs readings over 0", http.StatusBadRequest},
		{"nothing", lots, "", "Paste a table or choose a file", http.StatusBadRequest},
		{"nothing chosen", "/meters/compare", pairsTable(30, 1), "Choose what is compared first", http.StatusBadRequest},
	} {
		a := b.upload(test.path, access.Analyst, nil, "pairs.csv", "text/csv", []byte(test.table))
		if a.status != test.status || !strings.Contains(a.body, test.want) {
			t.Errorf("%s: status %d, want %d with %q:\n%s", test.name, a.status, test.status, test.want, a.body)
		}
	}
	if a := b.upload(
		lots,
		access.Analyst,
		map[string]string{"table": pairsTable(3, 1)},
		"pairs.csv",
		"text/csv",
		[]byte("x"),
	); !strings.Contains(
		a.body,
		"Send one of the two",
	) {
		t.Errorf("both: status %d", a.status)
	}
	if a := b.upload(
		lots,
		access.Analyst,
		nil,
		"pairs.csv",
		"text/csv",
		[]byte(strings.Repeat("x", kit.TableLimit+1)),
	); a.status != http.StatusRequestEntityTooLarge {
		t.Errorf("a large file: status %d", a.status)
	}
	if n := b.ledgerSize(); n != size {
		t.Errorf("%d records were stored", n-size)
	}
}

func (b *site) ledgerSize() (n int64) {
	b.Helper()
	b.look(func(v desk.View) (err error) {
		n, err = v.Size()
		return err
	})
	return n
}

// An analyst pastes a gauge study.
func TestStudy(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Analyst)
	p.open("/meters/study")
	p.press("section form", "Analyse")
	p.expect(http.StatusBadRequest)
	p.waitText("[role=alert]", "Paste a table")
	var text strings.Builder
	text.WriteString("part,appraiser,value\n")
	for part := range 8 {
		for _, who := range "AB" {
			for trial := range 2 {
				fmt.Fprintf(&text, "%d,%c,%d\n", part+1, who, (part+1)*(part+1)*100+trial*5+int(who-'A')*3)
			}
		}
	}
	p.paste("#table", text.String())
	p.press("section form", "Analyse")
	p.waitText("#main", "of the study variation")
	if got := p.text(
		"section[aria-labelledby=answer]",
	); !strings.Contains(got, "From 32 readings") || !strings.Contains(got, "repeatability") ||
		!strings.Contains(got, "it is good") {
		t.Errorf("the answer:\n%s", got)
	}
	p.inspect("study-answer")
}

// A comparison is recorded once however often it is sent, by somebody who adopts levels.
func TestRecordComparison(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.plant()
	path := "/meters/compare/records?" + lotsQuery("P-2", "P-3")
	form := map[string]string{"id": b.newID()}
	b.session(access.InfectionPrevention) // an account is a record too
	before := b.ledgerSize()
	for range 2 {
		if a := b.upload(
			path,
			access.InfectionPrevention,
			form,
			"",
			"",
			nil,
		); a.status != http.StatusSeeOther ||
			a.header.Get("Location") != "/records/"+form["id"] {
			t.Fatalf("status %d: %s", a.status, a.body)
		}
		b.clock.Move(time.Second)
	}
	if n := b.ledgerSize(); n != before+1 {
		t.Errorf("%d records were stored, want 1", n-before)
	}
	var kept record.ComparisonBody
	b.look(func(v desk.View) error {
		l, err := v.Show(form["id"])
		if err != nil {
			return err
		}
		return json.Unmarshal(l.Body, &kept)
	})
	if kept.Old.Lot != "P-2" || kept.New.Lot != "P-3" || len(kept.Pairs) != 24 || kept.Answer == "" {
		t.Errorf("%+v", kept)
	}
	for _, test := range []struct {
		name   string
		role   access.Role
		path   string
		form   map[string]string
		status int
	}{
		{"an analyst", access.Analyst, path, map[string]string{"id": b.newID()}, http.StatusForbidden},
		{"other lots under the same id", access.Lead, "/meters/compare/records?" + lotsQuery("P-2", "P-4"), form, http.StatusConflict},
		{"no id", access.Lead, path, map[string]string{"id": "x"}, http.StatusBadRequest},
		{"pairs that are none", access.Lead, path, map[string]string{"id": b.newID(), "table": "a,b\n"}, http.StatusBadRequest},
		{"nothing chosen", access.Lead, "/meters/compare/records", map[string]string{"id": b.newID()}, http.StatusBadRequest},
	} {
		if a := b.upload(test.path, test.role, test.form, "", "", nil); a.status != test.status {
			t.Errorf("%s: status %d, want %d: %s", test.name, a.status, test.status, a.body)
		}
	}
}
