package figure_test

import (
	"strings"
	"testing"

	"rinsate/internal/base/text"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
)

func TestPlaceMarksOnePoint(t *testing.T) {
	for _, m := range append(fleet(), extremes()...) {
		for _, p := range m.Points() {
			for _, width := range []float64{320, 900} {
				svg := string(chart.SVG(figure.Place(m, p.Kind), chart.SVGOptions{ID: "p", Width: width}))
				want := "sample here"
				if p.NotApplicable != "" {
					want = "not applicable"
				}
				name := text.Spaced(p.Kind)
				if !strings.Contains(svg, "1 "+want) || !strings.Contains(svg, name+": "+want) {
					t.Errorf("%s, %s at %v px: %q is not said", m.Name, p.Kind, width, want)
				}
			}
		}
	}
}
