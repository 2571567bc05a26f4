package stats

import (
	"fmt"
	"math"
	"math/big"
)

// extremeCritical returns the critical distance of the most extreme of n values, with risk divided
// among so many tests.
func extremeCritical(n, tests float64, risk *big.Rat) float64 {
	t := -TQuantile(toFloat(risk)/tests, n-2)
	return (n - 1) / math.Sqrt(n) / math.Sqrt(1+(n-2)/(t*t))
}

// mostExtreme returns the index of the value farthest from the mean and its distance in standard
// deviations.
func mostExtreme(x []float64) (index int, distance float64, err error) {
	mean, sd, err := meanSD(x)
	if err != nil {
		return 0, 0, err
	}
	distance = math.Inf(-1)
	for i, v := range x {
		if d := math.Abs(v - mean); d > distance {
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
		i, r, err := mostExtreme(left)
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
