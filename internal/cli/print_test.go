package cli

import (
	"strings"
	"testing"
)

func TestNarrowWrapsOnlyTheWidestColumn(t *testing.T) {
	header := []string{"scope", "because"}
	rows := [][]string{{"D-01", strings.Repeat("a long reason ", 10)}, {"G-02", "short"}}
	got := narrow(header, rows, 60)
	if w := widthsOf(header, got); w[0]+w[1]+2*columnGap > 60 {
		t.Errorf("columns of %d: %q", w, got)
	}
	if got[1][1] != "short" || got[0][0] != "D-01" {
		t.Errorf("cells changed that need not: %q", got)
	}
	if words := strings.Join(strings.Fields(got[0][1]), " "); words != strings.TrimSpace(rows[0][1]) {
		t.Errorf("words were lost: %q", words)
	}
	if same := narrow(header, rows, 500); same[0][1] != rows[0][1] {
		t.Error("a table that fits was changed")
	}
}

func TestTableInColumns(t *testing.T) {
	got := strings.Join(laid([]string{"scope", "why", "n"}, [][]string{{"D-01", "two\nlines", "1"}, {"日本", "", "22"}}), "\n")
	const want = "scope  why    n\n" +
		"──────────────────\n" +
		"D-01   two    1\n" +
		"       lines\n" +
		"日本          22"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
