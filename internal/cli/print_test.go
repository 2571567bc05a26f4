package cli

import (
	"strings"
	"testing"

	"charm.land/lipgloss/v2"
)

func TestNarrowWrapsOnlyTheWidestColumn(t *testing.T) {
	header := []string{"scope", "because"}
	rows := [][]string{{"D-01", strings.Repeat("a long reason ", 10)}, {"G-02", "short"}}
	got := narrow(header, rows, 60)
	for _, row := range got {
		if w := lipgloss.Width(row[0]) + lipgloss.Width(row[1]) + 2*columnGap; w > 61 {
			t.Errorf("%d columns wide: %q", w, row)
		}
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
