package stats_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"rinsate/internal/base/stats"
)

func meanOf(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

func sdOf(x []float64) float64 {
	mean, sum := meanOf(x), 0.0
	for _, v := range x {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / float64(len(x)-1))
}

// ranked returns the statistic "k-th smallest value".
func ranked(k int) func([]float64) float64 {
	return func(x []float64) float64 {
		slices.Sort(x) // a statistic may reorder what it gets
		return x[k-1]
	}
}

var skewed = []float64{3.1, 0.4, 7.9, 1.2, 2.2, 0.9, 15.3, 4.4, 1.8, 0.6, 5.7, 2.9, 0.2, 9.6, 3.3, 1.1, 2.5, 6.8, 0.7, 4.0}

// The bootstrap law of an order statistic is exact: P(X*₍ₖ₎ ≤ x₍ⱼ₎) = P(Bin(n, j/n) ≥ k). The largest
// of twenty distances between a share of 20,000 resamples and its probability should be within 4.5
// standard errors (2e-4 of all seeds would fail; this one is fixed).
func TestResampleLawOfAnOrderStatistic(t *testing.T) {
	t.Parallel()
	const resamples = 20_000
	sorted := slices.Sorted(slices.Values(skewed))
	n := len(sorted)
	for _, k := range []int{1, 10, 19, 20} {
		values := must[[]float64](t)(stats.Resample(skewed, ranked(k), resamples, rand.NewPCG(uint64(k), 0)))
		for j := 1; j < n; j++ {
			p := must[stats.Probability](t)(stats.ProbabilityOf(float64(j) / float64(n)))
			below, _ := binomialBelow(n, k, p).Float64()
			want := 1 - below
			count, _ := slices.BinarySearch(values, math.Nextafter(sorted[j-1], math.Inf(1)))
			got, se := float64(count)/resamples, math.Sqrt(want*below/resamples)
			if math.Abs(got-want) > 4.5*se+1e-4 { // 1e-4 is two resamples, where the law is all but 0 or 1
				t.Errorf("P(X*₍%d₎ ≤ x₍%d₎) is %v, want %v ± %v", k, j, got, want, se)
			}
		}
	}
}

// Reference values of an independent implementation of the BCa interval at 95 %, mean over 4 runs of
// 200,000 resamples: mean 2.475 to 5.910, SD 2.404 to 6.102; the limits of one run of 100,000 vary by
// about 0.01 and 0.02. Acceleration of the mean: Σd³/(6(Σd²)^1.5), computed apart.
func TestBCaReference(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name      string
		statistic func([]float64) float64
		value, se float64
		want      stats.Interval
		tolerance float64
	}{
		{"mean", meanOf, 3.73, 0.8256, stats.Interval{Lo: 2.475, Hi: 5.910}, 0.03},
		{"SD", sdOf, 3.7853039925202143, 0.905, stats.Interval{Lo: 2.4038, Hi: 6.1021}, 0.05},
	} {
		b := must[stats.Bootstrap](t)(stats.BCa(skewed, test.statistic, 100_000, stats.MustConfidence("0.95"), rand.NewPCG(1, 0)))
		wantNear(t, test.name, b.Value, test.value, close12)
		if math.Abs(b.SE-test.se) > 0.01 {
			t.Errorf("%s: SE %v, want %v", test.name, b.SE, test.se)
		}
		if math.Abs(b.Interval.Lo-test.want.Lo) > test.tolerance || math.Abs(b.Interval.Hi-test.want.Hi) > test.tolerance {
			t.Errorf("%s: %v, want %v", test.name, b.Interval, test.want)
		}
		if test.name == "mean" {
			wantNear(t, "acceleration", b.Acceleration, 0.061239926630803174, 1e-11)
		}
	}
}

func TestBCaIsReproducible(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.9")
	before := slices.Clone(skewed)
	run := func(seed uint64) stats.Bootstrap {
		return must[stats.Bootstrap](t)(stats.BCa(skewed, ranked(10), 2000, c, rand.NewPCG(seed, 0)))
	}
	if a, b := run(7), run(7); a != b {
		t.Errorf("one seed, two results: %+v and %+v", a, b)
	}
	mean := func(seed uint64) stats.Bootstrap {
		return must[stats.Bootstrap](t)(stats.BCa(skewed, meanOf, 2000, c, rand.NewPCG(seed, 0)))
	}
	if mean(7) == mean(8) {
		t.Error("two seeds, one result")
	}
	if !slices.Equal(skewed, before) {
		t.Error("the sample was changed")
	}
}

// 600 exponential samples of 30, 90 % intervals for the mean 1: the standard error of the share is
// 1.2 %, and BCa intervals of such samples cover a few percent less than they say (Efron &
// Tibshirani 1993, section 14.3, from memory).
func TestBCaCoverage(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 9))
	const samples = 600
	covered := 0
	x := make([]float64, 30)
	for i := range samples {
		for j := range x {
			x[j] = rng.ExpFloat64()
		}
		b := must[stats.Bootstrap](t)(stats.BCa(x, meanOf, 999, stats.MustConfidence("0.9"), rand.NewPCG(uint64(i), 1)))
		if b.Interval.Contains(1) {
			covered++
		}
	}
	if share := float64(covered) / samples; share < 0.83 || share > 0.93 {
		t.Errorf("%.1f %% of the intervals cover", 100*share)
	}
}

func TestBCaArguments(t *testing.T) {
	t.Parallel()
	c := stats.MustConfidence("0.95")
	source := func() rand.Source { return rand.NewPCG(1, 0) }
	nan := func([]float64) float64 { return math.NaN() }
	for _, test := range []struct {
		reason    string
		x         []float64
		statistic func([]float64) float64
		resamples int
		c         stats.Confidence
		source    rand.Source
		want      error
	}{
		{"one value", []float64{1}, meanOf, 1000, c, source(), stats.ErrTooFew},
		{"NaN", []float64{1, math.NaN()}, meanOf, 1000, c, source(), stats.ErrArgument},
		{"no statistic", skewed, nil, 1000, c, source(), stats.ErrArgument},
		{"no source", skewed, meanOf, 1000, c, nil, stats.ErrArgument},
		{"no resamples", skewed, meanOf, 0, c, source(), stats.ErrArgument},
		{"too many resamples", skewed, meanOf, stats.MaxResamples + 1, c, source(), stats.ErrArgument},
		{"too few resamples for the tails", skewed, meanOf, 20, c, source(), stats.ErrArgument},
		{"no confidence", skewed, meanOf, 1000, stats.Confidence{}, source(), stats.ErrArgument},
		{"statistic NaN", skewed, nan, 1000, c, source(), stats.ErrNotEstimable},
		{"two values", []float64{1, 3}, meanOf, 1000, c, source(), nil},
	} {
		if _, err := stats.BCa(test.x, test.statistic, test.resamples, test.c, test.source); !errors.Is(err, test.want) {
			t.Errorf("%s: %v, want %v", test.reason, err, test.want)
		}
	}
	// A statistic that no resample reaches: the number of distinct values.
	distinct := func(x []float64) float64 {
		seen := map[float64]bool{}
		for _, v := range x {
			seen[v] = true
		}
		return float64(len(seen))
	}
	if _, err := stats.BCa(skewed, distinct, 1000, c, source()); !errors.Is(err, stats.ErrNotEstimable) {
		t.Errorf("on one side of the estimate: %v, want ErrNotEstimable", err)
	}
	flat := must[stats.Bootstrap](t)(stats.BCa([]float64{4, 4, 4}, meanOf, 1000, c, source()))
	if flat.Interval != (stats.Interval{Lo: 4, Hi: 4}) || flat.SE != 0 {
		t.Errorf("all equal: %+v", flat)
	}
}

func ExampleBCa() {
	readings := []float64{41, 12, 96, 33, 58, 27, 140, 75, 19, 64, 22, 38, 51, 88, 17}
	b, err := stats.BCa(readings, meanOf, 9999, stats.MustConfidence("0.9"), rand.NewPCG(20, 0))
	fmt.Printf("mean %.1f, error %v, above 38: %v, below 75: %v\n", b.Value, err, b.Interval.Lo > 38, b.Interval.Hi < 75)
	// Output: mean 52.1, error <nil>, above 38: true, below 75: true
}

func BenchmarkBCa(b *testing.B) {
	for b.Loop() {
		if _, err := stats.BCa(skewed, meanOf, 9999, stats.MustConfidence("0.95"), rand.NewPCG(1, 0)); err != nil {
			b.Fatal(err)
		}
	}
}
