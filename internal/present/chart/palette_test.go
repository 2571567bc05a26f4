package chart_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"rinsate/internal/present/chart"
)

// luminance is the relative luminance of #rrggbb.
//
// Source: WCAG 2.2, definition of relative luminance.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	v, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil || len(hex) != 7 {
		t.Fatalf("colour %q", hex)
	}
	linear := func(shift uint) float64 {
		c := float64(v>>shift&255) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(16) + 0.7152*linear(8) + 0.0722*linear(0)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestContrastFunction(t *testing.T) {
	t.Parallel()
	// WCAG 2.2: black on white has 21 to 1; #777777 on white is just below 4.5 to 1 (4.48).
	if got := contrast(t, "#000000", "#ffffff"); math.Abs(got-21) > 1e-9 {
		t.Errorf("black on white %g", got)
	}
	if got := contrast(t, "#777777", "#ffffff"); math.Abs(got-4.48) > 0.005 {
		t.Errorf("grey on white %g", got)
	}
}

// Marks have 3 to 1 and text has 4.5 to 1 against paper and both shades, light and dark (WCAG 2.2,
// success criteria 1.4.11 and 1.4.3).
func TestPaletteContrast(t *testing.T) {
	t.Parallel()
	colours := chart.Colours()
	least := map[string]float64{
		"text": 4.5, "muted": 4.5, "signal-text": 4.5,
		"axis": 3, "data": 3, "second": 3, "third": 3, "fourth": 3, "limit": 3, "signal": 3, "alert": 3, "action": 3,
	}
	decoration := map[string]bool{"paper": true, "grid": true, "shade": true, "change-shade": true}
	for name, pair := range colours {
		if decoration[name] {
			continue
		}
		want, ok := least[name]
		if !ok {
			t.Errorf("%s has no stated contrast", name)
		}
		for mode, colour := range pair {
			for _, paper := range []string{"paper", "shade", "change-shade"} {
				if got := contrast(t, colour, colours[paper][mode]); got < want {
					t.Errorf("%s %s on %s %s: %.2f, want %g", name, colour, paper, colours[paper][mode], got, want)
				}
			}
		}
	}
	if len(colours) != len(least)+len(decoration) {
		t.Errorf("%d inks, %d judged", len(colours), len(least)+len(decoration))
	}
}

// Curves are told apart by their pattern too: no two of sixteen have both ink and pattern in common,
// and no two neighbours have either.
func TestCurveStyles(t *testing.T) {
	t.Parallel()
	type look struct {
		ink  chart.Ink
		dash chart.Dash
	}
	seen := map[look]bool{}
	for i := range 16 {
		s := chart.CurveStyle(i)
		if seen[look{s.Stroke, s.Dash}] {
			t.Errorf("curve %d looks like another", i)
		}
		seen[look{s.Stroke, s.Dash}] = true
		if next := chart.CurveStyle(i + 1); next.Stroke == s.Stroke || (i%4 < 3 && next.Dash == s.Dash) {
			t.Errorf("curves %d and %d look alike", i, i+1)
		}
	}
}

// Every ink has its rules in the style sheet.
func TestStylesheet(t *testing.T) {
	t.Parallel()
	css := chart.Stylesheet()
	for name, pair := range chart.Colours() {
		for _, want := range []string{
			".ch-f-" + name + "{fill:var(--ch-" + name + ")}", ".ch-s-" + name + "{stroke:var(--ch-" + name + ")}",
			"--ch-" + name + ":light-dark(" + pair[0] + "," + pair[1] + ");", "--ch-" + name + ":" + pair[0] + ";",
		} {
			if !strings.Contains(css, want) {
				t.Errorf("%s is missing", want)
			}
		}
	}
	if strings.Count(css, "{") != strings.Count(css, "}") {
		t.Error("braces do not match")
	}
}
