package scope_test

import (
	"strings"
	"testing"
	"time"

	"rinsate/internal/base/unit"
	"rinsate/internal/domain/scope"
)

// A text that was scanned means every scope that it may stand for: only a barcode label moves from one that has left.
func TestWhichScope(t *testing.T) {
	t.Parallel()
	now := unit.At(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC))
	fleet := []scope.Instrument{
		{Tag: "D-01", Serial: "X1", Barcode: "(01)a"},
		{Tag: "D-02", Serial: "x1"},
		{Tag: "D-03", Serial: "X3", Barcode: "D-02"},
		{Tag: "D-04", Serial: "X4", Barcode: "label", Retired: now},
		{Tag: "D-05", Serial: "X5", Barcode: "label"},
		{Tag: "D-06", Serial: "X5", Retired: now - 1},
		{Tag: "D-07", Barcode: "old", Retired: now},
		{Tag: "D-08", Barcode: "(01)A"},
		{Tag: "D-09", Barcode: "later", Retired: now + 1},
		{Tag: "D-10", Barcode: "later"},
	}
	for text, want := range map[string]string{
		"D-01": "D-01", " d-01 ": "D-01", "X1": "D-01 D-02", "D-02": "D-02 D-03", "d-02": "D-02", "x3": "D-03", "label": "D-05", "LABEL": "",
		"X4": "D-04", "X5": "D-05 D-06", "old": "D-07", "(01)a": "D-01", "(01)A": "D-08", "later": "D-09 D-10", "": "", " ": "", "X": "",
	} {
		var got []string
		for _, i := range scope.Which(fleet, text, now) {
			got = append(got, i.Tag)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
	for _, test := range []struct {
		a, b int
		want string
	}{
		{0, 1, "X1"}, {1, 2, "D-02"}, {2, 1, "D-02"}, {3, 4, ""}, {4, 5, "X5"}, {0, 7, ""}, {0, 2, ""}, {8, 9, "later"},
	} {
		if got := fleet[test.a].Shares(fleet[test.b], now); !strings.EqualFold(got, test.want) {
			t.Errorf("%s and %s share %q, want %q", fleet[test.a].Tag, fleet[test.b].Tag, got, test.want)
		}
	}
}
