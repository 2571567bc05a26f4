package list_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/charmbracelet/x/ansi"

	"rinsate/internal/present/list"
)

// widest is how many places the longest line takes.
func widest(lines []string) (most int) {
	for _, l := range lines {
		most = max(most, ansi.StringWidth(l))
	}
	return most
}

func TestWideColumnsAreWrapped(t *testing.T) {
	t.Parallel()
	header := []string{"scope", "because"}
	long := strings.TrimSpace(strings.Repeat("a long reason ", 10))
	rows := [][]string{{"D-01", long}, {"G-02", "short"}}
	got := list.Terminal(header, rows, 60)
	if w := widest(got); w > 60 {
		t.Errorf("%d places:\n%s", w, strings.Join(got, "\n"))
	}
	if words := strings.Join(strings.Fields(strings.Join(got[2:len(got)-1], " ")), " "); words != "D-01 "+long {
		t.Errorf("words were lost: %q", words)
	}
	if rows[0][1] != long {
		t.Error("the caller's rows were changed")
	}
	for _, width := range []int{0, 500} {
		if same := list.Terminal(header, rows, width); len(same) != 4 {
			t.Errorf("a table that fits into %d was changed: %q", width, same)
		}
	}
	// Two wide columns share the room, and none becomes unreadable.
	both := list.Terminal([]string{"n", "one", "other"}, [][]string{{"1", long, long}}, 80)
	if w := widest(both); w > 80 {
		t.Errorf("%d places:\n%s", w, strings.Join(both, "\n"))
	}
	if !slices.ContainsFunc(list.Terminal([]string{"one", "other"}, [][]string{{long, long}}, 10), func(l string) bool { return ansi.StringWidth(l) > 20 }) {
		t.Error("columns are narrower than anybody can read")
	}
}

func TestTableInColumns(t *testing.T) {
	t.Parallel()
	got := strings.Join(list.Terminal([]string{"scope", "why", "n"}, [][]string{{"D-01", "two\nlines", "1"}, {"日本", "", "22"}}, 0), "\n")
	const want = "scope  why    n\n" +
		"──────────────────\n" +
		"D-01   two    1\n" +
		"       lines\n" +
		"日本          22"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
