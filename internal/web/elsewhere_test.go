package web

import (
	"net/http"
	"strings"
	"testing"

	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/policy"
	"rinsate/internal/store/storetest"
)

// keptElsewhere has leak tests kept in another record.
func keptElsewhere(b *site) {
	b.Helper()
	step := []string{"reprocessing", "steps", "leak-test"}
	change := func(key, value string) policy.Amendment {
		return policy.Amendment{Path: append(append([]string{}, step...), key), Value: value, Text: true}
	}
	text, err := policy.Amend(policy.Preset(), policy.Amendment{Path: []string{"edition"}, Value: "kept", Text: true},
		change("kept_in", "the log of the endoscopy floor"), change("kept_by", "L-01"), change("kept_review", "2026-12-31"))
	if err != nil {
		b.Fatal(err)
	}
	b.do("L-01", func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		r, _, err = w.SettingUp().AdoptRules(e, desk.Adoption{At: b.at(), Name: "kept.yaml", Text: text, Second: "L-02"})
		return r, err
	})
}

// Where leak tests are kept elsewhere no page says yes: nothing speaks against the scope here, and who releases it is named.
func TestReleasedElsewhere(t *testing.T) {
	t.Parallel()
	b := serve(t, storetest.NewClock())
	keptElsewhere(b)
	const line = "not checked here: leak test (kept elsewhere: the log of the endoscopy floor; to be reviewed by 2026-12-31)"
	for _, path := range []string{"/ready/" + readyScope, "/today", "/scopes/" + readyScope, "/scopes"} {
		who := access.Lead
		if strings.HasPrefix(path, "/ready") {
			who = nobody
		}
		got := b.ask(http.MethodGet, path, who)
		body := got.body
		if got.status != http.StatusOK || !strings.Contains(body, "nothing against it here") || strings.Contains(body, "ready for use</p>") {
			t.Errorf("%s: %d\n%s", path, got.status, body)
		}
		if strings.HasPrefix(path, "/ready") && (!strings.Contains(body, line) || !strings.Contains(body, "not released here") ||
			!strings.Contains(body, "the log of the endoscopy floor releases") || strings.Contains(body, `class="release ready"`)) {
			t.Errorf("%s says\n%s", path, body)
		}
	}
}

// The page as a browser shows it.
func TestReleasedElsewhereInTheBrowser(t *testing.T) {
	t.Parallel()
	needsBrowser(t)
	b := serve(t, storetest.NewClock())
	keptElsewhere(b)
	p := openPage(t, b.server.Base.String())
	p.open("/ready/" + readyScope)
	p.waitText(".state", "nothing against it here")
	p.inspect("released-elsewhere")
}
