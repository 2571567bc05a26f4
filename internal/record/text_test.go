package record

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/text"
	"rinsate/internal/domain/dossier"
	"rinsate/internal/domain/reprocessing"
)

func TestTexts(t *testing.T) {
	t.Parallel()
	step := func(note string) reprocessing.Step {
		return reprocessing.Step{Scope: "D-01", Kind: reprocessing.LeakTest, Start: exampleAt, Note: note}
	}
	tests := []struct {
		name               string
		kind               Kind
		body               any
		by, device, reason string
		want               string // empty: accepted
	}{
		{"plain", Step, step("dry"), "T-01", "bench 1", "typed wrong", ""},
		{"other scripts", Step, step("Überprüft, 検査済み, проверено 😀"), "T-01", "", "", ""},
		{"a note may have lines", Step, step("first\n\tsecond"), "T-01", "", "", ""},
		{"as long as may be", Step, step(strings.Repeat("ä", MaxText)), "T-01", "", "", ""},
		{"one more", Step, step(strings.Repeat("ä", MaxText+1)), "T-01", "", "", `step: the field "note" has 2001 characters, 2000 at most are possible`},
		{
			"a procedure has one line", Use,
			reprocessing.Use{Scope: "D-01", Procedure: "ERCP\n"},
			"T-01", "", "",
			`use: the field "procedure" has several lines, only one is possible`,
		},
		{"nul", Step, step("a\x00b"), "T-01", "", "", `step: the field "note" holds the control character U+0000`},
		{"escape", Step, step("\x1b[2JREADY"), "T-01", "", "", `step: the field "note" holds the control character U+001B`},
		{"carriage return", Step, step("a\r\nb"), "T-01", "", "", `step: the field "note" holds the control character U+000D`},
		{"delete", Step, step("a\x7f"), "T-01", "", "", `step: the field "note" holds the control character U+007F`},
		{"C1", Step, step("a\u009b2J"), "T-01", "", "", `step: the field "note" holds the control character U+009B`},
		{"turned around", Step, step("a\u202eb"), "T-01", "", "", `step: the field "note" holds U+202E, which turns the direction of writing`},
		{"isolated", Step, step("a\u2066b"), "T-01", "", "", `step: the field "note" holds U+2066, which turns the direction of writing`},
		{"mark of direction", Step, step("a\u200fb"), "T-01", "", "", `step: the field "note" holds U+200F, which turns the direction of writing`},
		{"blank", Step, step("  "), "T-01", "", "", `step: the field "note" is blank`},
		{"blank to the eye", Step, step("\u200b\u3000"), "T-01", "", "", `step: the field "note" is blank`},
		{"a joiner in a free text", Step, step("می\u200cخواهم"), "T-01", "", "", ""},
		{"blank by", Step, step(""), "  ", "", "", "step: the person is blank"},
		{"blank reason", Void, VoidBody{}, "T-01", "", " ", "void: the reason is blank"},
		{"a code like another", Person, PersonBody{Code: "L-01\u200b"}, "L-01", "", "", `person: the field "code" holds U+200B, which nobody sees`},
		{"by like another", Step, step(""), "T-01\ufe0f", "", "", "step: the person holds U+FE0F, which nobody sees"},
		{"not UTF-8", Step, step("a\xffb"), "T-01", "", "", `step: the field "note" holds U+FFFD, which stands for a character that was lost`},
		{"by", Step, step(""), "T\x01", "", "", "step: the person holds the control character U+0001"},
		{"device", Step, step(""), "T-01", "a\xff", "", "step: the device is not UTF-8"},
		{"reason", Void, VoidBody{}, "T-01", "", "a\nb", "void: the reason has several lines, only one is possible"},
		{
			"in a list", Handover,
			dossier.Handover{Text: "a", Scopes: []string{"D-01", "\x07"}},
			"T-01", "", "",
			`handover: the field "scope" holds the control character U+0007`,
		},
		{
			"inside another", Reading,
			map[string]any{"value": map[string]any{"typed": "4\x00"}},
			"T-01", "", "",
			`reading: the field "value as it was typed" holds the control character U+0000`,
		},
		{"name of a field", Step, map[string]any{"a\x00": "b"}, "T-01", "", "", "step: the name of a field holds the control character U+0000"},
		{"a rule set is a file", Rules, RulesBody{Text: strings.Repeat("name: x\r\n", 1000)}, "T-01", "", "", ""},
		{"with what a file has not", Rules, RulesBody{Text: "name: \x1b"}, "T-01", "", "", `rules: the field "text" holds the control character U+001B`},
		{"a line that breaks unseen", Step, map[string]any{"note": "dry\u2028wet"}, "T-01", "", "", `step: the field "note" holds U+2028, which breaks lines unseen`},
		{"a hidden text", Step, map[string]any{"note": "dry\U000E0041"}, "T-01", "", "", `step: the field "note" holds U+E0041, which nobody sees`},
		{"no width", Step, map[string]any{"note": "d\u200bry"}, "T-01", "", "", `step: the field "note" holds U+200B, which nobody sees`},
		{"in a reason", Step, map[string]any{"note": "dry"}, "T-01", "", "a\u2060b", "step: the reason holds U+2060, which nobody sees"},
		{"joiners that a script needs", Step, map[string]any{"note": "\u0645\u06cc\u200c\u062e \u0915\u094d\u200d\u0937 \u2764\ufe0f"}, "T-01", "", "", ""},
		{"why a level", Level, map[string]any{"derivation": map[string]any{"note": "a\nb"}}, "L-01", "", "", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			body, err := json.Marshal(test.body)
			if err != nil {
				t.Fatal(err)
			}
			got := ""
			if err := CheckText(test.kind, body, test.by, test.device, test.reason); err != nil {
				got, _, _ = strings.Cut(err.Error(), "\nhint: ")
				if fault.CodeOf(err) != fault.Invalid {
					t.Errorf("code %q", fault.CodeOf(err))
				}
			}
			if got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

// Whatever passes is UTF-8 without a character that a terminal or a program obeys.
func FuzzTextBoundary(f *testing.F) {
	for _, seed := range []string{
		"dry", "a\x00b", "\x1b[2JREADY", "a\u202eb", "a\u009b", "\xff", "<script>&", "a\nb\tc", " ", "a\u200db", "\u0600", strings.Repeat("x", MaxText+1),
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, typed string) {
		body, err := json.Marshal(reprocessing.Step{Scope: typed, Note: typed})
		if err != nil {
			t.Skip()
		}
		passed := CheckText(Step, body, typed, typed, typed) == nil
		harmful := !utf8.ValidString(typed) || utf8.RuneCountInString(typed) > MaxText || strings.ContainsFunc(typed, func(r rune) bool {
			return r < ' ' || r >= 0x7f && r <= 0x9f || strings.ContainsRune("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufffd", r) ||
				text.Breaks(r) || text.Hides(r) || text.Unseen(r) // it stands for codes as well
		}) || text.Blank(typed)
		if passed == harmful {
			t.Errorf("%q: passed %t, harmful %t", typed, passed, harmful)
		}
		// The body alone is judged like the envelope, but that its note may have lines and tabs.
		inBody := CheckText(Step, body, "", "", "") == nil
		if inBody && harmful {
			t.Errorf("%q passed in the body", typed)
		}
	})
}
