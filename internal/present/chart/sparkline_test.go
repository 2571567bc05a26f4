package chart_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

func TestSparkText(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		values []float64
		lo, hi float64
		want   string
	}{
		{"all blocks", []float64{0, 1, 2, 3, 4, 5, 6, 7}, 0, 7, "▁▂▃▄▅▆▇█"},
		{"a gap", []float64{0, nan, 7}, 0, 7, "▁ █"},
		{"beyond the range", []float64{-5, 20, math.Inf(1), math.Inf(-1)}, 0, 7, "▁██▁"},
		{"range from the values", []float64{10, 20, 30}, 0, 0, "▁▅█"},
		{"range that is no number", []float64{10, 30}, nan, 5, "▁█"},
		{"all equal", []float64{3, 3}, 0, 0, "▄▄"},
		{"only gaps", []float64{nan, nan}, 0, 0, "  "},
		{"none", nil, 0, 1, ""},
	}
	for _, test := range tests {
		if got := chart.SparkText(test.values, test.lo, test.hi); got != test.want {
			t.Errorf("%s: %q, want %q", test.reason, got, test.want)
		}
	}
}

func TestSparkline(t *testing.T) {
	t.Parallel()
	tests := []struct {
		reason string
		spark  chart.Spark
		title  string
		marks  int // circles
		lines  int
	}{
		// Two runs of values, one value alone between gaps, the last value marked.
		{"gaps", sparkline(), "Readings of C-07, last 1.7", 2, 2},
		{"one value", chart.Spark{Values: []float64{4}}, "values in order, last 4", 2, 0},
		{"none", chart.Spark{Title: "x"}, "x, no data", 0, 0},
		{"a gap at the end", chart.Spark{Title: "x", Values: []float64{1, 2, nan}}, "x, last 2", 1, 1},
	}
	for _, test := range tests {
		svg := chart.Sparkline(test.spark, "s")
		elements := wellFormed(t, svg)
		checkAllowed(t, elements)
		root := elements[len(elements)-1]
		if root.attrs["viewBox"] != "0 0 120 24" || root.attrs["role"] != "img" || root.attrs["aria-labelledby"] != "s-title" {
			t.Errorf("%s: root %v", test.reason, root.attrs)
		}
		if elements[0].text != test.title {
			t.Errorf("%s: title %q", test.reason, elements[0].text)
		}
		if got := strings.Count(string(svg), "<circle"); got != test.marks {
			t.Errorf("%s: %d circles", test.reason, got)
		}
		if got := strings.Count(string(svg), "<polyline"); got != test.lines {
			t.Errorf("%s: %d lines", test.reason, got)
		}
	}
}

func TestSparksHold(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOf(anyFloat()).Draw(t, "values")
		lo, hi := anyFloat().Draw(t, "lo"), anyFloat().Draw(t, "hi")
		if got := len([]rune(chart.SparkText(values, lo, hi))); got != len(values) {
			t.Fatalf("%d characters for %d values", got, len(values))
		}
		wellFormed(t, chart.Sparkline(chart.Spark{Values: values, Min: lo, Max: hi}, ""))
	})
}
