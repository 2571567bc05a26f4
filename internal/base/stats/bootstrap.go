package stats

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Bootstrap is an estimate with an interval from resampling.
type Bootstrap struct {
	Estimate
	SE           float64 // standard deviation of the statistic over the resamples
	Bias         float64 // z₀: normal quantile of the share of resamples below the estimate
	Acceleration float64 // a: a sixth of the skewness of the jackknife's influences
}

// Resample returns the statistic of resamples samples, each of as many values drawn with replacement
// from x, in ascending order. The statistic gets a slice of its own that it may reorder but not
// keep. The same state of the source gives the same result; rand.NewPCG(seed, 0) makes one.
//
// Conditions: x not empty and finite, 1 ≤ resamples ≤ [MaxResamples], a statistic and a source, else a
// [TooFewError] or [ErrArgument]; [ErrNotEstimable] if the statistic of a resample is NaN.
//
// Source: B. Efron & R. J. Tibshirani, An Introduction to the Bootstrap, 1993, chapter 6.
func Resample(x []float64, statistic func([]float64) float64, resamples int, source rand.Source) ([]float64, error) {
	if statistic == nil || source == nil || resamples < 1 || resamples > MaxResamples {
		return nil, fmt.Errorf("%d resamples: want 1 to %d, a statistic and a source: %w", resamples, MaxResamples, ErrArgument)
	}
	if err := checkSample(x, 1); err != nil {
		return nil, err
	}
	rng := rand.New(source)
	drawn, values := make([]float64, len(x)), make([]float64, resamples)
	for b := range values {
		for i := range drawn {
			drawn[i] = x[rng.IntN(len(x))]
		}
		values[b] = statistic(drawn)
		if math.IsNaN(values[b]) {
			return nil, fmt.Errorf("the statistic of a resample is not a number: %w", ErrNotEstimable)
		}
	}
	slices.Sort(values)
	return values, nil
}

// BCa returns the statistic of x with the bias-corrected and accelerated bootstrap interval: the
// order statistics α·(resamples+1) of [Resample], rounded outwards, with α = Φ(z₀ + (z₀±z)/(1 −
// a(z₀±z))). Resamples equal to the estimate count half below it, so that a statistic of few
// possible values is not taken for biased. If no resample differs from the estimate, as when all
// values are equal, the interval is the estimate: it then shows ignorance, not precision.
//
// Conditions: those of [Resample], at least 2 values and a given confidence, else a [TooFewError] or
// [ErrArgument], and resamples enough for α, else [ErrArgument]; [ErrNotEstimable] if the statistic
// is NaN or all resamples lie on one side of the estimate. Coverage suffers below some 20 values.
// For a quantile use [QuantileRanks], which needs no resampling.
//
// Source: B. Efron, J Am Stat Assoc 1987;82:171-185; Efron & Tibshirani 1993, section 14.3.
func BCa(x []float64, statistic func([]float64) float64, resamples int, c Confidence, source rand.Source) (Bootstrap, error) {
	if !c.Known() {
		return Bootstrap{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	if err := checkSample(x, 2); err != nil {
		return Bootstrap{}, err
	}
	values, err := Resample(x, statistic, resamples, source)
	if err != nil {
		return Bootstrap{}, err
	}
	b := Bootstrap{Estimate: Estimate{Value: statistic(slices.Clone(x))}}
	if math.IsNaN(b.Value) {
		return Bootstrap{}, fmt.Errorf("the statistic is not a number: %w", ErrNotEstimable)
	}
	if values[0] == b.Value && values[resamples-1] == b.Value {
		b.Interval = Interval{Lo: b.Value, Hi: b.Value}
		return b, nil
	}
	if resamples > 1 {
		b.SE = stat.StdDev(values, nil)
	}
	below, _ := slices.BinarySearch(values, b.Value)
	above, _ := slices.BinarySearch(values, math.Nextafter(b.Value, math.Inf(1)))
	b.Bias = NormalQuantile(float64(below+above) / float64(2*resamples))
	if math.IsInf(b.Bias, 0) {
		return Bootstrap{}, fmt.Errorf("all %d resamples lie on one side of the estimate %v: %w", resamples, b.Value, ErrNotEstimable)
	}
	if b.Acceleration, err = acceleration(x, statistic); err != nil {
		return Bootstrap{}, err
	}
	lo, hi, err := b.ranks(normalZ(c), resamples)
	if err != nil {
		return Bootstrap{}, fmt.Errorf("interval of confidence %s: %w", c, err)
	}
	b.Interval = Interval{Lo: values[lo-1], Hi: values[hi-1]}
	return b, nil
}

// ranks returns the ranks of the resamples that are the limits.
func (b Bootstrap) ranks(z float64, resamples int) (lo, hi int, err error) {
	corrected := func(z float64) (normal float64, ok bool) {
		v := b.Bias + z
		rest := 1 - b.Acceleration*v
		return b.Bias + v/rest, rest > 0
	}
	lower, okLo := corrected(-z)
	upper, okHi := corrected(z)
	if !okLo || !okHi {
		return 0, 0, fmt.Errorf("acceleration %v is too large: %w", b.Acceleration, ErrNotEstimable)
	}
	// Both ranks from the end to which they are nearer, where the probability keeps its digits.
	n := float64(resamples + 1)
	below, above := n*NormalCDF(lower), n*NormalSurvival(upper)
	if below < 1 || above < 1 {
		return 0, 0, fmt.Errorf("%d resamples are too few: want at least %.0f: %w",
			resamples, math.Ceil(n/min(below, above)), ErrArgument)
	}
	lo, hi = int(below), resamples+1-int(above)
	return min(lo, resamples), max(hi, 1), nil
}

// acceleration returns Σd³/(6·(Σd²)^1.5), d being what each value takes from the mean of the
// statistics without one value; 0 if they are all equal.
func acceleration(x []float64, statistic func([]float64) float64) (float64, error) {
	without, rest := make([]float64, len(x)), make([]float64, len(x)-1)
	for i := range x {
		copy(rest, x[:i])
		copy(rest[i:], x[i+1:])
		without[i] = statistic(rest)
	}
	mean := stat.Mean(without, nil)
	if math.IsNaN(mean) || math.IsInf(mean, 0) {
		return 0, fmt.Errorf("the statistic without one of the values is not a number: %w", ErrNotEstimable)
	}
	largest := 0.0
	for _, v := range without {
		largest = max(largest, math.Abs(mean-v))
	}
	if largest == 0 {
		return 0, nil
	}
	var squares, cubes float64
	for _, v := range without {
		d := (mean - v) / largest
		squares, cubes = squares+d*d, cubes+d*d*d
	}
	return cubes / (6 * math.Pow(squares, 1.5)), nil
}
