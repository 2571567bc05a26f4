package figure_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/base/unit"
	"rinsate/internal/domain/attribution"
	"rinsate/internal/domain/quality"
	"rinsate/internal/present/chart"
	"rinsate/internal/present/figure"
)

// compared compares pairs whose ratios go from 1.4 to 0.6.
func compared(t *testing.T, n int) ([]quality.Pair, quality.Paired) {
	t.Helper()
	var pairs []quality.Pair
	for i := range n {
		old := 50 + 20*float64(i)
		pairs = append(pairs, quality.Pair{Sample: fmt.Sprint(i), Old: unit.Number(old), New: unit.Number(old * (1.4 - 0.8*float64(i)/float64(n-1)))})
	}
	setup := quality.Setup{Meter: quality.Meter{Code: "M-1", System: "A"}, Kit: "K"}
	found, err := quality.DefaultPlan().Paired(setup, setup, pairs)
	if err != nil {
		t.Fatal(err)
	}
	return pairs, found
}

func TestRatios(t *testing.T) {
	t.Parallel()
	pairs, found := compared(t, 30)
	h := figure.Ratios("ratios", pairs, found, quality.DefaultPlan())
	total := 0.0
	for i, b := range h.Bins {
		total += b.Count
		if i > 0 && math.Abs(b.From-h.Bins[i-1].To) > 1e-9 {
			t.Errorf("bin %d begins at %v, the one before ends at %v", i, b.From, h.Bins[i-1].To)
		}
	}
	if n := len(h.Bins); total != 30 || n != 6 || math.Abs(h.Bins[0].From-0.6) > 1e-9 || math.Abs(h.Bins[n-1].To-1.4) > 1e-9 {
		t.Errorf("%v ratios in %+v", total, h.Bins)
	}
	if len(h.Levels) != 3 || h.Levels[0].Value != 0.8 || h.Levels[1].Value != 1.25 || h.Levels[2].Value != found.Ratio || h.Levels[2].Lo != found.RatioCI.Lo {
		t.Errorf("levels %+v", h.Levels)
	}
	same := []quality.Pair{{Old: 10, New: 10}, {Old: 20, New: 20}, {Old: 0, New: 3}}
	h = figure.Ratios("ratios", same, quality.Paired{}, quality.DefaultPlan())
	total = 0
	for _, b := range h.Bins {
		total += b.Count
		if !(b.From < b.To) {
			t.Errorf("%+v", b)
		}
	}
	if total != 2 || len(h.Levels) != 2 {
		t.Errorf("equal ratios: %+v", h)
	}
	if h := figure.Ratios("ratios", nil, quality.Paired{}, quality.DefaultPlan()); h.Bins != nil {
		t.Errorf("no pairs: %+v", h.Bins)
	}
	f := figure.Agreement("agreement", found)
	for _, e := range f.Effects {
		if !(e.Lo <= e.Estimate && e.Estimate <= e.Hi) {
			t.Errorf("%+v", e)
		}
	}
}

func TestParts(t *testing.T) {
	t.Parallel()
	f := figure.Parts("parts", "log10 RLU", []attribution.Part{
		{Source: attribution.Lot, SD: 0.2, Lo: 0.1, Hi: 0.4, Share: 0.6, Levels: 3}, {SD: 0.1, Share: 0.4},
	})
	if len(f.Effects) != 2 || f.Effects[0].Label != "lot" || f.Effects[1].Label != "none of these" || !math.IsNaN(f.Effects[1].Lo) ||
		f.Effects[0].Cells[0] != "60 %" {
		t.Errorf("%+v", f.Effects)
	}
	if svg := string(chart.SVG(f, chart.SVGOptions{ID: "p", Width: 640})); strings.Contains(svg, "NaN") {
		t.Error("a part without an interval is drawn at no place")
	}
}

func TestGauge(t *testing.T) {
	t.Parallel()
	var list []quality.Measurement
	for part := range 5 {
		for _, who := range []string{"a", "b", "c"} {
			for trial := range 2 {
				list = append(
					list,
					quality.Measurement{Part: fmt.Sprint(part), Appraiser: who, Value: float64(part) + 0.1*float64(trial) + 0.01*float64(len(list)%4)},
				)
			}
		}
	}
	s, err := quality.NewStudy(list)
	if err != nil {
		t.Fatal(err)
	}
	g, err := s.Gauge(true, stats.MustConfidence("0.95"))
	if err != nil {
		t.Fatal(err)
	}
	f := figure.Gauge("gauge", g)
	if len(f.Effects) != 6 || f.Effects[3].Label != "the measurement" || f.Effects[3].Estimate != g.GRR.SD || f.Effects[5].Cells[0] != "100 %" {
		t.Errorf("%+v", f.Effects)
	}
}
