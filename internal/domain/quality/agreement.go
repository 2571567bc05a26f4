package quality

import (
	"fmt"
	"math"
	"math/big"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
)

// Agreement is how far two methods differ on the same samples, in the unit of the values.
type Agreement struct {
	N int
	// Bias is the mean of the differences new − old, SD their sample standard deviation (divisor
	// n−1), BiasCI the t interval of the mean.
	Bias   float64
	SD     float64
	BiasCI stats.Interval
	// Limits are Bias ± z·SD with z = 1.959964: about 95 % of differences lie between them if
	// differences are normal. LowerCI and UpperCI are the exact intervals of the two limits.
	Limits  stats.Interval
	LowerCI stats.Interval
	UpperCI stats.Interval
	// Slope is that of the least-squares line of the difference on the mean of a pair, SlopeCI its
	// t interval: when it does not hold 0, there is a proportional bias, or one method varies more
	// than the other (it is the test of equal variances of E. J. G. Pitman, Biometrika 1939;31:9-12,
	// too). It is 0 ± ∞ when all means are equal.
	Slope   float64
	SlopeCI stats.Interval
	// AtLow and AtHigh are the differences that the line gives at the smallest and largest mean.
	AtLow, AtHigh float64
}

// limitZ is the 97.5 % point of the normal distribution.
const limitZ = 1.959963984540054

// Agree compares values of the same samples by two methods: new[i] belongs to old[i]. At least 3
// pairs, all values finite and not all differences equal within rounding, else [stats.ErrArgument]. Exchanging old
// and new changes the sign of the differences and nothing else.
//
// The interval of a limit of agreement is exact for normal differences: the limit is estimated by
// Bias + z·SD, and the pivot (μ + z·σ − Bias)·√n/SD has a noncentral t distribution with n−1
// degrees of freedom and noncentrality z·√n, mirrored.
// [Agreement.ApproximateLimits] gives the interval that the authors of the method used.
//
// Source: J. M. Bland & D. G. Altman, Lancet 1986;i:307-310 and Stat Methods Med Res
// 1999;8:135-160 (section 3.2 for the slope); A. Carkeet, Optom Vis Sci 2015;92:e71-e80 for the
// exact intervals.
func Agree(old, new []float64, c stats.Confidence) (Agreement, error) {
	if len(old) != len(new) {
		return Agreement{}, fmt.Errorf("%d old and %d new values are not pairs: %w", len(old), len(new), stats.ErrArgument)
	}
	if !c.Known() {
		return Agreement{}, fmt.Errorf("no confidence given: %w", stats.ErrArgument)
	}
	n := len(old)
	if n < 3 {
		return Agreement{}, fmt.Errorf("%d pairs show no spread: take at least 3: %w", n, stats.ErrArgument)
	}
	pairs := make([][2]float64, n)
	for i := range old {
		if !finite(old[i]) || !finite(new[i]) {
			return Agreement{}, fmt.Errorf("pair %d is %v and %v: want finite numbers: %w", i+1, old[i], new[i], stats.ErrArgument)
		}
		pairs[i] = [2]float64{old[i], new[i]}
	}
	// Summed in one order, so that the order of the pairs changes no digit.
	slices.SortFunc(pairs, func(a, b [2]float64) int { return slices.Compare(a[:], b[:]) })
	differences, means := make([]float64, n), make([]float64, n)
	for i, p := range pairs {
		differences[i], means[i] = p[1]-p[0], p[0]/2+p[1]/2
	}
	a := Agreement{N: n}
	a.Bias, a.SD = stat.MeanStdDev(differences, nil)
	if !scattered(a.SD, slices.Concat(old, new)) {
		return Agreement{}, fmt.Errorf("all %d differences are equal: a spread of 0 tells nothing, look at how the pairs were made: %w", n, stats.ErrArgument)
	}
	tail := tailOf(c)
	root := math.Sqrt(float64(n))
	half := -stats.TQuantile(tail, float64(n-1)) * a.SD / root
	a.BiasCI = stats.Interval{Lo: a.Bias - half, Hi: a.Bias + half}
	a.Limits = stats.Interval{Lo: a.Bias - limitZ*a.SD, Hi: a.Bias + limitZ*a.SD}
	t := distuv.NoncentralT{Nu: float64(n - 1), Mu: limitZ * root}
	inner, outer := t.Quantile(tail)*a.SD/root, t.Quantile(1-tail)*a.SD/root
	a.LowerCI = stats.Interval{Lo: a.Bias - outer, Hi: a.Bias - inner}
	a.UpperCI = stats.Interval{Lo: a.Bias + inner, Hi: a.Bias + outer}
	a.regress(means, differences, tail)
	return a, nil
}

// regress fills in the slope of the differences on the means.
func (a *Agreement) regress(means, differences []float64, tail float64) {
	n := float64(a.N)
	centre := stat.Mean(means, nil)
	var xx, xy, rest float64
	for i, m := range means {
		xx += (m - centre) * (m - centre)
		xy += (m - centre) * (differences[i] - a.Bias)
	}
	if !scattered(math.Sqrt(xx/n), means) {
		a.SlopeCI = stats.Interval{Lo: math.Inf(-1), Hi: math.Inf(1)}
		a.AtLow, a.AtHigh = a.Bias, a.Bias
		return
	}
	a.Slope = xy / xx
	for i, m := range means {
		r := differences[i] - a.Bias - a.Slope*(m-centre)
		rest += r * r
	}
	half := -stats.TQuantile(tail, n-2) * math.Sqrt(rest/(n-2)/xx)
	a.SlopeCI = stats.Interval{Lo: a.Slope - half, Hi: a.Slope + half}
	a.AtLow = a.Bias + a.Slope*(slices.Min(means)-centre)
	a.AtHigh = a.Bias + a.Slope*(slices.Max(means)-centre)
}

// ApproximateLimits returns the intervals of the limits Bias ± z·SD with the standard error
// √(3·SD²/n) and a t quantile, as in the authors' first paper, for comparison with published work.
// z is what that work used: 2 in 1986, 1.96 later. They are symmetric about the limit, and too
// narrow on the outside for few pairs.
func (a Agreement) ApproximateLimits(z float64, c stats.Confidence) (lower, upper stats.Interval, err error) {
	if !c.Known() || !(z > 0) || a.N < 2 {
		return lower, upper, fmt.Errorf("limits of %d pairs at %v standard deviations: want a confidence, z over 0 and at least 2 pairs: %w",
			a.N, z, stats.ErrArgument)
	}
	half := -stats.TQuantile(tailOf(c), float64(a.N-1)) * math.Sqrt(3/float64(a.N)) * a.SD
	lo, hi := a.Bias-z*a.SD, a.Bias+z*a.SD
	return stats.Interval{Lo: lo - half, Hi: lo + half}, stats.Interval{Lo: hi - half, Hi: hi + half}, nil
}

// tailOf returns (1 − c)/2, rounded once.
func tailOf(c stats.Confidence) float64 {
	r := c.Rat()
	f, _ := r.Sub(big.NewRat(1, 1), r).Float64()
	return f / 2
}

// scattered says whether a standard deviation of values is more than their rounding makes.
func scattered(sd float64, values []float64) bool {
	largest := 0.0
	for _, v := range values {
		largest = max(largest, math.Abs(v))
	}
	return sd > 1e-12*largest
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
