package chart_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

func TestSpread(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		wanted []float64
		gap    float64
		want   []float64
	}{
		{"far apart, unmoved", []float64{10, 50}, 10, []float64{10, 50}},
		{"two at one place go to both sides", []float64{50, 50}, 10, []float64{45, 55}},
		{"order given is kept", []float64{52, 50}, 10, []float64{56, 46}},
		{"a chain shares its mean", []float64{50, 51, 52}, 10, []float64{41, 51, 61}},
		{"the ends hold", []float64{0, 1, 99}, 10, []float64{0, 10, 99}},
		{"the last that has no room is dropped", []float64{1, 2, 3, 4}, 40, []float64{0, 40, 80, nan}},
		{"none", nil, 10, []float64{}},
	}
	for _, test := range tests {
		got := chart.Spread(test.wanted, test.gap, 0, 100)
		same := len(got) == len(test.want)
		for i := range got {
			same = same && (math.Abs(got[i]-test.want[i]) < 1e-9 || (math.IsNaN(got[i]) && math.IsNaN(test.want[i])))
		}
		if !same {
			t.Errorf("%s: %v, want %v", test.reason, got, test.want)
		}
	}
}

func TestSpreadHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		wanted := rapid.SliceOfN(rapid.Float64Range(-50, 250), 0, 30).Draw(t, "wanted")
		gap := rapid.Float64Range(5, 40).Draw(t, "gap")
		before := slices.Clone(wanted)
		got := slices.DeleteFunc(chart.Spread(wanted, gap, 0, 200), math.IsNaN)
		if !slices.Equal(wanted, before) {
			t.Fatal("the argument was changed")
		}
		if want := min(len(wanted), int(200/gap)+1); len(got) != want {
			t.Fatalf("%d placed, want %d", len(got), want)
		}
		slices.Sort(got)
		for i, v := range got {
			if v < -1e-9 || v > 200+1e-9 || (i > 0 && v-got[i-1] < gap-1e-9) {
				t.Fatalf("%v with gap %g", got, gap)
			}
		}
	})
}

// No two texts of a row touch, every row up to the count is used.
func TestArrangeHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var items []chart.RowItem
		for range rapid.IntRange(0, 12).Draw(t, "items") {
			x, w := rapid.Float64Range(0, 500).Draw(t, "x"), rapid.Float64Range(5, 200).Draw(t, "width")
			it := chart.RowItem{From: x, To: x + w, Stem: x, Stemmed: rapid.Bool().Draw(t, "stemmed")}
			if it.Leftward = rapid.Bool().Draw(t, "leftward"); it.Leftward {
				it.From, it.To = x-w, x
			}
			items = append(items, it)
		}
		slices.SortStableFunc(items, func(a, b chart.RowItem) int { return int(math.Copysign(1, a.Stem-b.Stem)) })
		rows, count := chart.Arrange(items)
		used := map[int]bool{}
		for i, a := range items {
			used[rows[i]] = true
			for j, b := range items[i+1:] {
				if rows[i] == rows[i+1+j] && a.From < b.To && b.From < a.To {
					t.Fatalf("%v and %v share row %d", a, b, rows[i])
				}
			}
		}
		if len(used) != count {
			t.Fatalf("rows %v, count %d", rows, count)
		}
	})
}

// The lines of texts that stand right of them never cut another text.
func TestArrangeKeepsLinesClear(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		var items []chart.RowItem
		x := 0.0
		for range rapid.IntRange(1, 10).Draw(t, "items") {
			x += rapid.Float64Range(5, 80).Draw(t, "step")
			items = append(items, chart.RowItem{From: x, To: x + rapid.Float64Range(5, 200).Draw(t, "width"), Stem: x, Stemmed: true})
		}
		rows, _ := chart.Arrange(items)
		for i, a := range items {
			for j, b := range items {
				if rows[i] > rows[j] && a.Stem > b.From && a.Stem < b.To {
					t.Fatalf("the line at %g in row %d cuts %v in row %d", a.Stem, rows[i], b, rows[j])
				}
			}
		}
	})
}

func TestFit(t *testing.T) {
	t.Parallel()
	long := "replacement of the distal end"
	tests := []struct {
		reason, text string
		width        float64
		want         string
	}{
		{"room enough", long, 500, long},
		{"cut at a word's end without the space", long, chart.TextWidth("replacement …", 11, false), "replacement…"},
		{"no room for one character", long, 12, ""},
		{"no room at all", long, -5, ""},
		{"nothing", "", 100, ""},
		{"trimmed", "  a\tb\n", 100, "a b"},
	}
	for _, test := range tests {
		if got := chart.Fit(test.text, 11, false, test.width); got != test.want {
			t.Errorf("%s: %q, want %q", test.reason, got, test.want)
		}
	}
}

func TestFitAndWrapHold(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text")
		width := rapid.Float64Range(0, 400).Draw(t, "width")
		cut := chart.Fit(text, 11, false, width)
		if chart.TextWidth(cut, 11, false) > width && cut != "" {
			t.Fatalf("%q takes more than %g", cut, width)
		}
		lines := chart.Wrap(text, 11, width, 3)
		if len(lines) > 3 {
			t.Fatalf("%d lines", len(lines))
		}
		for _, l := range lines {
			if chart.TextWidth(l, 11, false) > width && l != "" {
				t.Fatalf("%q takes more than %g", l, width)
			}
		}
	})
}

func TestWrap(t *testing.T) {
	t.Parallel()
	width := chart.TextWidth("one two three", 11, false) + 1
	tests := []struct {
		reason string
		text   string
		most   int
		want   string
	}{
		{"one line", "one two", 3, "one two"},
		{"two lines", "one two three four", 3, "one two three|four"},
		{"the last line is cut", "one two three four five six seven", 2, "one two three|four five six…"},
	}
	for _, test := range tests {
		if got := strings.Join(chart.Wrap(test.text, 11, width, test.most), "|"); got != test.want {
			t.Errorf("%s: %q, want %q", test.reason, got, test.want)
		}
	}
}

func TestCleanHolds(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		raw := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes"))
		got := chart.Clean(raw)
		if !utf8.ValidString(got) || strings.ContainsAny(got, "\x00\n\r\t\x1b\u202e\u2028\u2066\uffff") {
			t.Fatalf("%q", got)
		}
		if chart.Clean(got) != got {
			t.Fatalf("cleaned twice, %q changes", got)
		}
	})
	if got := chart.Clean("Łódź ≥ 2\u00a0µl ✓"); got != "Łódź ≥ 2\u00a0µl ✓" {
		t.Errorf("%q", got)
	}
}

// Font tables that are cut off anywhere give fewer characters and nothing worse.
func TestFontCutOff(t *testing.T) {
	t.Parallel()
	if _, ok := chart.FaceWidth(chart.Regular(), 'A'); !ok {
		t.Fatal("the whole font has no A")
	}
	for _, n := range []int{0, 1, 12, 100, 300, 5000, 100_000} {
		chart.FaceWidth(chart.Regular()[:n], 'A')
	}
	if _, ok := chart.FaceWidth(chart.Regular()[:100], 'A'); ok {
		t.Error("100 bytes of a font have an A")
	}
}
