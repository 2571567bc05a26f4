package stats_test

import (
	"math"
	"testing"

	"rinsate/internal/base/stats"
)

// NIST/SEMATECH e-Handbook of Statistical Methods, 7.1.6, 90 ordered values with an outlier (from
// memory; they reproduce the printed quartiles exactly): lower quartile 429.75, upper quartile 742.25,
// inner fences −39 and 1211, outer fences −507.75 and 1679.75.
func TestHandbookQuartiles(t *testing.T) {
	t.Parallel()
	x := []float64{
		30, 171, 184, 201, 212, 250, 265, 270, 272, 289, 305, 306, 322, 322, 336, 346, 351, 370, 390, 404, 409, 411, 436, 437, 439, 441, 444, 448, 451, 453,
		470, 480, 482, 487, 494, 495, 499, 503, 514, 521, 522, 527, 548, 550, 559, 560, 570, 572, 574, 578, 585, 592, 592, 607, 616, 618, 621, 629, 637, 638,
		640, 656, 668, 707, 709, 719, 737, 739, 752, 758, 766, 792, 792, 794, 802, 818, 830, 832, 843, 858, 860, 869, 918, 925, 953, 991, 1000, 1005, 1068, 1441,
	}
	if len(x) != 90 {
		t.Fatalf("%d values, want 90", len(x))
	}
	quartile := func(p string) float64 {
		t.Helper()
		q, err := stats.QuantileSorted(x, stats.MustProbability(p), stats.Weibull)
		if err != nil {
			t.Fatal(err)
		}
		return q
	}
	lower, upper := quartile("0.25"), quartile("0.75")
	spread := upper - lower
	for _, test := range []struct {
		name      string
		got, want float64
	}{
		{"lower quartile", lower, 429.75},
		{"upper quartile", upper, 742.25},
		{"lower inner fence", lower - 1.5*spread, -39},
		{"upper inner fence", upper + 1.5*spread, 1211},
		{"lower outer fence", lower - 3*spread, -507.75},
		{"upper outer fence", upper + 3*spread, 1679.75},
	} {
		if math.Abs(test.got-test.want) > 1e-9 {
			t.Errorf("%s %v, want %v", test.name, test.got, test.want)
		}
	}
}
