package web

import (
	"compress/gzip"
	"io"
	"net/http"
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/domain/scope"
	"rinsate/internal/store/storetest"
)

func packed(accept string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set("Accept-Encoding", accept) }
}

func TestPackedAnswers(t *testing.T) {
	b := newSite(t, storetest.NewClock(), "https://test.example")
	for _, path := range []string{"/today", "/bench", "/bench/state", "/static/" + b.server.Assets.Names["app.css"]} {
		plain := b.ask(http.MethodGet, path, access.Lead)
		for accept, want := range map[string]string{"gzip": "gzip", "br, gzip;q=0.5": "gzip", "": "", "gzip;q=0": "", "br": ""} {
			a := b.ask(http.MethodGet, path, access.Lead, packed(accept))
			if got := a.header.Get("Content-Encoding"); got != want || a.header.Get("Vary") != "Accept-Encoding" {
				t.Errorf("%s for %q: encoded as %q, varies by %q", path, accept, got, a.header.Get("Vary"))
			}
			text := a.body
			if want != "" {
				r, err := gzip.NewReader(strings.NewReader(a.body))
				if err != nil {
					t.Fatal(err)
				}
				all, err := io.ReadAll(r)
				if err != nil {
					t.Fatal(err)
				}
				text = string(all)
			}
			if len(text) != len(plain.body) {
				t.Errorf("%s for %q: %d bytes, want %d", path, accept, len(text), len(plain.body))
			}
		}
	}
}

// The bench has to come quickly over a weak network.
func TestWeightOfTheBench(t *testing.T) {
	const most = 150_000
	b := newSite(t, storetest.NewClock(), "https://test.example")
	total := 0
	for _, path := range []string{"/bench", "/bench/state", "/bench/jobs/" + inWorkScope, "/bench/worker.js", "/bench/drawings/" + duodenoscope.Name + "/" +
		string(scope.OuterDistalEnd)} {
		total += len(b.ask(http.MethodGet, path, access.Technician, packed("gzip")).body)
	}
	for _, f := range b.server.Assets.ByHash {
		total += len(f.Packed)
	}
	t.Logf("%d bytes", total)
	if total > most {
		t.Errorf("the bench weighs %d bytes, at most %d are allowed", total, most)
	}
}
