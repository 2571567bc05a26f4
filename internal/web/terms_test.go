package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"

	"rinsate/internal/domain/access"
	"rinsate/internal/record"
	"rinsate/internal/store/storetest"
)

// Pages are in the terms that their site has chosen, and never in those of the other side.
func TestTermsOfTheSite(t *testing.T) {
	us := []string{"point-of-use treatment", "loaner", "reprocessing cycle"}
	uk := []string{"bedside clean", "loan scope", "decontamination cycle"}
	for terms, words := range map[record.Terms]struct{ ours, theirs []string }{record.TermsUS: {us, uk}, record.TermsUK: {uk, us}} {
		t.Run(string(terms), func(t *testing.T) {
			b := newSiteIn(t, storetest.NewClock(), "https://test.example", terms)
			// Addresses are nobody's words, a citation is quoted from the facility's rule set as it stands there, and
			// the glossary tells each word's other one.
			places := regexp.MustCompile(`(word|term)-[a-z-]+|/help/[a-z-]+|<span class="by">[^<]*</span>|Also [A-Za-z, -]+\.`)
			var all strings.Builder
			for _, path := range []string{
				"/", "/scopes", "/scopes/L%207%2F2", "/scopes/D-01", "/scopes/D-02", "/ready/D-02", "/ready/L%207%2F2", "/set-up/fleet", "/bench", "/records",
				"/records?format=csv",
				"/help", "/help/glossary", "/help/loan-scope", "/help/glossary?q=bedside+clean", "/help/glossary?q=point-of-use+treatment",
			} {
				a := b.ask(http.MethodGet, path, access.Lead)
				if a.status != http.StatusOK {
					t.Errorf("%s answers %d: %s", path, a.status, a.body)
				}
				text := strings.ToLower(places.ReplaceAllString(a.body, ""))
				for _, other := range words.theirs {
					if path == "/help/glossary?q="+strings.ReplaceAll(other, " ", "+") {
						continue // what was looked for stands in its field
					}
					if i := strings.Index(text, other); i >= 0 {
						t.Errorf("%s says %q: …%s…", path, other, text[max(0, i-80):min(len(text), i+80)])
					}
				}
				all.WriteString(text)
			}
			for _, own := range words.ours {
				if !strings.Contains(all.String(), own) {
					t.Errorf("no page says %q", own)
				}
			}
		})
	}
}
