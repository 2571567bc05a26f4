package web

import (
	"flag"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/domain/access"
	"rinsate/internal/store/storetest"
)

var update = flag.Bool("update", false, "write the golden files anew")

// changing is what differs from run to run: record ids and the hashes in file names.
var changing = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f]{4}-[78][0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}|-[0-9a-f]{12}(\.css|\.js|\.svg)`)

// The pieces that people see most, as they are sent.
func TestGoldenPages(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, page := range []struct {
		name, path string
		role       access.Role
	}{
		{"answer-ready", "/ready/" + readyScope, nobody},
		{"answer-on-hold", "/ready/" + heldScope, nobody},
		{"answer-not-known", "/ready/none", nobody},
		{"sign-in", "/sign-in", nobody},
		{"wall", "/today?wall", access.Lead},
	} {
		text := changing.ReplaceAllString(b.ask(http.MethodGet, page.path, page.role).body, "…$1")
		path := filepath.Join("testdata", "golden", page.name+".html")
		if *update {
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(text, "\n")); diff != "" {
			t.Errorf("%s (-want +got); write them anew with -update:\n%s", page.name, diff)
		}
	}
}
