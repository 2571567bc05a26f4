package web

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/desk"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/store/storetest"
)

// An answer that is left open stays true: what is recorded meanwhile changes it, and without contact it goes away, before
// anybody takes an old yes for one.
func TestAnswerLeftOpen(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	p := openPage(t, b.server.Base.String())
	const seen = `document.dispatchEvent(new Event("visibilitychange"))` // as when somebody takes the tablet up again
	later := func() {
		eval[bool](p, `(() => { const now = Date.now; Date.now = () => now() + 61000; return true })()`)
	}
	p.size(390, 844)
	p.open("/ready/" + readyScope)
	p.waitText(".answer .state", "ready")
	p.waitText(".asked", "looked at again")
	p.inspectAs("answer-open", "light", [2]int64{390, 844})

	p.offline(true)
	b.line.cut()
	later()
	p.waitText(".answer .state", "no answer")
	if got := p.text(".release"); !strings.Contains(got, "do not go by this page") || strings.Contains(got, "ready for use") {
		t.Errorf("without contact for a minute the page says:\n%s", got)
	}
	p.inspectAs("answer-lost", "light", [2]int64{390, 844}, [2]int64{1024, 768})
	p.offline(false)
	eval[bool](p, seen)
	p.waitText(".answer .state", "ready")

	b.clock.Move(time.Second)
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.PlaceHold(e, reprocessing.Hold{Scope: readyScope, By: "T-01", Kind: reprocessing.DamageHold, Reason: "dropped"})
	})
	eval[bool](p, seen)
	p.waitText(".answer .state", "on hold")
	p.waitText(".answer .until", "do not use on a patient")
	if got := eval[string](p, `document.querySelector(".release").className`); got != "release hold" {
		t.Errorf("the answer looks like %q", got)
	}
}
