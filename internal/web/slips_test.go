package web

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
)

// atBench sends what somebody does at the bench now.
func (b *site) atBench(role access.Role, a act) answer {
	b.Helper()
	a.By = codeOf(role)
	if !a.At.Known() {
		a.At = b.at()
	}
	if a.ID == "" {
		a.ID = b.newID()
	}
	text, err := json.Marshal(a)
	if err != nil {
		b.Fatal(err)
	}
	return b.ask(http.MethodPost, "/bench/acts", role, func(q *http.Request) {
		q.Body, q.ContentLength = io.NopCloser(strings.NewReader(string(text))), int64(len(text))
		q.Header.Set("Content-Type", "application/json")
	})
}

// At the bench a sample that cannot count yet is refused with what comes first, and a step that proves nothing says so.
func TestTooEarlyAtTheBench(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Technician)
	collect := act{Act: "collect", Scope: readyScope, Point: scope.OuterDistalEnd, Kit: "K", Lot: "7"}
	sampled := func(first string) {
		t.Helper()
		b.clock.Move(time.Second)
		got := b.atBench(access.Technician, collect)
		switch {
		case first == "" && got.status != http.StatusOK:
			t.Errorf("status %d: %s", got.status, got.body)
		case first != "" && (got.status != http.StatusConflict || !strings.Contains(got.body, "would not count now: "+first+" has to come first")):
			t.Errorf("before %s: status %d: %s", first, got.status, got.body)
		}
	}
	step := func(kind reprocessing.StepKind, d time.Duration, result reprocessing.Result) string {
		t.Helper()
		s := &reprocessing.Step{Kind: kind, Start: b.at(), End: b.clock.Move(d), Result: result}
		got := b.atBench(access.Technician, act{Act: "step", Scope: readyScope, Step: s})
		if got.status != http.StatusOK {
			t.Fatalf("%s: status %d: %s", kind, got.status, got.body)
		}
		return got.body
	}
	open := reprocessing.Use{Scope: readyScope, Start: b.clock.Move(time.Minute)}
	use := b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordUse(e, open, "") })
	sampled("the end of the use")
	open.End, open.Finishes = b.clock.Move(3*time.Minute), string(use.Record.ID)
	b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordUse(e, open, "") })
	b.step(readyScope, reprocessing.PointOfUse, 2*time.Minute, nil)
	sampled("leak test")
	// What was taken a while ago, where there was no network, is a fact.
	b.clock.Move(2 * time.Minute)
	kept := collect
	kept.At = b.at().Add(-90 * time.Second)
	if got := b.atBench(access.Technician, kept); got.status != http.StatusOK {
		t.Errorf("taken without a network: status %d: %s", got.status, got.body)
	}
	step(reprocessing.LeakTest, 2*time.Minute, reprocessing.Pass)
	if got := step(reprocessing.ManualCleaning, 161*time.Second, ""); !strings.Contains(got, "manual cleaning took 2min41s; at least 3min is needed") {
		t.Errorf("a cleaning that took too little time: %s", got)
	}
	sampled("manual cleaning")
	step(reprocessing.ManualCleaning, 4*time.Minute, "")
	sampled("inspection")
	step(reprocessing.Inspection, 2*time.Minute, reprocessing.Pass)
	sampled("")
}

// At the bench people take back what they have just recorded; later, and what somebody else recorded, is for
// whoever signs or may not be done at all, as on the pages.
func TestSlipsAtTheBench(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	code := codeOf(access.Technician)
	b.session(access.Technician)
	send := b.atBench
	step := func() string {
		t.Helper()
		id := b.newID()
		got := send(
			access.Technician,
			act{
				ID:    id,
				Act:   "step",
				Scope: inWorkScope,
				Step:  &reprocessing.Step{Kind: reprocessing.LeakTest, Start: b.at(), By: code, Result: reprocessing.Pass},
			},
		)
		if got.status != http.StatusOK {
			t.Fatalf("step: status %d: %s", got.status, got.body)
		}
		return id
	}
	void := func(role access.Role, id string) answer {
		t.Helper()
		return send(role, act{Act: "void", Scope: inWorkScope, Record: id, Why: "the wrong scope"})
	}
	b.clock.Move(access.ProofHolds) // the sign-in is no signature any more
	if got := void(access.Technician, step()); got.status != http.StatusOK {
		t.Errorf("a moment ago: status %d: %s", got.status, got.body)
	}
	old, wet := string(b.do(code, func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.Collect(e, sampling.Sample{Scope: inWorkScope, Point: scope.OuterDistalEnd, NotApplicable: "no swabs", By: code, Collected: b.at()})
	}).Record.ID), step()
	b.clock.Move(access.Slip)
	if got := void(access.Technician, wet); got.status != http.StatusForbidden || !strings.Contains(got.body, "infection prevention") {
		t.Errorf("what others follow, after ten minutes: status %d: %s", got.status, got.body)
	}
	if got := void(access.Lead, wet); got.status != http.StatusBadRequest || !strings.Contains(got.body, "second person who took no part") {
		t.Errorf("by a lead alone: status %d: %s", got.status, got.body)
	}
	if got := void(
		access.Technician,
		old,
	); got.status != http.StatusForbidden || !strings.Contains(got.body, "This is a signature") ||
		!strings.Contains(got.body, "Lock the bench") {
		t.Errorf("after ten minutes: status %d: %s", got.status, got.body)
	}
	if got := void(access.Lead, old); got.status != http.StatusOK { // has just signed in
		t.Errorf("by a lead who signed: status %d: %s", got.status, got.body)
	}
	other := b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.RecordStep(e, reprocessing.Step{Scope: inWorkScope, Kind: reprocessing.LeakTest, Start: b.at(), By: "T-01", Result: reprocessing.Pass})
	})
	if got := void(access.Technician, string(other.Record.ID)); got.status != http.StatusForbidden || !strings.Contains(got.body, "infection prevention") {
		t.Errorf("somebody else's leak test, which wets the scope: status %d: %s", got.status, got.body)
	}
}

// Taking a file back is a signature when it is no slip, and the page asks for it.
func TestFilesAreTakenBackSigned(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.furnish()
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
	secret := `id="void-secret-` + own
	b.clock.Move(access.ProofHolds)
	if page := b.ask(
		http.MethodGet,
		"/scopes/"+pastScope,
		access.Technician,
	).body; strings.Contains(page, secret) ||
		!strings.Contains(page, "/files/"+own+"/void") {
		t.Error("a slip cannot be taken back, or is asked a signature for")
	}
	b.clock.Move(access.Slip - access.ProofHolds)
	if page := b.ask(http.MethodGet, "/scopes/"+pastScope, access.Technician).body; !strings.Contains(page, secret) {
		t.Error("the page asks for no signature after ten minutes")
	}
	for _, try := range []struct {
		secret string
		want   int
	}{{"", http.StatusForbidden}, {password, http.StatusSeeOther}} {
		if got := b.send(
			"/files/"+own+"/void",
			access.Technician,
			map[string]string{"id": b.newID(), "reason": "blurred", "secret": try.secret},
		); got.status != try.want {
			t.Errorf("with the secret %q: status %d, want %d\n%.800s", try.secret, got.status, try.want, got.body)
		}
	}
}
