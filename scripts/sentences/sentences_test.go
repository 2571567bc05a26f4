package main

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"
)

//go:generate sh -c "cd ../.. && go run ./scripts/sentences > docs/sentences.txt"

func TestFileIsOfTheCode(t *testing.T) {
	var want bytes.Buffer
	if err := write(&want, "../.."); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("../../docs/sentences.txt")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want.Bytes()) {
		t.Error("docs/sentences.txt is not what the program says: write it anew with go generate ./scripts/sentences, and read what has changed")
	}
}

// ours are words that the trade does not use, or uses for something else: what stands in their place, and the
// phrases in which they mean something else.
var ours = []struct {
	words, instead string
	but            []string
}{
	{`turnarounds?`, "reprocessing cycle", nil},
	{`rounds?`, "cleaning verification", nil},
	{`attempts?`, "first test, re-test", []string{
		"failed attempts", "too many attempts", "an attempt at an account", "an attempt has failed",
		"an attempt too early",
	}},
	{`gates?`, "release check", nil},
	{`held`, "on hold", []string{"held against", "held until then"}},
	{`in work`, "in reprocessing", nil},
	{`pre-?clean(ed|ing)?`, "point-of-use treatment", nil},
	{`agents?`, "disinfectant", nil},
	{`machines?`, "reprocessor", nil},
	{`streams?`, "series", nil},
	{`alarms?`, "signal", nil},
	{`events?`, "what happened; adverse event", []string{"adverse event", "event: hello", "event: recorded"}},
	{`scatters?`, "variation", nil},
	{`draws?|redraw|redrawn`, "random selection", []string{"draw the picture", "draw a brush"}},
}

func TestWordsOfTheTrade(t *testing.T) {
	all, err := collect("../..")
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 4000 {
		t.Fatalf("only %d texts were found", len(all))
	}
	for _, o := range ours {
		word := regexp.MustCompile(`(?i)(^|[^\p{L}\d_/.-])(` + o.words + `)($|[^\p{L}\d_/-])`)
		for _, s := range all {
			text := strings.ToLower(s.text)
			for _, b := range o.but {
				text = strings.ReplaceAll(text, b, "")
			}
			if word.MatchString(text) {
				t.Errorf("%s: %q: say %s", s.file, s.text, o.instead)
			}
		}
	}
}

func TestTextsOfGo(t *testing.T) {
	got, err := fromGo("x.go", "package x\n\nimport \"one two\"\n\nvar a = \"SELECT code FROM site\"\n\ntype b struct { C int `json:\"two words\"` }\n\n"+
		"var d = regexp.MustCompile(\"two words\")\n\nvar e = \"the scope %s is on hold\"\nvar f, g, h = \"Recall\", \"recall\", \"x y\"\n")
	if want := []string{"the scope %s is on hold", "Recall"}; err != nil || strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, %v", got, err)
	}
}

func TestTextsOfAPage(t *testing.T) {
	got, err := fromPage("", `{{/* a remark */}}<p class="two words" title="Say why">`+
		`Scope <b>{{.Tag}}</b> is on hold</p><p>{{if .X}}Yes{{end}}</p>{{template "a b"}}{{say "two words"}}`)
	want := []string{"two words", "Say why", "Scope … is on hold", "…Yes…"}
	if err != nil || strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, %v", got, err)
	}
}

func TestTextsOfAScript(t *testing.T) {
	got, err := fromScript("", "// a remark\nconst a = \"use strict\"; say(`${tag} is on hold`); b(\"one\") /* two words */\n")
	if want := []string{"use strict", "… is on hold"}; err != nil || strings.Join(got, "|") != strings.Join(want, "|") {
		t.Errorf("%q, %v", got, err)
	}
}
