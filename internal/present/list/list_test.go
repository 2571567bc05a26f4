package list_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"rinsate/internal/present/list"
)

func TestVisible(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"plain Łódź 日本 ✓":              "plain Łódź 日本 ✓",
		"\x1b[2J\x1b[HREADY":           `\u001b[2J\u001b[HREADY`,
		"two\nlines\r\nthree":          "two lines three",
		"bare\rreturn, tab\t, nul\x00": `bare\u000dreturn, tab\u0009, nul\u0000`,
		"C1 \u009b31m, DEL \x7f":       `C1 \u009b31m, DEL \u007f`,
		"turned \u202egnp.exe \u2066":  `turned \u202egnp.exe \u2066`,
		"marks \u200e\u200f\u061c":     `marks \u200e\u200f\u061c`,
		"lines \u2028\u2029":           `lines \u2028\u2029`,
		"no text \x9b\xef":             `no text \x9b\xef`,
		"kept \uFFFD":                  "kept \uFFFD",
	} {
		if got := list.Visible(text); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
	}
}

// acting are the characters that must not be left, by the tables of Unicode: controls, and what turns the
// direction of writing.
func acting(r rune) bool {
	return unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Bidi_Control, r) || r == 0x2028 || r == 0x2029
}

func TestNothingActs(t *testing.T) {
	t.Parallel()
	const known = "\x00\x07\b\t\n\r\x1b\x7f\u0085\u009b\u061c\u200e\u200f\u202e\u2066\u2069\u2028"
	hostile := rapid.StringOf(rapid.OneOf(rapid.Rune(), rapid.SampledFrom([]rune(known))))
	rapid.Check(t, func(t *rapid.T) {
		text := hostile.Draw(t, "text")
		if shown := list.Visible(text); strings.ContainsFunc(shown, acting) || !utf8.ValidString(shown) {
			t.Fatalf("%q is shown as %q", text, shown)
		}
		// Cut anywhere, a screen prints the same.
		var b strings.Builder
		s := list.NewScreen(&b)
		cut := rapid.IntRange(0, len(text)).Draw(t, "cut")
		for _, part := range []string{text[:cut], text[cut:], "."} {
			if n, err := s.Write([]byte(part)); err != nil || n != len(part) {
				t.Fatal(n, err)
			}
		}
		printed := b.String()
		if strings.ContainsFunc(strings.NewReplacer("\n", "", "\t", "").Replace(printed), acting) {
			t.Fatalf("%q is printed as %q", text, printed)
		}
		if !strings.ContainsFunc(text, acting) && printed != text+"." {
			t.Fatalf("%q is printed as %q", text, printed)
		}
	})
}

var columns = []list.Column{{Name: "scope"}, {Name: "RLU", Number: true}}

// written writes a list in a format.
func written(t *testing.T, f list.Format, rows [][]string) string {
	t.Helper()
	var b bytes.Buffer
	if err := list.Write(&b, f, "readings", columns, func(write func(...string) error) error {
		for _, r := range rows {
			if err := write(r...); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestOneListInEveryForm(t *testing.T) {
	t.Parallel()
	rows := [][]string{{"D-01", "120"}, {"=1+1\x1b[2J", "none"}, {"a,b\u202e", "-4.50"}}
	if got, want := written(t, list.CSV, rows), "\uFEFFscope,RLU\r\nD-01,120\r\n'=1+1\\u001b[2J,none\r\n\"a,b\\u202e\",-4.50\r\n"; got != want {
		t.Errorf("CSV\n%q\nwant\n%q", got, want)
	}
	text := written(t, list.JSON, rows)
	if strings.ContainsFunc(strings.ReplaceAll(text, "\n", ""), acting) {
		t.Errorf("JSON holds what acts: %q", text)
	}
	var got any
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err, text)
	}
	want := map[string]any{
		"name": "readings", "columns": []any{"scope", "RLU"},
		"rows": []any{[]any{"D-01", 120.}, []any{"=1+1\x1b[2J", "none"}, []any{"a,b\u202e", -4.5}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if got := written(t, list.JSON, nil); !json.Valid([]byte(got)) {
		t.Errorf("an empty list is %q", got)
	}
	lines := list.Terminal([]string{"scope", "RLU"}, rows, 0)
	if lines[3] != `=1+1\u001b[2J  none` || strings.ContainsFunc(strings.Join(lines, ""), acting) {
		t.Errorf("on a terminal %q", lines)
	}
	for _, f := range []list.Format{list.CSV, list.XLSX, list.JSON} {
		if f.MediaType() == "" {
			t.Errorf("%s has no type", f)
		}
		w, err := list.New(&bytes.Buffer{}, f, "a", columns)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.Write("one"); err == nil {
			t.Errorf("%s: a row of another length is written", f)
		}
	}
	if _, err := list.New(&bytes.Buffer{}, "pdf", "a", columns); err == nil {
		t.Error("any format is taken")
	}
}
