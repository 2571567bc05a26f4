package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/store/storetest"
)

// command sends a command to the browser for a page.
func command[P, R any](p *page, c cdp.Command[P, R], parameters P) (result R) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) (err error) {
		result, err = cdp.Call(ctx, t, c, parameters)
		return err
	}))
	return result
}

// authenticator gives the browser of a page a device that keeps passkeys and always finds that the right
// person holds it.
func (p *page) authenticator() webauthn.AuthenticatorID {
	p.Helper()
	command(p, webauthn.Enable, webauthn.EnableParams{})
	return command(p, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal,
		HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true,
	}}).AuthenticatorID
}

const (
	usePasskey = "[data-passkey=use] button"
	passkeyRow = "[aria-labelledby=passkeys-title] .list"
)

// passkeyed is a site and a page whose technician has a passkey on a device of the browser, and has signed
// out.
func passkeyed(t *testing.T) (*site, *page, webauthn.AuthenticatorID) {
	t.Helper()
	b := serveAs(t, storetest.NewClock(), "localhost")
	p := openPage(t, b.server.Base.String())
	device := p.authenticator()
	signIn(b, p, access.Technician)
	p.open("/account")
	p.addPasskey("blue key")
	p.waitText(passkeyRow, "blue key")
	p.signOut()
	return b, p, device
}

func (p *page) addPasskey(name string) {
	p.Helper()
	p.fill("#passkey-name", name)
	p.fill("#passkey-password", password)
	p.click("[data-passkey=add] button")
}

func (p *page) signOut() {
	p.Helper()
	p.click(`.who [formaction="/sign-out"]`)
	p.waitText("h1", "Sign in")
}

// refusesPasskey uses the passkey and wants an answer with a status and these words.
func (p *page) refusesPasskey(status int, want string) {
	p.Helper()
	if status != http.StatusOK {
		p.expect(status)
	}
	p.click(usePasskey)
	p.waitText("[data-passkey=use] [role=alert]", want)
}

func TestPasskey(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p, _ := passkeyed(t)
	p.open("/sign-in?next=%2Fscopes%3Fa%3Db%26c")
	p.inspect("sign-in-with-a-passkey")
	p.click(usePasskey)
	p.waitText("h1", "Scopes")
	if at := p.location(); at != "/scopes?a=b&c" {
		t.Errorf("signed in and at %s", at)
	}
	p.click(".who button") // Lock
	p.waitText("h1", "Locked")
	p.inspect("unlock-with-a-passkey")
	p.click(usePasskey)
	p.waitText("h1", "Today")

	p.open("/account")
	p.inspect("account-with-a-passkey")
	if got := p.text(passkeyRow); !strings.Contains(got, "last used") || strings.Contains(got, "not here") {
		t.Errorf("the passkey: %s", got)
	}
	p.addPasskey("the same device")
	p.waitText("[data-passkey=add] [role=alert]", "This device has a passkey of yours already.")

	p.click(passkeyRow + " summary")
	p.fill("#passkey-old-0", password)
	p.click(passkeyRow + " form button")
	p.waitText(".said", "The passkey is removed.")
	p.signOut()
	p.refusesPasskey(http.StatusForbidden, "The passkey is not right.")

	var changes []string
	if err := b.desk.View(t.Context(), func(v desk.View) error {
		granted, err := v.People().Grants(codeOf(access.Technician))
		for _, g := range granted {
			changes = append(changes, string(g.Change))
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	if want := []string{"added", "passkey-added", "passkey-removed"}; !slices.Equal(changes, want) {
		t.Errorf("on record: %q, want %q", changes, want)
	}
}

// The locked bench opens with a passkey of the person whose session it is, and stays as it was.
func TestPasskeyOpensTheBench(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p, _ := passkeyed(t)
	tick(t, b.clock)
	p.open("/sign-in?next=%2Fbench")
	p.click(usePasskey)
	p.waitText("#network", "all stored")
	p.onScope(inWorkScope, "elevator-recess")
	p.tolerate(http.StatusUnauthorized)
	for _, act := range []string{"ACT-COLLECTED", "ACT-ACTIVATED"} { // also the second time that day
		if err := b.server.Door.Lock(t.Context(), p.token(b)); err != nil {
			t.Fatal(err)
		}
		p.scan(act)
		p.waitText("#network", "locked: 1 not yet stored")
		p.waitText("#door", "Open with a passkey of R-technician")
		if act == "ACT-COLLECTED" {
			p.inspect("bench-locked-with-a-passkey")
		}
		p.click("#passkey")
		p.waitText("#said", "R-technician is at the bench.")
		p.waitText("#network", "all stored")
		p.waitText("#point-name", "elevator recess")
		if got := p.location(); got != "/bench" {
			t.Errorf("the bench is at %s", got)
		}
	}
}

func TestPasskeyRefusals(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p, device := passkeyed(t)
	p.click(usePasskey)
	p.waitText("h1", "Today")
	p.signOut()

	// Nobody proves to the device that they may use it.
	command(p, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: device})
	p.refusesPasskey(http.StatusOK, "The device has not answered")
	command(p, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: device, IsUserVerified: true})

	code := codeOf(access.Technician)
	if _, err := b.server.Door.Disable(t.Context(), identity.Entry{Actor: access.Operator(codeOf(access.Administrator))}, code); err != nil {
		t.Fatal(err)
	}
	p.refusesPasskey(http.StatusForbidden, "The passkey is not right.")
	p.refusesPasskey(http.StatusTooManyRequests, "Too many attempts; the next one is heard in 1 s.")
	if _, err := b.server.Door.Enable(t.Context(), identity.Entry{Actor: access.Operator(codeOf(access.Administrator))}, code); err != nil {
		t.Fatal(err)
	}

	// A copy of the device from when it was new.
	b.clock.Move(time.Minute)
	kept := command(p, webauthn.GetCredentials, webauthn.GetCredentialsParams{AuthenticatorID: device}).Credentials[0]
	if kept.SignCount < 2 {
		t.Fatalf("the device counts %v uses", kept.SignCount)
	}
	again := func(count float64) {
		t.Helper()
		command(p, webauthn.RemoveCredential, webauthn.RemoveCredentialParams{AuthenticatorID: device, CredentialID: kept.CredentialID})
		// The command's own parameters name what this device has not, which it refuses.
		command(p, cdp.Command[map[string]any, cdp.Empty]{Method: webauthn.CommandAddCredential}, map[string]any{
			"authenticatorId": device, "credential": map[string]any{
				"credentialId":         kept.CredentialID,
				"isResidentCredential": true,
				"rpId":                 kept.RpID,
				"privateKey":           kept.PrivateKey,
				"userHandle":           kept.UserHandle,
				"signCount":            count,
			},
		})
	}
	again(0)
	p.refusesPasskey(http.StatusForbidden, "The passkey is not right.")
	b.clock.Move(time.Minute)
	again(kept.SignCount)
	p.click(usePasskey)
	p.waitText("h1", "Today")
}

// answers sends the answers of devices as a script of the page could.
const answers = `{
	async send(address, body) {
		const answer = await fetch(address, {method: "POST", body: JSON.stringify(body ?? {})});
		return {status: answer.status, content: await answer.json()};
	},
	async ask() {
		const {content} = await this.send("/sign-in/passkey/question");
		const made = await navigator.credentials.get({publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(content)});
		return made.toJSON();
	},
	async tell(answer) { return (await this.send("/sign-in/passkey", answer)).status },
}`

func TestPasskeyAnswersCountOnce(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b, p, _ := passkeyed(t)
	p.do(chromedp.Evaluate[chromedp.Void]("window.answers = " + answers))
	tell := func(what string, want int) {
		t.Helper()
		if want != http.StatusOK {
			p.expect(want)
		}
		if got := eval[int](p, "answers.tell(kept)"); got != want {
			t.Errorf("%s: status %d, want %d", what, got, want)
		}
	}
	ask := func(keep string) { t.Helper(); eval[bool](p, "answers.ask().then((a) => { "+keep+"; return true })") }
	ask("window.kept = a")
	tell("the answer", http.StatusOK)
	tell("the same answer", http.StatusBadRequest)
	ask("void a") // to which kept is none
	tell("the answer to an earlier question", http.StatusForbidden)

	b.clock.Move(time.Minute)
	ask("window.kept = a")
	b.clock.Move(5*time.Minute - time.Second)
	tell("in time", http.StatusOK)
	ask("window.kept = a")
	b.clock.Move(5 * time.Minute)
	tell("too late", http.StatusBadRequest)

	// Another browser has no use for the answer.
	ask("window.kept = a")
	stolen := eval[string](p, "JSON.stringify(kept)")
	a := b.ask(http.MethodPost, "/sign-in/passkey", nobody, func(r *http.Request) { r.Body = io.NopCloser(strings.NewReader(stolen)) })
	if a.status != http.StatusBadRequest || strings.Contains(a.header.Get("Set-Cookie"), b.server.CookieName()+"=") {
		t.Errorf("from another browser: status %d", a.status)
	}
	tell("the browser that asked", http.StatusOK)
}

// The button is there only where it can work.
func TestPasskeysNotOffered(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serveAs(t, storetest.NewClock(), "localhost")
	p := openPage(t, b.server.Base.String())
	const seen = `[...document.querySelectorAll("[data-passkeys=some]")].filter((e) => e.checkVisibility()).length`
	p.open("/sign-in")
	if n := eval[int](p, seen); n != 1 {
		t.Errorf("%d buttons with scripts", n)
	}
	p.scripts(false)
	p.reload()
	if n := eval[int](p, seen); n != 0 {
		t.Errorf("%d buttons without scripts", n)
	}
	without := openPage(t, b.server.Base.String())
	signIn(b, without, access.Technician)
	command(without, cdppage.AddScriptToEvaluateOnNewDocument, cdppage.AddScriptToEvaluateOnNewDocumentParams{Source: "delete window.PublicKeyCredential"})
	without.open("/account")
	if n := eval[int](without, seen); n != 0 || !strings.Contains(without.text("[data-passkeys=none]"), "no passkeys") {
		t.Errorf("%d forms in a browser without passkeys", n)
	}
	// In the account of somebody without a passkey, a lock opens with the password alone.
	if page := b.ask(http.MethodGet, "/unlock", locked).body; strings.Contains(page, "Open with a passkey") || !strings.Contains(page, "PIN or password") {
		t.Errorf("locked, without a passkey:\n%s", page)
	}

	number := newSite(t, storetest.NewClock(), "http://127.0.0.1:8420")
	if page := number.ask(http.MethodGet, "/sign-in", nobody).body; strings.Contains(page, "passkey") {
		t.Errorf("by an IP address the page to sign in speaks of passkeys:\n%s", page)
	}
	if page := number.ask(
		http.MethodGet,
		"/account",
		access.Technician,
	).body; !strings.Contains(page, "This address is 127.0.0.1.") ||
		strings.Contains(page, "Add a passkey") {
		t.Errorf("the account by an IP address:\n%s", page)
	}
	for path, role := range map[string]access.Role{
		"/sign-in/passkey/question": nobody, "/sign-in/passkey": nobody, "/unlock/passkey/question": locked,
		"/account/passkeys": access.Technician,
	} {
		if a := number.ask(http.MethodPost, path, role); a.status != http.StatusNotFound || a.header.Get("Content-Type") != "application/json" {
			t.Errorf("%s by an IP address: status %d", path, a.status)
		}
	}
}

// The cookie that ties an answer to its question is out of reach of scripts and of other sites.
func TestQuestionCookie(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	for base, want := range map[string]string{
		"https://test.example": "__Host-rinsate-passkey=; Path=/; HttpOnly; Secure; SameSite=Strict",
		"http://localhost":     "rinsate-passkey=; Path=/; HttpOnly; SameSite=Strict",
	} {
		b := newSite(t, storetest.NewClock(), base)
		a := b.ask(http.MethodPost, "/sign-in/passkey/question", nobody)
		cookie := a.header.Get("Set-Cookie")
		name, rest, _ := strings.Cut(cookie, "=")
		token, attributes, _ := strings.Cut(rest, ";")
		if got := name + "=;" + attributes; a.status != http.StatusOK || got != want || len(token) != 43 {
			t.Errorf("%s: status %d, cookie %q, want %q with 43 characters", base, a.status, cookie, want)
		}
	}
}

// post sends a form.
func (b *site) post(path string, role access.Role, form url.Values) answer {
	b.Helper()
	return b.ask(http.MethodPost, path, role, func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Body = io.NopCloser(strings.NewReader(form.Encode()))
	})
}

func TestAttemptsAreLogged(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	var log bytes.Buffer
	b.server.Log = slog.New(slog.NewTextHandler(&log, nil))
	b.session(access.Technician)
	code := codeOf(access.Technician)
	const wrong = "typed into the wrong field"
	attempt := func(want string, path string, role access.Role, form url.Values) {
		t.Helper()
		log.Reset()
		b.post(path, role, form)
		_, line, _ := strings.Cut(strings.TrimSpace(log.String()), " ") // the time
		if line != want {
			t.Errorf("%s: logged\n%s\nwant\n%s", path, line, want)
		}
		if strings.Contains(log.String(), "typed") || strings.Contains(log.String(), password) {
			t.Errorf("%s: what was typed is in the log:\n%s", path, log.String())
		}
	}
	in := func(way, code string) string {
		return fmt.Sprintf(`level=INFO msg="somebody has shown who they are" way=%s code=%s address=192.0.2.1`, way, code)
	}
	const from = " address=192.0.2.1" // httptest's
	attempt(in("password", code), "/sign-in", nobody, url.Values{"code": {" " + code}, "password": {password}})
	attempt(`level=WARN msg="an attempt has failed" way=password code=""`+from, "/sign-in", nobody, url.Values{"code": {wrong}, "password": {wrong}})
	attempt(`level=WARN msg="an attempt too early" way=password code=""`+from+" wait=1s", "/sign-in", nobody, url.Values{"code": {wrong}, "password": {wrong}})
	attempt(`level=WARN msg="an attempt has failed" way=badge code=""`+from, "/switch", nobody, url.Values{"badge": {wrong}, "pin": {"4071"}})
	attempt(
		`level=WARN msg="an attempt has failed" way="one-time code" code=""`+from,
		"/first-sign-in",
		nobody,
		url.Values{"code": {"X-9"}, "once": {wrong}, "password": {password}, "again": {password}},
	)
	attempt(
		`level=WARN msg="an attempt has failed" way="PIN changed" code=`+code+from,
		"/account",
		access.Technician,
		url.Values{"change": {"pin"}, "old": {wrong}, "pin": {"40711"}},
	)
	b.clock.Move(time.Minute)
	attempt(
		`level=WARN msg="an attempt has failed" way="password changed" code=`+code+from,
		"/password",
		access.Technician,
		url.Values{"old": {wrong}, "password": {"another typed one, long"}, "again": {"another typed one, long"}},
	)
	b.session(locked)
	attempt(`level=WARN msg="an attempt has failed" way=unlock code=R-locked`+from, "/unlock", locked, url.Values{"secret": {wrong}})
	b.clock.Move(time.Minute)
	attempt(in("unlock", "R-locked"), "/unlock", locked, url.Values{"secret": {password}})
	for range access.MostFailures - 1 {
		b.clock.Move(time.Minute)
		b.post("/sign-in", nobody, url.Values{"code": {code}, "password": {wrong}})
	}
	b.clock.Move(time.Minute)
	attempt(
		`level=WARN msg="an attempt at an account that is closed" way=password code=""`+from+" pin_only=false",
		"/sign-in",
		nobody,
		url.Values{"code": {code}, "password": {password}},
	)

	log.Reset()
	b.ask(http.MethodPost, "/sign-in/passkey", nobody) // no question was asked: nothing was tried
	if log.Len() != 0 {
		t.Errorf("logged: %s", log.String())
	}
}

func TestNobodyGivesRolesToThemselves(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "https://test.example")
	b.session(access.Technician)
	own, theirs := codeOf(access.Administrator), codeOf(access.Technician)
	roles := func(code string) []access.Role {
		t.Helper()
		var roles []access.Role
		if err := b.desk.View(t.Context(), func(v desk.View) error {
			a, err := v.People().Account(code)
			roles = a.Roles
			return err
		}); err != nil {
			t.Fatal(err)
		}
		return roles
	}
	page := b.ask(http.MethodGet, "/people", access.Administrator).body
	if !strings.Contains(page, "These are your own") || strings.Count(page, "These are your own") != 1 {
		t.Errorf("the page does not say so once:\n%s", page)
	}
	all := url.Values{"change": {"roles"}, "role": {string(access.Administrator), string(access.Lead)}}
	for _, code := range []string{own, strings.ToUpper(own), " " + own} {
		all.Set("code", code)
		if a := b.post(
			"/people",
			access.Administrator,
			all,
		); a.status != http.StatusForbidden ||
			!strings.Contains(a.body, "Nobody gives roles to themselves.") {
			t.Errorf("%q: status %d", code, a.status)
		}
	}
	if got := roles(own); !slices.Equal(got, []access.Role{access.Administrator}) {
		t.Errorf("the roles are %v now", got)
	}
	all.Set("code", theirs)
	if a := b.post("/people", access.Administrator, all); a.status != http.StatusOK {
		t.Errorf("somebody else's: status %d", a.status)
	}
	if got := roles(theirs); len(got) != 2 {
		t.Errorf("the roles of the other are %v", got)
	}
}
