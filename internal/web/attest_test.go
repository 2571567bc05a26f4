package web

import (
	"html"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store/storetest"
)

// Whoever vouches for others sees of each act what it was, when, by whom and why it is not proven before the box to tick,
// and chooses the picture of the form: nobody has to know the name of a record.
func TestAttestPage(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.use(readyScope)
	began := b.at()
	b.clock.Move(13 * time.Hour) // it was written down on the next day
	var step ledger.ID
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r, err := w.RecordStep(e, reprocessing.Step{
			Scope: readyScope, Kind: reprocessing.ManualCleaning, Start: began.Add(time.Minute), End: began.Add(16 * time.Minute), By: "T-01",
		})
		step = r.Record.ID
		return r, err
	})
	b.clock.Move(time.Second)
	var form ledger.ID
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r, err := w.Attach(e, dossier.Attachment{Scope: readyScope, Kind: dossier.Photograph, Title: "form of the night"}, photograph(t, 40, 30))
		form = r.Record.ID
		return r, err
	})
	b.clock.Move(time.Second)
	page := html.UnescapeString(b.ask(http.MethodGet, "/attest", access.Lead).body)
	_, act, ok := strings.Cut(page, `<div class="act">`)
	act, _, _ = strings.Cut(act, "</div>")
	last := -1
	for _, want := range []string{"manual cleaning", "ended ", "by <b>T-01</b>", "Not proven: ", `value="` + string(step) + `"`} {
		at := strings.Index(act, want)
		if !ok || at <= last {
			t.Fatalf("%q is not there, or comes too late:\n%s", want, page)
		}
		last = at
	}
	if !strings.Contains(page, `<option value="`+string(form)+`">`+readyScope+": form of the night") {
		t.Errorf("no picture to choose:\n%s", page)
	}
	if own := b.ask(http.MethodGet, "/attest", access.Technician).body; strings.Contains(own, `name="form"`) {
		t.Error("a technician is asked for a form")
	}
	sent := url.Values{"of": {string(step)}, "form": {string(form)}, "secret": {password}}
	a := b.sendForm("/attest", access.Lead, sent)
	if a.status != http.StatusBadRequest || !strings.Contains(a.body, `value="`+string(form)+`" selected`) ||
		!strings.Contains(a.body, `value="`+string(step)+`" checked`) {
		t.Errorf("without what the word rests on: status %d\n%s", a.status, a.body)
	}
	sent.Set("from", string(reprocessing.SignedForm))
	if a := b.sendForm("/attest", access.Lead, sent); a.status != http.StatusSeeOther {
		t.Errorf("by the form: status %d\n%s", a.status, a.body)
	}
}
