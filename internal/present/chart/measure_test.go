package chart_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/present/chart"
)

// Whatever the text, what is fitted or wrapped takes no more room than it was given, and a box is as
// wide as its text.
func TestTextMeasures(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := chart.TextStyle{
			Size: rapid.Float64Range(11, 20).Draw(t, "size"), Bold: rapid.Bool().Draw(t, "bold"),
			Anchor: rapid.SampledFrom([]chart.Anchor{chart.Start, chart.Middle, chart.End}).Draw(t, "anchor"),
		}
		text, width := rapid.String().Draw(t, "text"), rapid.Float64Range(0, 300).Draw(t, "width")
		if got := s.Width(s.Fit(text, width)); got > width+1e-9 {
			t.Errorf("fitted to %v, takes %v", width, got)
		}
		lines := s.Wrap(text, width, 3)
		if len(lines) > 3 {
			t.Errorf("%d lines", len(lines))
		}
		for _, line := range lines {
			if got := s.Width(line); got > width+1e-9 {
				t.Errorf("wrapped to %v, %q takes %v", width, line, got)
			}
		}
		left, top, right, bottom := s.Box(chart.Point{X: 50, Y: 20}, text)
		if w := s.Width(text); right-left < w-1e-9 || right-left > w+1e-9 || top >= 20 || bottom <= 20 {
			t.Errorf("the box of %v is %v to %v", w, left, right)
		}
	})
}

// A small line can stand anywhere in a picture and stays in its rectangle.
func TestSparkStaysInItsRectangle(t *testing.T) {
	t.Parallel()
	r := &recorder{}
	sparkline().Draw(r, chart.Point{X: 200, Y: 100}, 56, 20)
	for _, m := range r.marks {
		if m.X < 200 || m.X > 256 || m.Y < 100 || m.Y > 120 {
			t.Errorf("a mark at %v", m)
		}
	}
	if len(r.marks) == 0 || strings.Join(r.broken, "") != "" {
		t.Errorf("%d marks, %v", len(r.marks), r.broken)
	}
}
