package web

import (
	"context"
	_ "embed"
	"flag"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"
)

var screenshots = flag.String("screenshots", "", "the folder that pictures of the pages are written to; none are taken without it")

// patience is how long a page may take for one thing that a test asks of it. It only ends a test that would
// never end: a machine with much else to do is slow for a minute, and nothing is wrong with the page.
const patience = 3 * time.Minute

// browser is the one Chromium of a test run. It starts when the first test opens a page.
type browser struct {
	once sync.Once
	ctx  context.Context
	err  error
	// end stops the browser and removes its profile.
	end func() error
}

var chrome browser

func (b *browser) start() (context.Context, error) {
	b.once.Do(func() {
		path, err := exec.LookPath("chromium")
		if err != nil {
			b.err = fmt.Errorf(
				"the pages are tested in Chromium, which is missing; run scripts/setup-tests.sh, or on Debian: apt-get install chromium: %w",
				err,
			)
			return
		}
		profile, err := os.MkdirTemp("", "chromium-profile-")
		if err != nil {
			b.err = err
			return
		}
		options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]),
			chromedp.ExecPath(path), chromedp.UserDataDir(profile), chromedp.NoSandbox, chromedp.DisableGPU,
			chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-background-networking", true),
		)
		allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
		b.ctx, _ = chromedp.NewContext(allocator)
		b.end = func() error {
			defer stop()
			if err := chromedp.Cancel(b.ctx); err != nil {
				return fmt.Errorf("chromium did not end: %w", err)
			}
			return os.RemoveAll(profile)
		}
		b.err = chromedp.Do(b.ctx)
	})
	return b.ctx, b.err
}

// atEnd is done when all tests have ended.
var atEnd []func() error

func TestMain(m *testing.M) {
	code := m.Run()
	for _, end := range atEnd {
		if err := end(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	if chrome.end != nil {
		if err := chrome.end(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	if code == 0 {
		if err := goleak.Find(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// page is a page in the browser, with cookies and storage of its own. When its test ends, everything
// that went wrong in it without being expected fails the test.
type page struct {
	testing.TB
	base string
	ctx  context.Context

	mu sync.Mutex
	// found is what went wrong, in the order in which the browser said so.
	found []string
	// expected counts the answers over 399 that the test announced, by status.
	expected map[int64]int
	// tolerated are statuses that may come any number of times.
	tolerated map[int64]bool
	// requests are the addresses of requests by their id, to name the ones that fail.
	requests map[network.RequestID]string
	// cut says of requests that they were begun while the page was cut off.
	cut    map[network.RequestID]bool
	cutOff bool
	// workers are the service workers of the page that the test has reached, by their target.
	workers map[target.ID]*worker
	// marks are closed when the console says them; see settle.
	marks map[string]chan struct{}
}

// worker is a service worker.
type worker struct {
	ctx    context.Context
	detach context.CancelFunc
}

// needsBrowser leaves a test out of the short ones, before it has made anything. The race detector does not watch
// a browser.
func needsBrowser(tb testing.TB) {
	tb.Helper()
	if testing.Short() {
		tb.Skip("a browser is needed: this is tested without -short")
	}
}

// walksEverything leaves a test out of the short ones that opens every page, in one thread: each page is opened
// once in TestEveryTemplate.
func walksEverything(tb testing.TB) {
	tb.Helper()
	if testing.Short() {
		tb.Skip("every page is opened: this is tested without -short")
	}
}

// openPage opens an empty page for a site.
func openPage(tb testing.TB, base string) *page {
	tb.Helper()
	needsBrowser(tb)
	parent, err := chrome.start()
	if err != nil {
		tb.Fatal(err)
	}
	p := &page{
		TB:        tb,
		base:      base,
		expected:  map[int64]int{},
		tolerated: map[int64]bool{},
		requests:  map[network.RequestID]string{},
		cut:       map[network.RequestID]bool{},
		workers:   map[target.ID]*worker{},
		marks:     map[string]chan struct{}{},
	}
	var cancel context.CancelFunc
	p.ctx, cancel = chromedp.NewContext(parent, chromedp.WithNewBrowserContext(), chromedp.WithListener(p.hear))
	messages := chromedp.Console(p.ctx)
	var reading sync.WaitGroup
	reading.Go(func() {
		for m, err := range messages {
			if err != nil {
				return // the page is closed
			}
			p.hearConsole(m)
		}
	})
	tb.Cleanup(func() {
		for _, f := range p.findings() {
			tb.Errorf("in the browser: %s", f)
		}
		for _, w := range p.workers {
			w.detach()
		}
		cancel()
		reading.Wait()
	})
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: tellViolations})
		return err
	}))
	p.size(1280, 800)
	return p
}

// tellViolations writes what the content security policy refused to the console. The browser's own log
// says so as well, but not for every directive.
const tellViolations = `addEventListener("securitypolicyviolation", (e) =>
	console.error("content security policy:", e.violatedDirective, "refused", e.blockedURI, "at", e.sourceFile + ":" + e.lineNumber));`

// hear keeps requests that failed. The browser calls it in the order of its events.
func (p *page) hear(event any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		p.requests[e.RequestID] = e.Request.Method + " " + e.Request.URL
		p.cut[e.RequestID] = p.cutOff
	case *network.EventResponseReceived:
		switch status := e.Response.Status; {
		case status < http.StatusBadRequest:
		case p.tolerated[status]:
		case p.expected[status] > 0:
			p.expected[status]--
		default:
			p.found = append(p.found, fmt.Sprintf("answer %d to %s", status, p.requests[e.RequestID]))
		}
	case *network.EventLoadingFailed:
		// The browser cancels by itself what a page left behind that it has navigated away from.
		if !e.Canceled && (!p.cutOff && !p.cut[e.RequestID] || e.BlockedReason != "") {
			p.found = append(p.found, fmt.Sprintf("%s %s for %s", e.ErrorText, e.BlockedReason, p.requests[e.RequestID]))
		}
	}
}

// hearConsole keeps warnings, errors and exceptions.
func (p *page) hearConsole(m chromedp.ConsoleMessage) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if mark, ok := p.marks[m.Text]; ok {
		close(mark)
		delete(p.marks, m.Text)
		return
	}
	switch {
	case m.Source == "network" && strings.HasPrefix(m.Text, "Failed to load resource"): // hear knows
	case m.Type == chromedp.ConsoleWarning, m.Type == chromedp.ConsoleError, m.Type == chromedp.ConsoleException, m.Type == "assert":
		p.found = append(p.found, fmt.Sprintf("console %s (%s:%d)", m, m.URL, m.Line+1))
	}
}

// settle waits until everything that the console said so far was heard.
func (p *page) settle() {
	p.Helper()
	mark := make(chan struct{})
	p.mu.Lock()
	name := fmt.Sprintf("mark %p", mark)
	p.marks[name] = mark
	p.mu.Unlock()
	p.do(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		return chromedp.Evaluate[chromedp.Void](fmt.Sprintf("void console.debug(%q)", name))(ctx, t)
	})
	select {
	case <-mark:
	case <-time.After(patience):
		p.Fatal("the console of the page does not answer")
	}
}

// findings takes what went wrong so far, and what was expected to and did not.
func (p *page) findings() []string {
	p.Helper()
	p.settle()
	p.mu.Lock()
	defer p.mu.Unlock()
	found := p.found
	for status, n := range p.expected {
		if n > 0 {
			found = append(found, fmt.Sprintf("%d answers %d were expected and did not come", n, status))
		}
	}
	p.found, p.expected = nil, map[int64]int{}
	return found
}

// expect announces one answer with a status over 399.
func (p *page) expect(status int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.expected[int64(status)]++
}

// tolerate lets answers with a status come from now on, as often as they do.
func (p *page) tolerate(status int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.tolerated[int64(status)] = true
}

// token returns the token of the browser's session.
func (p *page) token(b *site) (token string) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		all, err := cdp.Call(ctx, t, network.GetCookies, network.GetCookiesParams{URLs: []string{p.base}})
		if err != nil {
			return err
		}
		for _, c := range all.Cookies {
			if c.Name == b.server.CookieName() {
				token = c.Value
			}
		}
		return nil
	}))
	return token
}

// do runs steps and fails the test when one does not succeed in time.
func (p *page) do(steps ...chromedp.Action[chromedp.Void]) {
	p.Helper()
	if err := p.try(steps...); err != nil {
		p.Fatal(err)
	}
}

func (p *page) try(steps ...chromedp.Action[chromedp.Void]) error {
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	return chromedp.Do(ctx, steps...)
}

// run runs an action that returns something and fails the test when it does not succeed in time.
func run[T any](p *page, action chromedp.Action[T]) T {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	x, err := chromedp.Run(ctx, action)
	if err != nil {
		p.Fatal(err)
	}
	return x
}

// eval returns the value of an expression in the page, of the promise when it is one.
func eval[T any](p *page, expression string) T {
	p.Helper()
	return run(p, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// open goes to a path of the site and waits until it is loaded.
func (p *page) open(path string) {
	p.Helper()
	p.do(chromedp.Navigate(p.base + path))
}

func (p *page) reload() {
	p.Helper()
	p.do(chromedp.Reload())
}

// location returns the path and query of the page within the site.
func (p *page) location() string {
	p.Helper()
	return strings.TrimPrefix(run(p, chromedp.Location()), p.base)
}

// size makes the window as large as that, in CSS pixels.
func (p *page) size(width, height int64) {
	p.Helper()
	p.do(chromedp.EmulateViewport(width, height))
}

// dark makes the person prefer dark pages, or light ones.
func (p *page) dark(on bool) {
	p.Helper()
	scheme := map[bool]string{false: "light", true: "dark"}[on]
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		return err
	}))
}

// scripts lets the page run scripts, or not.
func (p *page) scripts(on bool) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
		return err
	}))
}

// offline cuts the page and the service workers that it has by now off the network, or connects them
// again. Requests may fail meanwhile. What is under way goes on; see line.cut.
func (p *page) offline(on bool) {
	p.Helper()
	say := func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.cutOff = on
	}
	if on {
		say()
	} else {
		defer say() // what is asked until everything is connected again may still fail
	}
	const unlimited = -1
	cut := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{
			EmulateOfflineServiceWorker: &on,
			MatchedNetworkConditions:    []*network.Conditions{{Offline: on, DownloadThroughput: unlimited, UploadThroughput: unlimited}},
		})
		if err != nil {
			return err
		}
		// What navigator.onLine says is apart from it.
		_, err = cdp.Call(
			ctx,
			t,
			network.OverrideNetworkState,
			network.OverrideNetworkStateParams{Offline: on, DownloadThroughput: unlimited, UploadThroughput: unlimited},
		)
		return err
	})
	p.do(cut)
	p.reachWorkers()
	for _, w := range p.workers {
		if err := chromedp.Do(w.ctx, cut); err != nil {
			p.Fatal(err)
		}
	}
}

// reachWorkers attaches to the service workers of the page, which are targets of their own.
func (p *page) reachWorkers() {
	p.Helper()
	targets, err := chromedp.Targets(p.ctx)
	if err != nil {
		p.Fatal(err)
	}
	for _, info := range targets {
		if info.Type != "service_worker" || info.BrowserContextID != chromedp.FromContext(p.ctx).BrowserContextID || p.workers[info.TargetID] != nil {
			continue
		}
		w := new(worker)
		w.ctx, w.detach = chromedp.NewContext(p.ctx, chromedp.WithTargetID(info.TargetID), chromedp.WithDetachOnCancel())
		p.workers[info.TargetID] = w
	}
}

// cookie sets a cookie of the site.
func (p *page) cookie(name, value string) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, network.SetCookie, network.SetCookieParams{Name: name, Value: value, URL: p.base})
		return err
	}))
}

// html returns the document as it stands.
func (p *page) html() string {
	p.Helper()
	return eval[string](p, "document.documentElement.outerHTML")
}

// text returns the text of the first element that a selector finds, as it is seen. It is read in one go,
// since live pages put new elements in the place of old ones.
func (p *page) text(css string) string {
	p.Helper()
	p.waitFor(css)
	return eval[string](p, fmt.Sprintf("document.querySelector(%q)?.innerText ?? ''", css))
}

func (p *page) click(css string) {
	p.Helper()
	p.onLive(chromedp.Click(chromedp.CSS(css), chromedp.NodeVisible))
}

// onLive does something with a part of a live page, which may put a fresh one in place between finding it and doing that.
func (p *page) onLive(step chromedp.Action[chromedp.Void]) {
	p.Helper()
	for {
		err := p.try(step)
		if err == nil {
			return
		}
		if !strings.Contains(err.Error(), "Could not find node") {
			p.Fatal(err)
		}
	}
}

// fill types into a field.
func (p *page) fill(css, text string) {
	p.Helper()
	p.onLive(chromedp.SendKeys(chromedp.CSS(css), text, chromedp.NodeVisible))
}

// keys presses keys wherever the focus is. Those that are not letters are in package kb.
func (p *page) keys(text string) {
	p.Helper()
	p.do(chromedp.KeyEvent(text))
}

// scan types as a barcode scanner does that stands for a keyboard: wherever the focus is, at once, and
// Enter at the end.
func (p *page) scan(text string) {
	p.Helper()
	p.keys(text + "\r")
}

// wait waits until an expression is true. It survives that the page goes elsewhere meanwhile.
func (p *page) wait(expression string) {
	p.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	const pause = 20 * time.Millisecond
	for {
		yes, err := chromedp.Run(ctx, chromedp.Evaluate[bool]("Boolean("+expression+")"))
		if err == nil && yes {
			return
		}
		select {
		case <-ctx.Done():
			p.Fatalf("%s never became true in %s (%v); the page shows:\n%.1000s", expression, p.location(), err, p.text("main"))
		case <-time.After(pause):
		}
	}
}

// whole is true when all of the page has arrived: what stands at its beginning says nothing of its end.
const whole = `document.readyState !== "loading"`

// waitFor waits until a selector finds something in the whole page.
func (p *page) waitFor(css string) {
	p.Helper()
	p.wait(fmt.Sprintf("%s && document.querySelector(%q)", whole, css))
}

// waitText waits until the text of the first element that a selector finds in the whole page holds some words.
func (p *page) waitText(css, words string) {
	p.Helper()
	p.wait(fmt.Sprintf("%s && document.querySelector(%q)?.innerText.includes(%q)", whole, css, words))
}

// screenshot writes a picture of the whole page when pictures are wanted.
func (p *page) screenshot(name string) {
	p.Helper()
	if *screenshots == "" {
		return
	}
	const png = 100 // the quality that stands for no loss
	picture := run(p, chromedp.FullScreenshot(png))
	if err := os.MkdirAll(*screenshots, 0o755); err != nil {
		p.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(*screenshots, name+".png"), picture, 0o644); err != nil {
		p.Fatal(err)
	}
}

//go:embed testdata/axe/axe.min.js
var axe string

// audit is what axe found against the rules of WCAG 2.2, levels A and AA, and good practice.
//
// What a page is made of and how large it is does not differ in the dark, so that only the rules about
// colour are tried again there.
const audit = `axe.run(document, {
	runOnly: matchMedia("(prefers-color-scheme: dark)").matches ? {type: "rule", values: ["color-contrast", "link-in-text-block"]} :
		{type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]},
	resultTypes: ["violations"],
}).then((r) => r.violations.flatMap((v) => v.nodes.map((n) => v.id + " at " + n.target.join(" ") + ": " + n.failureSummary.replace(/\s+/g, " "))))`

// axe looks for what keeps people from using the page. It is run from outside, so that the content security
// policy of the page stays as it is.
func (p *page) axe() []string {
	p.Helper()
	if !eval[bool](p, `typeof axe === "object"`) {
		p.do(chromedp.Evaluate[chromedp.Void](axe))
	}
	return eval[[]string](p, audit)
}

// smallTargets is the list of controls that are too small for a gloved finger: 44 by 44 CSS pixels, as
// WCAG 2.2 wants at level AAA (success criterion 2.5.5). Links and words that explain themselves in text are
// exempt, as in 2.5.8. What belongs to a box to tick counts with its label, and half a pixel is a matter of
// rounding.
const smallTargets = `(() => {
	const least = 43.5, small = [];
	const all = "button, input:not([type=hidden]), select, textarea, summary, [role=button], .button, form a";
	for (const e of document.querySelectorAll(all)) {
		if (!e.checkVisibility() || e.closest(".hidden, .term")) continue;
		const boxes = [e];
		if (e.matches("[type=checkbox], [type=radio]")) boxes.push(...e.labels);
		const rects = boxes.map((b) => b.getBoundingClientRect());
		const width = Math.max(...rects.map((r) => r.right)) - Math.min(...rects.map((r) => r.left));
		const height = Math.max(...rects.map((r) => r.bottom)) - Math.min(...rects.map((r) => r.top));
		if (width < least || height < least) small.push("too small a target: " + e.outerHTML.slice(0, 120) + " is " + width.toFixed(1) + " by " + height.toFixed(1));
	}
	return small;
})()`

// tooWide names what makes the document scroll sideways, the innermost elements and texts first. What an
// element around it scrolls or cuts off does no harm, unless it is placed past that element.
const tooWide = `(() => {
	const root = document.scrollingElement, wide = [];
	if (root.scrollWidth <= innerWidth + 1) return wide;
	const harmless = (e) => {
		let position = getComputedStyle(e).position;
		for (let a = e.parentElement; a && a !== document.body; a = a.parentElement) {
			const style = getComputedStyle(a);
			if (position === "absolute" && style.position === "static") continue;
			if (style.overflowX !== "visible") return true;
			position = style.position;
		}
		return false;
	};
	const over = (n) => {
		const range = document.createRange();
		range.selectNode(n);
		return range.getBoundingClientRect().right > innerWidth + .5;
	};
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_ELEMENT | NodeFilter.SHOW_TEXT);
	for (let n = walk.nextNode(); n; n = walk.nextNode()) {
		const e = n.nodeType === Node.TEXT_NODE ? n.parentElement : n;
		if (over(n) && ![...n.childNodes].some(over) && !harmless(e)) wide.push(e.outerHTML.slice(0, 160));
	}
	return ["the document is " + root.scrollWidth + " wide in a window of " + innerWidth, ...new Set(wide)];
})()`

// inspect looks at the page in three sizes and in the dark: it must be usable by everybody, not scroll sideways,
// and have targets that are large enough. Colours do not depend on the size.
func (p *page) inspect(name string) {
	p.Helper()
	p.inspectAs(name, "light", sizes...)
	p.inspectAs(name, "dark", sizes[2])
}

// sizes are those of a telephone, of a tablet and of a PC.
var sizes = [][2]int64{{320, 640}, {768, 1024}, {1280, 800}}

// inspectAs looks at the page in one scheme of colours and in some sizes.
func (p *page) inspectAs(name, scheme string, sizes ...[2]int64) {
	p.Helper()
	p.dark(scheme == "dark")
	for _, size := range sizes {
		p.size(size[0], size[1])
		where := fmt.Sprintf("%s-%s-%d", name, scheme, size[0])
		findings := p.axe()
		if scheme == "light" { // colours change no size
			findings = slices.Concat(findings, eval[[]string](p, smallTargets), eval[[]string](p, tooWide))
		}
		for _, f := range findings {
			p.Errorf("%s: %s", where, f)
		}
		p.screenshot(where)
	}
}

// TestHarness shows that the checks find what they are for: without it an empty list would say nothing.
func TestHarness(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	mux := http.NewServeMux()
	mux.HandleFunc("/faults", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'self'; style-src 'none'")
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprint(w, `<!doctype html><html lang="en"><title>Faults</title><main><h1 style="color: red">Faults</h1>
<form><button>x</button></form><img src="/missing.svg"><div style="width: 500px">wide</div><script src="/faults.js"></script></main>`)
	})
	mux.HandleFunc("/faults.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(
			w,
			`console.log("fine"); console.warn("careful"); fetch("http://127.0.0.1:1/").catch(() => {}); document.querySelector("div").style.width = "500px";
Promise.reject(new Error("forgotten")); throw new Error("thrown");`,
		)
	})
	mux.HandleFunc("/worker", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprint(w, `<!doctype html><title>Worker</title><script>navigator.serviceWorker.register("/worker.js")</script>`)
	})
	mux.HandleFunc("/worker.js", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/javascript")
		fmt.Fprint(w, `addEventListener("activate", (e) => e.waitUntil(clients.claim()));
addEventListener("fetch", (e) => {
  if (e.request.url.endsWith("/probe")) e.respondWith(fetch("/data").then((r) => r.text(), () => "cut off").then((t) => new Response("worker: " + t)))
});`)
	})
	mux.HandleFunc("/data", func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "data") })
	mux.HandleFunc("/favicon.ico", func(http.ResponseWriter, *http.Request) {}) // browsers ask for it when a page names none
	server := httptest.NewServer(mux)
	t.Cleanup(server.Close)

	t.Run("finds faults", func(t *testing.T) {
		p := openPage(t, server.URL)
		p.expect(http.StatusTeapot)
		p.open("/faults")
		p.size(320, 640)
		found := strings.Join(p.findings(), "\n")
		for _, want := range []string{
			"console warning: careful", "Uncaught Error: thrown", "forgotten", "answer 404 to GET " + server.URL + "/missing.svg",
			"content security policy: style-src-attr refused inline", "content security policy: connect-src refused http://127.0.0.1:1/", "1 answers 418 were expected",
		} {
			if !strings.Contains(found, want) {
				t.Errorf("%q was not found in:\n%s", want, found)
			}
		}
		if strings.Contains(found, "fine") {
			t.Errorf("an ordinary message was found:\n%s", found)
		}
		for what, want := range map[string]string{audit: "image-alt at img", smallTargets: "<button>x</button> is ", tooWide: "<div"} {
			if what == audit {
				p.axe()
			}
			if got := strings.Join(eval[[]string](p, what), "\n"); !strings.Contains(got, want) {
				t.Errorf("%q was not found in:\n%s", want, got)
			}
		}
		if again := p.findings(); len(again) != 0 {
			t.Errorf("axe and the checks left traces: %s", again)
		}
	})
	t.Run("expects", func(t *testing.T) {
		p := openPage(t, server.URL)
		p.expect(http.StatusNotFound)
		p.open("/missing.html")
		if found := p.findings(); len(found) != 0 {
			t.Errorf("an announced answer was found: %q", found)
		}
	})
	t.Run("isolates and emulates", func(t *testing.T) {
		p, other := openPage(t, server.URL), openPage(t, server.URL)
		p.cookie("name", "value")
		p.open("/data")
		other.open("/data")
		if got := []string{eval[string](p, "document.cookie"), eval[string](other, "document.cookie")}; !cmp.Equal(got, []string{"name=value", ""}) {
			t.Errorf("cookies: %q, want one in the first page only", got)
		}
		p.size(320, 640)
		p.dark(true)
		if !eval[bool](p, `innerWidth === 320 && innerHeight === 640 && matchMedia("(prefers-color-scheme: dark)").matches`) {
			t.Error("neither size nor darkness arrived")
		}
		if !eval[bool](other, `innerWidth === 1280 && matchMedia("(prefers-color-scheme: light)").matches`) {
			t.Error("size or darkness arrived in another page")
		}
	})
	t.Run("cuts off", func(t *testing.T) {
		p := openPage(t, server.URL)
		p.open("/worker")
		p.wait("navigator.serviceWorker.controller")
		probe := `Promise.all([fetch("/data").then((r) => r.text(), () => "cut off"), fetch("/probe").then((r) => r.text()), navigator.onLine]).then(String)`
		for _, test := range []struct {
			off  bool
			want string
		}{{false, "data,worker: data,true"}, {true, "cut off,worker: cut off,false"}, {false, "data,worker: data,true"}} {
			p.offline(test.off)
			if got := eval[string](p, probe); got != test.want {
				t.Errorf("cut off %t: %q, want %q", test.off, got, test.want)
			}
		}
	})
}
