package stats_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"rinsate/internal/base/stats"
)

// All nine types, R 4.2.2 quantile(). The second sample makes n·p a whole number or a half.
func TestQuantileTypes(t *testing.T) {
	t.Parallel()
	check := func(t *testing.T, x []float64, p string, want []float64) {
		t.Helper()
		before := slices.Clone(x)
		for i, w := range want {
			got := must[float64](t)(stats.Quantile(x, stats.MustProbability(p), stats.QuantileType(i+1)))
			wantNear(t, fmt.Sprintf("type %d of %v at %s", i+1, x, p), got, w, 3e-15)
		}
		if !slices.Equal(x, before) {
			t.Error("the sample was changed")
		}
	}
	odd := []float64{2.5, -1, 7, 7, 3.25, 10, 0.5, 4, 6, 12, 8.75}
	for _, test := range []struct {
		p    string
		want []float64
	}{
		{"0", []float64{-1, -1, -1, -1, -1, -1, -1, -1, -1}},
		{"0.03", []float64{-1, -1, -1, -1, -1, -1, -0.5499999999999999, -1, -1}},
		{"0.1", []float64{0.5, 0.5, -1, -0.8499999999999999, -0.09999999999999987, -0.6999999999999997, 0.5, -0.3000000000000002, -0.25}},
		{"0.25", []float64{2.5, 2.5, 2.5, 2, 2.6875, 2.5, 2.875, 2.625, 2.640625}},
		{"0.3", []float64{3.25, 3.25, 2.5, 2.725, 3.1, 2.95, 3.25, 3.05, 3.0625}},
		{"0.5", []float64{6, 6, 6, 5, 6, 6, 6, 6, 6}},
		{"0.77", []float64{8.75, 8.75, 7, 7.822500000000002, 8.697500000000002, 9.050000000000001, 8.224999999999998, 8.825000000000001, 8.796875}},
		{"0.9", []float64{10, 10, 10, 9.875, 10.8, 11.6, 10, 11.06666666666667, 11}},
		{"0.99", []float64{12, 12, 12, 11.78, 12, 12, 11.8, 12, 12}},
		{"1", []float64{12, 12, 12, 12, 12, 12, 12, 12, 12}},
	} {
		check(t, odd, test.p, test.want)
	}
	even := []float64{5, 1, 4, 2, 9, 8, 3, 7, 6, 10}
	for _, test := range []struct {
		p    string
		want []float64
	}{
		{"0.05", []float64{1, 1, 1, 1, 1, 1, 1.45, 1, 1}},
		{"0.1", []float64{1, 1.5, 1, 1, 1.5, 1.1, 1.9, 1.366666666666666, 1.4}},
		{"0.15", []float64{2, 2, 2, 1.5, 2, 1.65, 2.35, 1.883333333333333, 1.9125}},
		{"0.25", []float64{3, 3, 2, 2.5, 3, 2.75, 3.25, 2.916666666666667, 2.9375}},
		{"0.35", []float64{4, 4, 4, 3.5, 4, 3.85, 4.15, 3.949999999999999, 3.9625}},
		{"0.45", []float64{5, 5, 4, 4.5, 5, 4.95, 5.05, 4.983333333333333, 4.9875}},
		{"0.5", []float64{5, 5.5, 5, 5, 5.5, 5.5, 5.5, 5.499999999999999, 5.5}},
		{"0.95", []float64{10, 10, 10, 9.5, 10, 10, 9.549999999999999, 10, 10}},
	} {
		check(t, even, test.p, test.want)
	}
}

// Twelve wafer resistivities and their ninth decile as NIST/SEMATECH e-Handbook 7.2.6.2 prints it;
// the tests hold the values before rounding.
func TestQuantileWafers(t *testing.T) {
	t.Parallel()
	wafers := []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}
	for kind, want := range map[stats.QuantileType]float64{
		stats.Weibull:        95.19807,   // printed 95.1981
		stats.Gumbel:         95.19568,   // printed 95.1957
		stats.MedianUnbiased: 95.1972433, // printed 95.1972
	} {
		got := must[float64](t)(stats.Quantile(wafers, stats.MustProbability("0.9"), kind))
		if math.Abs(got-want) > 5e-8 {
			t.Errorf("type %d: %v, want %v", kind, got, want)
		}
	}
}

// n·p is 3 exactly for 10 values at 0.3, and 0.7·10 is 7, where floating point may give more.
func TestQuantileDecidesWholePositionsExactly(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := 10 * rapid.IntRange(1, 60).Draw(t, "n / 10")
		tenths := rapid.IntRange(1, 9).Draw(t, "tenths")
		x := make([]float64, n)
		for i := range x {
			x[i] = float64(i + 1)
		}
		p := stats.MustProbability(fmt.Sprintf("0.%d", tenths))
		j := float64(n / 10 * tenths)
		if got := must[float64](t)(stats.QuantileSorted(x, p, stats.InverseCDF)); got != j {
			t.Fatalf("type 1 is %v, want %v", got, j)
		}
		if got := must[float64](t)(stats.QuantileSorted(x, p, stats.AveragedInverseCDF)); got != j+0.5 {
			t.Fatalf("type 2 is %v, want %v", got, j+0.5)
		}
	})
}

func TestQuantileProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-1e6, 1e6), 1, 40).Draw(t, "x")
		kind := stats.QuantileType(rapid.IntRange(1, 9).Draw(t, "type"))
		a := rapid.IntRange(0, 1000).Draw(t, "p × 1000")
		b := rapid.IntRange(a, 1000).Draw(t, "larger p × 1000")
		at := func(thousandths int) float64 {
			p := must[stats.Probability](t)(probabilityOf(float64(thousandths) / 1000))
			return must[float64](t)(stats.Quantile(x, p, kind))
		}
		// (1−γ)a + γb rounds twice.
		slack := 1e-15 * (math.Abs(slices.Min(x)) + math.Abs(slices.Max(x)))
		if at(a) > at(b)+slack {
			t.Fatalf("type %d falls from %v at %d to %v at %d", kind, at(a), a, at(b), b)
		}
		if at(0) != slices.Min(x) || at(1000) != slices.Max(x) {
			t.Fatalf("type %d: ends %v and %v", kind, at(0), at(1000))
		}
	})
}

func TestQuantileArguments(t *testing.T) {
	t.Parallel()
	half := stats.MustProbability("0.5")
	inf, nan := math.Inf(1), math.NaN()
	for _, test := range []struct {
		reason string
		x      []float64
		p      stats.Probability
		kind   stats.QuantileType
		want   error
	}{
		{"empty", nil, half, stats.Weibull, stats.ErrTooFew},
		{"NaN", []float64{1, nan, 2}, half, stats.Weibull, stats.ErrArgument},
		{"no probability", []float64{1}, stats.Probability{}, stats.Weibull, stats.ErrArgument},
		{"type 0", []float64{1}, half, 0, stats.ErrArgument},
		{"type 10", []float64{1}, half, 10, stats.ErrArgument},
	} {
		if _, err := stats.Quantile(test.x, test.p, test.kind); !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", test.reason, err, test.want)
		}
	}
	if _, err := stats.QuantileSorted([]float64{2, 1}, half, stats.Weibull); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("unsorted: %v, want ErrArgument", err)
	}
	if _, err := stats.QuantileSorted([]float64{1, nan}, half, stats.Weibull); !errors.Is(err, stats.ErrArgument) {
		t.Errorf("NaN at the end: %v, want ErrArgument", err)
	}
	if got := must[float64](t)(stats.Quantile([]float64{1, -inf, -inf, 2}, half, stats.Gumbel)); !math.IsInf(got, -1) {
		t.Errorf("median with half below the limit: %v, want −∞", got)
	}
	if got := must[float64](t)(stats.Quantile([]float64{-inf, 5, 7}, half, stats.Gumbel)); got != 5 {
		t.Errorf("median with one below the limit: %v, want 5", got)
	}
}

func ExampleQuantile() {
	readings := []float64{41, 12, 96, 33, 58, 27, 140, 75, 19, 64}
	upper, err := stats.Quantile(readings, stats.MustProbability("0.75"), stats.MedianUnbiased)
	fmt.Printf("%.2f %v\n", upper, err)
	// Output: 76.75 <nil>
}
