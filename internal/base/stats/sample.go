package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

var (
	// ErrTooFew marks a sample that is too small for what was asked of it. The error that wraps it
	// is a [TooFewError], which says how many are needed.
	ErrTooFew = errors.New("too few observations")

	// ErrNotEstimable marks observations that do not determine the quantity asked for, such as a
	// spread when all of them are equal.
	ErrNotEstimable = errors.New("not estimable from these observations")
)

// TooFewError says that Have observations are too few and that Need would be enough. It wraps
// [ErrTooFew].
type TooFewError struct {
	Have, Need int
}

// Error implements error.
func (e *TooFewError) Error() string {
	return fmt.Sprintf("%d observations: %d are needed: %v", e.Have, e.Need, ErrTooFew)
}

// Unwrap returns [ErrTooFew].
func (e *TooFewError) Unwrap() error { return ErrTooFew }

// checkSample says what is wrong with a sample of which at least least finite values are needed.
func checkSample(x []float64, least int) error {
	if len(x) < least {
		return &TooFewError{Have: len(x), Need: least}
	}
	for i, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("observation %d is %v: want finite numbers: %w", i+1, v, ErrArgument)
		}
	}
	return nil
}

// meanSD returns the mean and the standard deviation with divisor n−1. It returns
// [ErrNotEstimable] if all values are equal, which it tells from the values and not from a
// variance that rounding has left above 0, and if the variance overflows or underflows.
func meanSD(x []float64) (mean, sd float64, err error) {
	if allEqual(x) {
		return x[0], 0, fmt.Errorf("all %d observations are %v: %w", len(x), x[0], ErrNotEstimable)
	}
	mean, sd = stat.MeanStdDev(x, nil)
	if !(sd > 0) || math.IsInf(sd, 1) {
		return mean, sd, fmt.Errorf("the variance of values such as %v cannot be represented: %w", x[0], ErrNotEstimable)
	}
	return mean, sd, nil
}

func allEqual(x []float64) bool {
	for _, v := range x[1:] {
		if v != x[0] {
			return false
		}
	}
	return true
}
