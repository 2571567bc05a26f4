package record

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/ledger"
)

// What people type freely has a name that says so wherever it is; the exceptions say why they stay in the ledger.
func TestFreeTextsAreFree(t *testing.T) {
	t.Parallel()
	names := []string{"reason", "note", "text", "title", "words", "not_applicable", "fault", "work", "serviced", "file"}
	kept := map[string]string{
		"rules.text":     "the rule set as it was adopted, which must never go",
		"suspect.reason": "written by the program",
	}
	seen := 0
	for _, d := range All {
		for _, f := range d.Fields {
			if f.Free && (f.Facet != Unsought || f.Names != "" || f.Text == WholeFile) {
				t.Errorf("%s.%s is free and also found, named or a file", d.Kind, f.Name)
			}
			if f.Free && slices.Contains(append(strings.Fields(d.Key), d.Scope, d.Time, d.Word), f.Name) {
				t.Errorf("%s.%s is free and a part of where the record belongs", d.Kind, f.Name)
			}
			if !slices.Contains(names, f.Name[strings.LastIndexByte(f.Name, '.')+1:]) {
				continue
			}
			seen++
			if want := kept[string(d.Kind)+"."+f.Name] == ""; f.Free != want {
				t.Errorf("%s.%s: free %t, want %t", d.Kind, f.Name, f.Free, want)
			}
		}
	}
	if seen < 15 {
		t.Errorf("only %d fields were looked at", seen)
	}
}

// put sets a field of a body, and makes what it lies in where that is not there.
func put(body map[string]any, name, text string) {
	first, rest, deeper := strings.Cut(name, ".")
	key, list := strings.CutSuffix(first, "[]")
	if !deeper {
		body[key] = text
		return
	}
	inner, ok := body[key].(map[string]any)
	if items, isList := body[key].([]any); isList && len(items) > 0 {
		inner, ok = items[0].(map[string]any)
	}
	if !ok {
		inner = map[string]any{}
		body[key] = inner
		if list {
			body[key] = []any{map[string]any{}, inner}
		}
	}
	put(inner, rest, text)
}

// Of every kind all free texts, and nothing else, go into commitments and come back.
func TestFreeTextsOfEveryKind(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		for _, d := range All {
			r := made(t, d)
			r.Reason = rapid.StringOfN(rapid.RuneFrom([]rune("a<>&\"\\é€𝄞 sha256:0")), 1, 30, -1).Draw(rt, "reason")
			var body map[string]any
			decoder := json.NewDecoder(strings.NewReader(string(r.Body)))
			decoder.UseNumber()
			if err := decoder.Decode(&body); err != nil {
				rt.Fatal(err)
			}
			secrets := []string{}
			for i, f := range d.Fields {
				if f.Free {
					secret := rapid.StringMatching(`[A-Z][a-z"\\<]{0,20}`).Draw(rt, f.Name) + " §" + string(rune('a'+i))
					secrets = append(secrets, secret)
					put(body, f.Name, secret)
				}
			}
			raw, err := json.Marshal(body)
			if err != nil {
				rt.Fatal(err)
			}
			if r.Body, err = ledger.Canonical(raw); err != nil {
				rt.Fatal(err)
			}
			want, err := ledger.Encode(r)
			if err != nil {
				rt.Fatal(err)
			}
			texts := map[string]string{}
			leaf, err := WithFreeTexts(r, func(field, text string) string {
				texts[field] = text
				return ledger.CommitText(make([]byte, ledger.TextSaltSize), text)
			})
			if err != nil {
				rt.Fatal(err)
			}
			stored, err := ledger.Encode(leaf)
			if err != nil {
				rt.Fatal(err)
			}
			if len(texts) != len(secrets)+1 || strings.Contains(string(stored), "§") {
				rt.Fatalf("%s: %d texts of %d were taken out of %s", d.Kind, len(texts), len(secrets)+1, stored)
			}
			all, err := ledger.Commitments(stored)
			if err != nil || len(all) != len(texts) {
				rt.Fatalf("%s: %d commitments, %d texts (%v)", d.Kind, len(all), len(texts), err)
			}
			for _, c := range all {
				if !ledger.CheckText(c.Commitment, make([]byte, ledger.TextSaltSize), texts[c.Field]) {
					rt.Fatalf("%s: %s is not the commitment to %q", d.Kind, c.Field, texts[c.Field])
				}
			}
			back, err := leaf.WithTexts(func(field, _ string) string { return texts[field] })
			if err != nil {
				rt.Fatal(err)
			}
			if got, err := ledger.Encode(back); err != nil || string(got) != string(want) {
				rt.Fatalf("%s: came back as %s, want %s (%v)", d.Kind, got, want, err)
			}
			if _, err := Place(leaf); err != nil { // as a rebuild reads it
				rt.Fatalf("%s: %v", d.Kind, err)
			}
		}
	})
}
