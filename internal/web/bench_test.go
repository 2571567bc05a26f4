package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/identity"
	"rinsate/internal/store"
	"rinsate/internal/store/storetest"
)

// atBench serves a site whose clock runs, and opens its bench as a technician.
func atBench(t *testing.T) (*site, *page) {
	t.Helper()
	b := ticking(t)
	return b, b.bench(t, access.Technician)
}

// ticking serves a site whose clock runs.
func ticking(t *testing.T) *site {
	t.Helper()
	clock := storetest.NewClock()
	b := serve(t, clock)
	tick(t, clock)
	return b
}

// tick lets a clock run until the test ends, as fast as the clock of the browser beside it, which shows what
// time has passed: a bench whose server is slower than itself sees its own acts lie in the future.
func tick(tb testing.TB, clock *storetest.Clock) {
	tb.Helper()
	stop := make(chan struct{})
	tb.Cleanup(func() { close(stop) })
	go func() {
		last := time.Now()
		for {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
				now := time.Now()
				clock.Move(now.Sub(last))
				last = now
			}
		}
	}()
}

func (b *site) bench(t *testing.T, role access.Role) *page {
	t.Helper()
	p := openPage(t, b.server.Base.String())
	signIn(b, p, role)
	p.size(1280, 1024)
	p.open("/bench")
	p.waitText("#network", "all stored")
	return p
}

// elapse moves the clock on and waits until the bench, whose acts are all stored, goes by it.
func (b *site) elapse(p *page, d time.Duration) {
	p.Helper()
	p.waitText("#network", "all stored")
	ahead := eval[string](p, `localStorage.getItem("bench.ahead")`)
	b.clock.Move(d)
	p.wait(fmt.Sprintf(`(dispatchEvent(new Event("focus")), Number(localStorage.getItem("bench.ahead")) > %s + %d)`,
		ahead, (d - 10*time.Second).Microseconds()))
}

func TestBenchBegins(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	_, p := atBench(t)
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.wait(`/^h1\./.test(localStorage.getItem("bench.seen " + JSON.parse(document.getElementById("bench-data").textContent).site) ?? "")`)
	p.screenshot("bench")
}

// verification takes a sample of a point that needs no rinsing and reads it, by scanner alone.
func (p *page) sampleByScanner(point, method, value string) {
	p.Helper()
	p.scan("ACT-POINT-" + point)
	p.waitText("#point-name", spacedPoint(point))
	// Each act is stored before the next one: until then the bench may be shown anew as it was before.
	next := func(act, mark string) {
		p.scan(act)
		p.waitText("#mark", mark)
		p.waitText("#network", "all stored")
		p.waitText("#mark", mark)
	}
	next("ACT-COLLECTED", map[string]string{"surface": "Activated", "rinsate": "Dipped"}[method])
	if method == "rinsate" {
		next("ACT-DIPPED", "Activated")
	}
	next("ACT-ACTIVATED", "Shaken")
	p.wait("!document.querySelector('#mark').disabled") // the device is shaken for as long as the rules say
	p.scan("ACT-SHAKEN")
	p.waitFor("#value")
	for _, digit := range value {
		p.scan("ACT-DIGIT-" + string(digit))
	}
	p.scan("ACT-ENTER")
	p.waitText("#said", value+" RLU")
}

func spacedPoint(point string) string { return strings.ToLower(strings.ReplaceAll(point, "-", " ")) }

// A whole verification without touching anything but the scanner: scope, lot, meter, the acts and the digits of
// the values.
func TestVerificationByScannerAlone(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	p.scan(heldScope)
	p.waitText("#scope-name", heldScope)
	p.waitText("#job", "first test")
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	// The first cleaning failed: the scope is cleaned and inspected again.
	b.step(heldScope, reprocessing.ManualCleaning, 5*time.Minute, nil)
	b.step(heldScope, reprocessing.Inspection, time.Minute, passed)
	p.waitText("#job", "re-test after the 2nd cleaning")
	p.sampleByScanner("OUTER-DISTAL-END", "surface", "20")
	p.sampleByScanner("ELEVATOR-RECESS", "surface", "40")
	p.sampleByScanner("INSTRUMENT-CHANNEL", "rinsate", "31")
	p.waitText("#said", "OK")
	p.waitText("#job", "3 of 3 points read")
	p.screenshot("bench-verification")
	var verification reading.Verification
	if err := b.desk.View(t.Context(), func(v desk.View) error {
		j, err := v.Day().Job(heldScope, v.Now())
		verification = j.Verification
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if !verification.Complete || verification.Outcome != reading.OK || verification.Cleaning != 2 {
		t.Errorf("the cleaning verification: complete %v, %s, cleaning %d", verification.Complete, verification.Outcome, verification.Cleaning)
	}
}

// Why nothing was taken is kept, and the point stays to be sampled: before it is stored and after.
func TestNotSampledStaysMissing(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	_, p := atBench(t)
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.offline(true)
	p.click(".card.point .acts summary")
	p.fill(".card.point .acts form input", "out of swabs")
	p.keys("\r")
	const kept = "out of swabs. The point stays missing."
	p.waitText(".card.point .sample", kept+" (not yet stored)")
	p.offline(false)
	p.waitText("#network", "all stored")
	p.wait(fmt.Sprintf(`document.querySelector(".card.point .sample")?.innerText.endsWith(%q)`, kept))
	p.screenshot("bench-not-sampled")
	p.waitText("#collect", "Collected another")
}

// What must stop at the bench stops there, with words that say what to do.
func TestBenchStops(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	_, p := atBench(t)
	for _, c := range []struct{ scan, says string }{
		{"M-2", "Check it before it is used"},
		{"9", "has expired"},
		{"LOT-NOBODY-KNOWS", "is not known here"},
		{"ACT-COLLECTED", "Scan a scope first"},
	} {
		p.scan(c.scan)
		p.waitText("#said", c.says)
	}
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.scan("ACT-COLLECTED")
	p.waitText("#said", "Scan the kit lot first")
	p.scan("ZZZ")
	p.waitText("#said", "Still "+inWorkScope)
	p.scan("7")
	p.waitText("#said", "Lot 7")
	p.scan("ACT-COLLECTED")
	p.waitText("#mark", "Activated")
	p.waitText("#network", "all stored")
	p.scan("ACT-ACTIVATED")
	p.waitText("#mark", "Shaken")
	p.scan("ACT-ACTIVATED")
	p.waitText("#said", "is on record already. Nothing is lost")
	p.waitText("#network", "all stored")
}

// The network is cut in the middle of a verification: acts are kept, survive the end of the tab, and are stored
// once, with the time at which they happened.
func TestOffline(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	p.scan(inWorkScope)
	p.waitText("#scope-name", inWorkScope)
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.wait("navigator.serviceWorker.controller")
	p.wait("caches.keys().then((names) => names.length > 0)")
	p.wait("caches.match('/bench').then(Boolean)")
	p.offline(true)
	b.line.cut()
	before := b.records()
	p.scan("ACT-COLLECTED")
	p.waitText("#network", "1 not yet stored")
	p.scan("ACT-ACTIVATED")
	p.waitText("#network", "2 not yet stored")
	p.wait("!document.querySelector('#mark').disabled")
	p.scan("ACT-SHAKEN")
	p.waitText("#network", "3 not yet stored")
	p.scan("44")
	p.waitFor("#again") // without a network a value is typed twice
	p.click("#again")
	p.keys("44\r")
	p.waitText("#network", "4 not yet stored")
	p.screenshot("bench-offline")
	p.reload()
	p.waitText("#network", "4 not yet stored")
	if got := b.records(); got != before {
		t.Fatalf("%d records were stored without a network", got-before)
	}
	p.offline(false)
	p.waitText("#network", "all stored")
	if got := b.records(); got != before+4 {
		t.Errorf("%d records were stored, want 4", got-before)
	}
	p.waitText("#said", "44 RLU")
}

// records counts the records of the ledger.
func (b *site) records() (n int64) {
	b.Helper()
	if err := b.desk.DB.Read(b.Context(), func(tx *store.Tx) (err error) {
		n, err = tx.Size()
		return err
	}); err != nil {
		b.Fatal(err)
	}
	return n
}

// An answer that was under way while something was stored does not know of it, and hides it from nobody.
func TestAnswerUnderWayAtTheBench(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	_, p := atBench(t)
	p.onScope(inWorkScope, "outer-distal-end")
	eval[bool](p, `(() => {
		const asked = window.fetch;
		window.late = 0;
		window.fetch = async (to, how) => {
			const answer = await asked(to, how);
			if (/\/bench\/jobs\//.test(String(to)) && !window.now) {
				window.late++;
				await new Promise((go) => { (window.held ??= []).push(go); });
				window.late--;
			}
			return answer;
		};
		dispatchEvent(new Event("online"));
		return true;
	})()`)
	p.wait("window.late > 0")
	p.scan("44")
	p.waitText("#said", "44 RLU")
	p.waitText("#job", "1 of 3 points read")
	eval[bool](p, "(() => { window.now = true; window.held.forEach((go) => go()); return true })()")
	p.wait("window.late === 0")
	p.waitText("#network", "all stored")
	if got := p.text("#job"); !strings.Contains(got, "1 of 3 points read") {
		t.Errorf("after the answers that were under way:\n%s", got)
	}
	// What somebody has opened, and where they are about to type, stays when everything is shown anew.
	p.scan("ACT-POINT-OUTER-DISTAL-END")
	p.waitText("#job", "Wrong value")
	eval[bool](p, `(() => {
		document.querySelector(".sample details").open = true;
		const field = document.querySelector('.sample details input[aria-label="Why?"]');
		field.focus();
		field.dataset.old = "yes";
		dispatchEvent(new Event("online"));
		return true;
	})()`)
	p.wait(`document.querySelector("[data-old]") === null`)
	if !eval[bool](p, `document.activeElement.getAttribute("aria-label") === "Why?" && document.activeElement.closest("details").open`) {
		t.Error("the field that had the focus is shut, or another one has it")
	}
}

// onScope puts a scope on the bench with a lot and a meter, and shows one of its points.
func (p *page) onScope(tag, point string) {
	p.Helper()
	p.scan("7")
	p.waitText("#said", "Lot 7 of K")
	p.scan("M-1")
	p.waitText("#said", "Meter M-1")
	p.scan(tag)
	p.waitText("#scope-name", tag)
	p.waitText("#job", "points read")
	p.scan("ACT-POINT-" + strings.ToUpper(point))
	p.waitText("#point-name", spacedPoint(point))
}

// One of two people reads a sample while the other has no network and reads it as well. The second
// reading is never taken silently: both values and whose they are stand there until somebody decides.
func TestTwoPeopleOnOneSample(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	for _, c := range []struct {
		decision string
		want     int // readings of the sample in the end
	}{{"Drop mine", 1}, {"Keep both readings", 2}} {
		t.Run(c.decision, func(t *testing.T) {
			t.Parallel()
			b, first := atBench(t)
			second := b.bench(t, access.Lead)
			first.onScope(inWorkScope, "outer-distal-end")
			second.onScope(inWorkScope, "outer-distal-end")
			second.offline(true)
			second.waitText("#network", "no network")
			second.scan("35")
			second.waitFor("#again")
			second.click("#again")
			second.keys("35\r")
			second.waitText("#network", "1 not yet stored")
			first.scan("30")
			first.waitText("#said", "30 RLU")
			second.expect(http.StatusConflict)
			second.offline(false)
			second.waitText("#unsent", "by R-technician: 30 RLU, OK")
			second.waitText("#network", "1 not yet stored")
			second.inspect("bench-conflict")
			second.press("#unsent", c.decision)
			second.waitText("#network", "all stored")
			if got := b.readings(inWorkScope, scope.OuterDistalEnd); len(got) != c.want {
				t.Errorf("readings %v, want %d", got, c.want)
			}
		})
	}
}

// press clicks the first button within an element whose text begins like that.
func (p *page) press(within, text string) {
	p.Helper()
	p.wait(fmt.Sprintf("[...document.querySelectorAll(%q)].some((b) => b.innerText.startsWith(%q))", within+" button", text))
	p.do(
		chromedp.Evaluate[chromedp.Void](
			fmt.Sprintf("void [...document.querySelectorAll(%q)].find((b) => b.innerText.startsWith(%q)).click()", within+" button", text),
		),
	)
}

// readings lists the values of a point's samples in the present cleaning.
func (b *site) readings(tag string, point scope.PointKind) (values []string) {
	b.Helper()
	if err := b.desk.View(b.Context(), func(v desk.View) error {
		j, err := v.Day().Job(tag, v.Now())
		for _, p := range j.Points {
			if p.Point != point {
				continue
			}
			for _, s := range p.Samples {
				for _, r := range s.Readings {
					values = append(values, r.Value)
				}
			}
		}
		return err
	}); err != nil {
		b.Fatal(err)
	}
	return values
}

// The tab is killed in the middle: another one goes on where it stopped.
func TestBenchSurvivesItsTab(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	p.onScope(inWorkScope, "elevator-recess")
	p.wait("navigator.serviceWorker.controller")
	p.wait("caches.match('/bench').then(Boolean)")
	p.offline(true)
	p.scan("ACT-COLLECTED")
	p.waitText("#network", "1 not yet stored")
	before := b.records()
	p.do(chromedp.Navigate("about:blank")) // whatever the tab held in memory is gone
	p.offline(false)
	p.open("/bench")
	p.waitText("#network", "all stored")
	if got := b.records(); got != before+1 {
		t.Errorf("%d records were stored, want 1", got-before)
	}
	p.waitText("#scope-name", inWorkScope)
	p.waitText("#point-name", "elevator recess")
	p.waitText("#mark", "Activated")
}

// What was recorded by mistake is taken back, or corrected, with a reason; both stay on record. A value over the action
// level takes more than whoever typed it, and stands until then.
func TestMistakes(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	p.onScope(inWorkScope, "outer-distal-end")
	p.scan("950")
	p.waitText("#said", "950 RLU")
	p.waitText("#said", "action")
	p.scan("ACT-POINT-OUTER-DISTAL-END")
	p.waitText("#job", "Wrong value")
	p.waitText("#network", "all stored") // what is answered later draws the page anew
	correct := func(right string) {
		t.Helper()
		p.do(chromedp.Evaluate[chromedp.Void](`void (document.querySelector(".sample details").open = true)`))
		p.fill(`.sample details input[aria-label="The right value"]`, right)
		p.fill(`.sample details input[aria-label="Why?"]`, "a digit too many")
		p.keys("\r")
	}
	p.expect(http.StatusForbidden)
	correct("95")
	p.waitText("#unsent", "To take back a reading over the action level: it takes a lead or infection prevention.")
	p.press("#unsent", "Drop mine")
	p.waitText("#network", "all stored")
	if got := b.readings(inWorkScope, scope.OuterDistalEnd); len(got) != 1 || got[0] != "950 RLU" {
		t.Errorf("readings %q, want the one over the action level", got)
	}
	p.sampleByScanner("ELEVATOR-RECESS", "surface", "35")
	p.waitText("#network", "all stored")
	p.scan("ACT-POINT-ELEVATOR-RECESS")
	p.waitText("#point-name", "elevator recess")
	p.waitText("#job", "Wrong value")
	correct("25")
	p.waitText("#said", "25 RLU")
	if got := b.readings(inWorkScope, scope.ElevatorRecess); len(got) != 1 || got[0] != "25 RLU" {
		t.Errorf("readings %q, want the corrected one", got)
	}
	p.waitText("#network", "all stored")
	p.scan("ACT-POINT-INSTRUMENT-CHANNEL")
	p.waitText("#point-name", "instrument channel")
	p.scan("ACT-COLLECTED")
	p.waitText("#job", "Taken by mistake")
	p.do(chromedp.Evaluate[chromedp.Void](`void ([...document.querySelectorAll(".sample details")].at(-1).open = true)`))
	p.fill(`.sample details input[aria-label="Why?"]`, "the swab fell down")
	p.keys("\r")
	p.wait(`document.querySelector("#collect") && !document.querySelector(".sample")`)
}

// A value that is ten times off what is usual, or near a level, is typed twice before it is stored.
func TestUnusualValueIsTypedTwice(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := ticking(t)
	for range 5 {
		b.use(readyScope)
		b.clean(readyScope)
		for _, point := range routine {
			b.read(b.take(readyScope, point), "30")
		}
		b.finish(readyScope)
	}
	b.use(readyScope)
	b.clean(readyScope)
	b.take(readyScope, scope.OuterDistalEnd)
	p := b.bench(t, access.Lead)
	p.onScope(readyScope, "outer-distal-end")
	before := b.records()
	p.scan("3")
	p.waitText("#unsent", "usual here is about 30")
	if got := b.records(); got != before {
		t.Fatal("the value was stored before it was typed a second time")
	}
	p.fill("#unsent input", "31")
	p.keys("\r")
	p.waitText("#said", "The two entries differ")
	p.scan("3")
	p.waitText("#unsent", "usual here is about 30")
	p.fill("#unsent input", "3")
	p.keys("\r")
	p.waitText("#said", "3 RLU")
	if got := b.readings(readyScope, scope.OuterDistalEnd); len(got) != 1 || got[0] != "3 RLU" {
		t.Errorf("readings %q", got)
	}
}

// A bench that stood idle is locked; what is open stays open, and the same person or the next one goes on.
func TestLockedBench(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	ctx := t.Context()
	for role, badge := range map[access.Role]string{access.Technician: "BADGE-1", access.Lead: "BADGE-2"} {
		b.session(role)
		if _, err := b.server.Door.SetBadge(ctx, identity.Entry{Actor: access.Operator(codeOf(access.Administrator))}, codeOf(role), badge); err != nil {
			t.Fatal(err)
		}
		if _, err := b.server.Door.SetPIN(ctx, identity.Entry{Actor: access.Operator(codeOf(access.Administrator))}, codeOf(role), "4826"); err != nil {
			t.Fatal(err)
		}
	}
	p.onScope(inWorkScope, "elevator-recess")
	if err := b.server.Door.Lock(ctx, b.session(access.Technician)); err != nil {
		t.Fatal(err)
	}
	p.tolerate(http.StatusUnauthorized)
	p.scan("ACT-COLLECTED")
	p.waitText("#network", "locked: 1 not yet stored")
	p.waitText("#door", "Locked")
	p.inspect("bench-locked")
	p.fill(`#door input[name="secret"]`, "4826")
	p.keys("\r")
	p.waitText("#network", "all stored")
	p.waitText("#point-name", "elevator recess")
	// The next person takes over with badge and PIN; the sample goes on under the new code.
	if err := b.server.Door.Lock(ctx, p.token(b)); err != nil {
		t.Fatal(err)
	}
	p.scan("ACT-ACTIVATED")
	p.waitText("#network", "locked: 1 not yet stored")
	p.fill(`#door input[name="badge"]`, "BADGE-2")
	p.fill(`#door input[name="pin"]`, "4826")
	p.keys("\r")
	p.waitText("#said", "R-lead is at the bench")
	p.waitText("#unsent", "Waits until R-technician signs in")
}

// A failed verification asks for another cleaning, which the bench records step by step; the next cleaning opens
// by itself and the scope goes on to the cabinet.
func TestCleanAgainAtTheBench(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	p.onScope(inWorkScope, "outer-distal-end")
	p.scan("950")
	p.waitText("#said", "action")
	p.press("#job", "Begin manual cleaning")
	p.waitText("#job", "Done: manual cleaning")
	b.elapse(p, 5*time.Minute)
	p.press("#job", "Done: manual cleaning")
	p.waitText("#job", "re-test after the 2nd cleaning")
	p.press("#job", "Begin inspection")
	p.press("#job", "Passed")
	p.sampleByScanner("OUTER-DISTAL-END", "surface", "20")
	p.sampleByScanner("ELEVATOR-RECESS", "surface", "40")
	p.sampleByScanner("INSTRUMENT-CHANNEL", "rinsate", "31")
	p.press("#job", "Begin disinfection")
	p.waitFor(`#job select[name="disinfectant"]`)
	b.elapse(p, 12*time.Minute) // the contact time
	p.inspect("bench-disinfection")
	p.do(chromedp.Evaluate[chromedp.Void](`void (() => {
		const set = (name, value) => { document.querySelector("#job [name=" + name + "]").value = value; };
		set("disinfectant", "opa-0.55");
		document.querySelector("#job [name=disinfectant]").dispatchEvent(new Event("change", { bubbles: true }));
		set("disinfectant_lot", "L9"); set("disinfectant_expires", "2026-03-30T12:00"); set("mec", "pass");
		set("coldest_cel", "21"); set("contact", "12"); set("disinfectant_filled", "2026-03-01T12:00");
	})()`))
	p.press("nav.points", "elevator recess") // what was typed stays when everything is shown anew
	p.press("#job", "Passed")
	p.press("#job", "Begin drying")
	p.waitText("#job", "Done: drying")
	p.waitText("#network", "all stored")
	var a reprocessing.Answer
	if err := b.desk.View(t.Context(), func(v desk.View) (err error) {
		a, err = v.Release(inWorkScope, v.Now(), store.Forever)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	for _, s := range a.Steps {
		if s.Step == reprocessing.Disinfection && s.Status != reprocessing.DoneStep {
			t.Errorf("the disinfection is %s: %+v", s.Status, a.Reasons)
		}
	}
}

// A whole verification with the keyboard alone, without a pointer or a scanner.
func TestVerificationByKeyboardAlone(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	// enter moves on with Tab until the focus is on what a person looks for, and presses it.
	enter := func(text string) {
		t.Helper()
		for range 80 {
			if eval[bool](p, fmt.Sprintf("document.activeElement.innerText?.startsWith(%q) ?? false", text)) {
				p.keys("\r")
				return
			}
			p.keys("\t")
		}
		t.Fatalf("Tab never comes to %q", text)
	}
	p.keys(inWorkScope + "\r")
	p.waitText("#scope-name", inWorkScope)
	p.waitText("#job", "points read")
	p.keys("7\r")
	p.waitText("#said", "Lot 7 of K")
	p.keys("M-1\r")
	p.waitText("#said", "Meter M-1")
	for _, x := range []struct{ point, value string }{{"elevator recess", "22"}, {"instrument channel", "23"}} {
		enter(x.point)
		p.waitText("#point-name", x.point)
		enter("Collected")
		if x.point == "instrument channel" {
			p.waitText("#mark", "Dipped")
			enter("Dipped")
		}
		p.waitText("#mark", "Activated")
		enter("Activated")
		p.waitText("#mark", "Shaken")
		p.wait("!document.querySelector('#mark').disabled")
		enter("Shaken")
		p.waitFor("#value")
		for range 80 {
			if eval[bool](p, "document.activeElement.id === 'value'") {
				break
			}
			p.keys("\t")
		}
		p.keys(x.value + "\r")
		p.waitText("#said", x.value+" RLU")
	}
	for _, point := range []scope.PointKind{scope.ElevatorRecess, scope.InstrumentLumen} {
		if got := b.readings(inWorkScope, point); len(got) != 1 {
			t.Errorf("%s: readings %q", point, got)
		}
	}
}

// The next person takes over a shared bench with a scan of the sheet, one of the badge, and a PIN.
func TestChangePerson(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p := atBench(t)
	b.session(access.Lead)
	admin := identity.Entry{Actor: access.Operator(codeOf(access.Administrator))}
	if _, err := b.server.Door.SetBadge(t.Context(), admin, codeOf(access.Lead), "BADGE-2"); err != nil {
		t.Fatal(err)
	}
	if _, err := b.server.Door.SetPIN(t.Context(), admin, codeOf(access.Lead), "4826"); err != nil {
		t.Fatal(err)
	}
	p.onScope(inWorkScope, "elevator-recess")
	p.tolerate(http.StatusUnauthorized)
	p.scan("ACT-PERSON")
	p.wait(`document.activeElement.name === "badge"`)
	p.scan("BADGE-2")
	p.wait(`document.activeElement.name === "pin"`)
	p.keys("4826\r")
	p.waitText("#said", "R-lead is at the bench")
	p.scan("ACT-COLLECTED")
	p.waitText("#mark", "Activated")
	p.waitText("#network", "all stored")
	var by string
	if err := b.desk.View(t.Context(), func(v desk.View) error {
		j, err := v.Day().Job(inWorkScope, v.Now())
		for _, x := range j.Points {
			if x.Point == scope.ElevatorRecess && len(x.Samples) > 0 {
				by = x.Samples[0].By
			}
		}
		return err
	}); err != nil || by != "R-lead" {
		t.Errorf("the sample was taken by %q (%v)", by, err)
	}
}

// Two press that the same sample is activated: the second hears that it is on record, and nothing waits for an answer.
func TestTwoPeopleMarkOneSample(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, first := atBench(t)
	second := b.bench(t, access.Lead)
	first.onScope(inWorkScope, "elevator-recess")
	first.scan("7")
	first.scan("ACT-COLLECTED")
	first.waitText("#mark", "Activated")
	first.waitText("#network", "all stored")
	second.onScope(inWorkScope, "elevator-recess")
	second.waitText("#mark", "Activated")
	second.offline(true)
	second.waitText("#network", "no network")
	first.scan("ACT-ACTIVATED")
	first.waitText("#mark", "Shaken")
	first.waitText("#network", "all stored")
	b.clock.Move(time.Second)
	second.scan("ACT-ACTIVATED")
	second.waitText("#network", "1 not yet stored")
	second.expect(http.StatusConflict)
	second.offline(false)
	second.waitText("#said", "is on record already. Nothing is lost")
	second.waitText("#network", "all stored")
}
