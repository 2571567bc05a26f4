package list_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"

	"github.com/google/go-cmp/cmp"

	"rinsate/internal/present/list"
)

// acting are the characters that must not be left, by the tables of Unicode: controls but for line ends, and
// what turns the direction of writing.
func acting(r rune) bool {
	return unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Bidi_Control, r) || r == 0x2028 || r == 0x2029
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
