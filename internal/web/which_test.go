package web

import (
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
	"rinsate/internal/store/storetest"
)

// shareSerial makes two scopes have one serial number, as older records may: the correction of the first one, which had
// freed it, is taken back.
func (b *site) shareSerial(serial string, tags ...string) {
	b.Helper()
	since := b.at()
	enter := func(tag, serial string) ledger.ID {
		b.clock.Move(time.Minute)
		return b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
			return w.SettingUp().RegisterInstrument(e, b.at(), scope.Instrument{
				Tag: tag, Serial: serial, Model: gastroscope.Name, Owner: scope.Own, InService: since,
			})
		}).Record.ID
	}
	enter(tags[0], serial)
	corrected := enter(tags[0], "another")
	enter(tags[1], serial)
	b.clock.Move(time.Minute)
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		e.Corrects, e.Reason = corrected, "mistaken"
		return w.Void(e)
	})
}

// A code that stands for two scopes is answered about neither: not by the page, not at the bench.
func TestWhichScopeIsAsked(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	b.shareSerial("S-77", "Y-01", "Y-02")
	for _, path := range []string{"/ready/s-77", "/ready?scope=" + url.QueryEscape(" S-77 ")} {
		a := b.ask(http.MethodGet, path, nobody)
		if a.status != http.StatusConflict || !strings.Contains(a.body, "which scope?") || !strings.Contains(a.body, "do not use on a patient") {
			t.Errorf("%s: status %d\n%s", path, a.status, a.body)
		}
		for _, tag := range []string{"Y-01", "Y-02"} {
			if !strings.Contains(a.body, `href="/ready/`+tag+`"`) || !strings.Contains(a.body, `href="/ready/`+tag+`/emergency"`) {
				t.Errorf("%s does not lead to %s:\n%s", path, tag, a.body)
			}
		}
	}
	if a := b.ask(http.MethodGet, "/ready/Y-01", nobody); a.status != http.StatusOK || strings.Contains(a.body, "which scope?") {
		t.Errorf("by its tag: status %d", a.status)
	}
	job := b.ask(http.MethodGet, "/bench/jobs/S-77", access.Technician)
	if job.status != http.StatusConflict || !strings.Contains(job.body, "Y-01 and Y-02") {
		t.Errorf("at the bench: status %d, %s", job.status, job.body)
	}
	if state := b.ask(http.MethodGet, "/bench/state", access.Technician).body; !strings.Contains(state, `"which":{"S-77":["Y-01","Y-02"]}`) {
		t.Errorf("the bench is not told of it:\n%.2000s", state)
	}
	a := b.press("S-77", url.Values{"reason": {string(reprocessing.CannotWait)}, "decided": {"N-07"}})
	if a.status != http.StatusConflict || len(b.emergencies()) != 0 {
		t.Errorf("an emergency use of nobody knows which: status %d", a.status)
	}
}
