package web

import (
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web/kit"
)

// A double click on a form that is signed: the second answer is that of the first, with the same new token,
// whether it comes while the first is answered or after it. It lasts for a moment and for that form alone.
func TestSignedFormSentTwice(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention} {
		b.session(role)
	}
	hold := b.hold()
	b.clock.Move(access.ProofHolds + time.Minute)
	fields := map[string]string{
		"id": b.newID(), "hold": hold, "reason": "looked at: nothing is broken", "secret": password + "x",
		"second": codeOf(access.InfectionPrevention), "second-password": password,
	}
	lift := func() answer { return b.send("/scopes/"+readyScope+"/lifts", access.Lead, fields) }
	before := b.records()
	for range 2 { // what is refused is judged each time
		if got := lift(); got.status != http.StatusForbidden && got.status != http.StatusTooManyRequests || got.header.Get("Set-Cookie") != "" {
			t.Fatalf("a wrong password: status %d, %v", got.status, got.header)
		}
	}
	b.clock.Move(2 * time.Minute)
	fields["secret"] = password
	answers := make([]answer, 4)
	var all sync.WaitGroup
	for i := range answers[:3] {
		all.Go(func() { answers[i] = lift() })
	}
	all.Wait()
	b.clock.Move(kit.RepeatFor / 2)
	answers[3] = lift()
	for i, got := range answers {
		if got.status != http.StatusSeeOther || !strings.HasSuffix(got.header.Get("Location"), "?done=lifted") ||
			got.header.Get("Set-Cookie") == "" || got.header.Get("Set-Cookie") != answers[0].header.Get("Set-Cookie") {
			t.Errorf("answer %d: status %d, %v", i+1, got.status, got.header)
		}
	}
	if open := b.holdsOf(readyScope); len(open) != 0 || b.records() != before+1 {
		t.Errorf("%d records instead of one, still held: %v", b.records()-before, open)
	}

	fields["reason"] = "another one"
	if got := lift(); got.header.Get("Location") != "/sign-in" {
		t.Errorf("another form with the token that has ended: status %d, %v", got.status, got.header)
	}
	fields["reason"] = "looked at: nothing is broken"
	b.clock.Move(kit.RepeatFor)
	if got := lift(); got.header.Get("Location") != "/sign-in" {
		t.Errorf("the same form later: status %d, %v", got.status, got.header)
	}
	b.keep(access.Lead, answers[3])
	if got := b.ask(http.MethodGet, "/scopes/"+readyScope, access.Lead); got.status != http.StatusOK {
		t.Errorf("with the new token: status %d", got.status)
	}
}

// Somebody presses twice: the page says that the hold is lifted, and the browser is still signed in.
func TestLiftByDoubleClick(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	for _, role := range []access.Role{access.Lead, access.InfectionPrevention} {
		b.session(role)
	}
	b.hold()
	b.clock.Move(access.ProofHolds + time.Minute)
	p := openPage(t, b.server.Base.String())
	signIn(b, p, access.Lead)
	before := b.records()
	p.open("/scopes/" + readyScope)
	p.click("details:has([name=second]) > summary")
	p.fill("[name=hold] ~ [name=reason]", "leak test passed")
	p.fill("[name=secret]", password)
	p.fill("[name=second]", codeOf(access.InfectionPrevention))
	p.fill("[name=second-password]", password)
	p.do(chromedp.DoubleClick(chromedp.CSS("details:has([name=second]) button"), chromedp.NodeVisible))
	p.waitText(".said", "The hold is lifted.")
	if got := b.records(); got != before+1 {
		t.Errorf("%d records instead of one", got-before)
	}
	p.open("/account")
	p.waitText("h1", codeOf(access.Lead))
}
