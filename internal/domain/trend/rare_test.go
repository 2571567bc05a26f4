package trend_test

import (
	"errors"
	"math"
	"testing"

	"rinsate/internal/base/stats"
	"rinsate/internal/domain/trend"
)

func TestGChart(t *testing.T) {
	c := must(trend.NewGChart(column(t, "g_chart.csv", "gap")))
	wantNear(t, "mean gap", c.Gap, 20.35, 1e-14)
	wantNear(t, "upper limit", c.Upper, 82.882011801956, 1e-13)
	wantNear(t, "chance", c.Chance, .046838407494145, 1e-12)
	if got := c.Quantile(0.99865); got != 137 {
		t.Errorf("limit %v, want 137", got)
	}
	if got := c.Quantile(0.5); got != 14 {
		t.Errorf("median %v, want 14", got)
	}
	// The quantile is the smallest gap with at least that probability, by summing.
	sum := 0.0
	for g := range 200 {
		sum += c.Chance * math.Pow(1-c.Chance, float64(g))
		if got := c.Quantile(sum - 1e-9); got != float64(g) {
			t.Fatalf("quantile of %v is %v, want %d", sum, got, g)
		}
	}
	// P(three gaps sum to 10 at most), negative binomial: reference value, independent implementation.
	wantNear(t, "three failures within ten uses", c.Burst(3, 10), 0.02063615315205027, 1e-12)
	wantNear(t, "one gap of 0", c.Burst(1, 0), c.Chance, 1e-13)
	always := must(trend.NewGChart([]float64{0, 0}))
	if always.Quantile(0.99) != 0 || always.Burst(2, 0) != 1 || always.Upper != 0 {
		t.Errorf("every use fails: %+v", always)
	}
	if !math.IsNaN(c.Quantile(2)) || !math.IsNaN(c.Burst(0, 3)) || !math.IsInf(c.Quantile(1), 1) || c.Quantile(0) != 0 {
		t.Error("arguments at and outside the ends")
	}
}

// Ten times; centre and upper limit of time^(1/3.6) turned back: reference values, independent
// implementation, 15 digits. The lower limit is negative and so 0.
func TestTChart(t *testing.T) {
	c := must(trend.NewTChart([]float64{12.5, 3, 45.25, 8, 0.5, 22, 17, 5.75, 31, 60}))
	wantNear(t, "mean", c.Mean, 20.5, 1e-14)
	wantNear(t, "centre", c.Centre, 13.868875597952105, 1e-12)
	wantNear(t, "upper limit", c.Upper, 214.3271277451524, 1e-12)
	if c.Lower != 0 {
		t.Errorf("lower limit %v", c.Lower)
	}
	wantNear(t, "three failures in 4.5 means", c.Burst(3, 4.5*20.5), 0.8264219290899639, 1e-12)
	wantNear(t, "one failure by the median", c.Burst(1, 20.5*math.Ln2), 0.5, 1e-12)
	if !math.IsNaN(c.Burst(1, -1)) {
		t.Error("arguments outside")
	}
}

func TestRareRefuses(t *testing.T) {
	for reason, err := range map[string]error{
		"half a use":    second(trend.NewGChart([]float64{1, 2.5})),
		"a negative":    second(trend.NewGChart([]float64{-1})),
		"negative time": second(trend.NewTChart([]float64{1, -2})),
		"no time":       second(trend.NewTChart([]float64{0, 0})),
	} {
		if !errors.Is(err, trend.ErrReadings) {
			t.Errorf("%s: %v", reason, err)
		}
	}
	for reason, err := range map[string]error{
		"no gap":   second(trend.NewGChart(nil)),
		"one time": second(trend.NewTChart([]float64{4})),
	} {
		if !errors.Is(err, stats.ErrTooFew) {
			t.Errorf("%s: %v", reason, err)
		}
	}
}
