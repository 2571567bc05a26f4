//go:build dev

package web

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

// A template that changes is seen by the next request, one that is broken says so, and whoever has signed in
// stays so.
func TestDevelopmentReadsAnew(t *testing.T) {
	copied := filepath.Join(t.TempDir(), "web")
	if err := os.CopyFS(copied, os.DirFS(sourceFolder)); err != nil {
		t.Fatal(err)
	}
	original := sourceFolder
	sourceFolder = copied
	t.Cleanup(func() { sourceFolder = original })
	b := newSite(t, storetest.NewClock(), "https://test.example")
	name := filepath.Join(copied, "templates", "scopes.html")
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	pages := b.server.Handler()
	write := func(content string, at time.Time) {
		t.Helper()
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(name, at, at); err != nil {
			t.Fatal(err)
		}
	}
	get := func() (int, string) {
		t.Helper()
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "https://test.example/scopes", nil)
		r.AddCookie(&http.Cookie{Name: b.server.CookieName(), Value: b.session(access.Lead)})
		w := httptest.NewRecorder()
		pages.ServeHTTP(w, r)
		return w.Code, w.Body.String()
	}
	later := time.Date(2100, 1, 1, 0, 0, 0, 0, time.UTC)
	if status, page := get(); status != http.StatusOK || strings.Contains(page, "quite new") {
		t.Fatalf("%d %s", status, page)
	}
	write(strings.Replace(string(text), `{{define "main"}}`, `{{define "main"}}<p>quite new</p>`, 1), later)
	if status, page := get(); status != http.StatusOK || !strings.Contains(page, "quite new") {
		t.Errorf("the page is not read anew: %d %s", status, page)
	}
	write("{{define", later.Add(time.Second))
	if status, page := get(); status != http.StatusInternalServerError || !strings.Contains(page, "scopes") {
		t.Errorf("a broken template answers %d %s", status, page)
	}
	write(string(text), later.Add(2*time.Second))
	if status, _ := get(); status != http.StatusOK {
		t.Errorf("a template that was put right answers %d", status)
	}
}
