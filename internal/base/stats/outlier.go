package stats

import (
	"fmt"
	"math"
	"math/big"
)

// Side says in which direction a value may be extreme.
type Side uint8

// The directions.
const (
	UpperSide Side = iota + 1 // the largest value
	LowerSide                 // the smallest value
	EitherSide
)

// GrubbsTest is the most extreme value of a sample and how extreme it is.
type GrubbsTest struct {
	Index     int     // of the value in the sample, from 0; the first of equal ones
	Statistic float64 // its distance from the mean in standard deviations, G
	P         float64 // probability of a G as large in a normal sample
}

// Grubbs tests whether the most extreme value of a sample is an outlier, if the others are from one
// normal distribution. Take logarithms first if the readings are log-normal. P is n (two-sided: 2n)
// times the tail of the t distribution, the usual bound, exact where it matters: for G so large that
// no two values can reach it, and at most 1.
//
// It finds one outlier; two close together hide each other. Use [GeneralizedESD] for several.
// Conditions: at least 3 finite values, else a [TooFewError] or [ErrArgument]; [ErrNotEstimable] if
// all are equal.
//
// Source: F. E. Grubbs, Technometrics 1969;11:1-21; NIST/SEMATECH e-Handbook 1.3.5.17.1.
func Grubbs(x []float64, side Side) (GrubbsTest, error) {
	if side < UpperSide || side > EitherSide {
		return GrubbsTest{}, fmt.Errorf("side %d: want UpperSide, LowerSide or EitherSide: %w", side, ErrArgument)
	}
	if err := checkSample(x, 3); err != nil {
		return GrubbsTest{}, err
	}
	i, g, err := mostExtreme(x, side)
	if err != nil {
		return GrubbsTest{}, err
	}
	n := float64(len(x))
	t := math.Inf(1)
	if rest := (n-1)*(n-1) - n*g*g; rest > 0 {
		t = g * math.Sqrt(n*(n-2)/rest)
	}
	return GrubbsTest{Index: i, Statistic: g, P: min(1, side.tests(n)*TSurvival(t, n-2))}, nil
}

// GrubbsCritical returns the value of G that is exceeded with probability at most 1−c in a normal
// sample of n. Conditions: 3 ≤ n ≤ MaxCount and a given confidence, else [ErrArgument] or a
// [TooFewError]. Source: as [Grubbs].
func GrubbsCritical(n int, side Side, c Confidence) (float64, error) {
	switch {
	case side < UpperSide || side > EitherSide || !c.Known() || n > MaxCount || n < 0:
		return 0, fmt.Errorf("critical value of %d observations, side %d, confidence %q: %w", n, side, c, ErrArgument)
	case n < 3:
		return 0, &TooFewError{Have: n, Need: 3}
	}
	return extremeCritical(float64(n), side.tests(float64(n)), c.risk()), nil
}

// tests returns how many tails the bound adds up.
func (s Side) tests(n float64) float64 {
	if s == EitherSide {
		return 2 * n
	}
	return n
}

// extremeCritical returns the critical distance of the most extreme of n values, with risk divided
// among so many tests.
func extremeCritical(n, tests float64, risk *big.Rat) float64 {
	t := -TQuantile(toFloat(risk)/tests, n-2)
	return (n - 1) / math.Sqrt(n) / math.Sqrt(1+(n-2)/(t*t))
}

// mostExtreme returns the index of the value farthest from the mean and its distance in standard
// deviations.
func mostExtreme(x []float64, side Side) (index int, distance float64, err error) {
	mean, sd, err := meanSD(x)
	if err != nil {
		return 0, 0, err
	}
	distance = math.Inf(-1)
	for i, v := range x {
		d := v - mean
		if side == LowerSide || (side == EitherSide && d < 0) {
			d = -d
		}
		if d > distance {
			index, distance = i, d
		}
	}
	return index, distance / sd, nil
}

// ESDStep is one step of [GeneralizedESD].
type ESDStep struct {
	Index     int     // of the value removed at this step, in the sample, from 0
	Statistic float64 // its distance from the mean of what was left, in SDs
	Critical  float64
}

// GeneralizedESD looks for up to most outliers among values that are otherwise from one normal
// distribution. At each step the value farthest from the mean of those left is set aside. The
// outliers are the values of the first steps, up to and with the last step whose statistic exceeds
// its critical value; their number is the second result. Earlier steps may lie below theirs: that is
// how outliers hide each other.
//
// The chance of naming any outlier in a clean sample is about 1−c, for 25 values and more; 15 may
// do. Conditions: most ≥ 1, at least most+2 finite values, a given confidence, else [ErrArgument] or
// a [TooFewError]; [ErrNotEstimable] if all values left are equal at the first step; if they are at
// a later one, the steps end there.
//
// Source: B. Rosner, Technometrics 1983;25:165-172; NIST/SEMATECH e-Handbook 1.3.5.17.3.
func GeneralizedESD(x []float64, most int, c Confidence) (steps []ESDStep, outliers int, err error) {
	if most < 1 || most > len(x) || !c.Known() {
		return nil, 0, fmt.Errorf("up to %d outliers of %d at confidence %q: %w", most, len(x), c, ErrArgument)
	}
	if err := checkSample(x, most+2); err != nil {
		return nil, 0, err
	}
	left := make([]float64, len(x))
	at := make([]int, len(x)) // where left[i] was in x
	for i, v := range x {
		left[i], at[i] = v, i
	}
	for range most {
		i, r, err := mostExtreme(left, EitherSide)
		if err != nil {
			if len(steps) == 0 {
				return nil, 0, err
			}
			break // nothing that is left differs from the rest
		}
		n := float64(len(left))
		critical := extremeCritical(n, 2*n, c.risk())
		steps = append(steps, ESDStep{Index: at[i], Statistic: r, Critical: critical})
		if r > critical {
			outliers = len(steps)
		}
		left, at = append(left[:i], left[i+1:]...), append(at[:i], at[i+1:]...)
	}
	return steps, outliers, nil
}
