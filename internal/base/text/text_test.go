package text_test

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"

	"rinsate/internal/base/text"
)

func TestVisible(t *testing.T) {
	t.Parallel()
	tests := []struct{ name, text, want string }{
		{"plain", "D-01 ready", "D-01 ready"},
		{"other scripts", "Überprüft 検査済み 😀", "Überprüft 検査済み 😀"},
		{"lines and tabs", "a\n\tb\r\nc", "a\n\tb\r\nc"},
		{"clear the screen", "\x1b[2JREADY", `\u001b[2JREADY`},
		{"nul", "a\x00b", `a\u0000b`},
		{"carriage return alone", "on hold\rready  ", `on hold\u000dready  `},
		{"delete", "a\x7f", `a\u007f`},
		{"C1", "a\u009b2J", `a\u009b2J`},
		{"turned around", "a\u202ecba", `a\u202ecba`},
		{"not UTF-8", "a\xffb", "a\ufffdb"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			if got := text.Visible(test.text); got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

func TestLine(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{
		"plain Łódź 日本 ✓":              "plain Łódź 日本 ✓",
		"\x1b[2J\x1b[HREADY":           `\u001b[2J\u001b[HREADY`,
		"two\nlines\r\nthree":          "two lines three",
		"bare\rreturn, tab\t, nul\x00": `bare\u000dreturn, tab , nul\u0000`,
		"C1 \u009b31m, DEL \x7f":       `C1 \u009b31m, DEL \u007f`,
		"turned \u202egnp.exe \u2066":  `turned \u202egnp.exe \u2066`,
		"marks \u200e\u200f\u061c":     `marks \u200e\u200f\u061c`,
		"lines \u2028\u2029":           `lines \u2028\u2029`,
		"no text \x9b\xef":             "no text \uFFFD\uFFFD",
		"kept \uFFFD":                  "kept \uFFFD",
	} {
		if got := text.Line(s); got != want {
			t.Errorf("%q is shown as %q, want %q", s, got, want)
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
		s := hostile.Draw(t, "s")
		if shown := text.Line(s); strings.ContainsFunc(shown, acting) || !utf8.ValidString(shown) {
			t.Fatalf("%q is shown as %q", s, shown)
		}
		// Cut anywhere, a screen prints the same.
		var b strings.Builder
		w := text.NewWriter(&b)
		cut := rapid.IntRange(0, len(s)).Draw(t, "cut")
		for _, part := range []string{s[:cut], s[cut:], "."} {
			if n, err := w.Write([]byte(part)); err != nil || n != len(part) {
				t.Fatal(n, err)
			}
		}
		printed := b.String()
		if strings.ContainsFunc(strings.NewReplacer("\r\n", "", "\n", "", "\t", "").Replace(printed), acting) {
			t.Fatalf("%q is printed as %q", s, printed)
		}
		if !strings.ContainsFunc(s, acting) && printed != s+"." {
			t.Fatalf("%q is printed as %q", s, printed)
		}
	})
}

// A JSON document says the same after it was made visible.
func TestVisibleJSON(t *testing.T) {
	t.Parallel()
	const hostile = "a\x1b\u009b\u202e\u2066\x00b"
	document, err := json.Marshal(hostile)
	if err != nil {
		t.Fatal(err)
	}
	var got string
	if err := json.Unmarshal([]byte(text.Visible(string(document))), &got); err != nil || got != hostile {
		t.Errorf("got %q, %v", got, err)
	}
}

// However a text is cut into pieces, what comes out is what Visible makes of the whole, but for the
// beginning of a character that never ended.
func FuzzWriter(f *testing.F) {
	f.Add("Überprüft\r\n\x1b[2J 検\u202e", 3)
	f.Add("a\xff\xe6\xa4", 1)
	f.Add("😀\r", 2)
	f.Fuzz(func(t *testing.T, s string, cut int) {
		var b strings.Builder
		w := text.NewWriter(&b)
		size := max(1, cut%7)
		for rest := s; rest != ""; {
			n := min(size, len(rest))
			if wrote, err := w.Write([]byte(rest[:n])); wrote != n || err != nil {
				t.Fatalf("wrote %d of %d: %v", wrote, n, err)
			}
			rest = rest[n:]
		}
		got := b.String()
		if !utf8.ValidString(got) || strings.ContainsFunc(got, func(r rune) bool {
			return r != '\n' && r != '\t' && r != '\r' && (text.Control(r) || text.Turns(r))
		}) {
			t.Errorf("%q came through as %q", s, got)
		}
		if utf8.ValidString(s) && !strings.HasSuffix(s, "\r") && got != text.Visible(s) {
			t.Errorf("in pieces of %d: %q, whole: %q", size, got, text.Visible(s))
		}
	})
}
