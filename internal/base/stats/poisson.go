package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// PoissonExact returns the exact interval for the mean of a Poisson count of which k events were
// seen: the lower limit solves P(X ≥ k) = (1−c)/2, the upper P(X ≤ k) = (1−c)/2; the lower limit
// is 0 at k = 0. Unit: events. Divide both limits by the exposure (scope days, uses) for a rate.
// Coverage is at least c for every mean. Conditions: 0 ≤ k ≤ MaxCount and a given confidence, else
// [ErrArgument].
//
// Source: F. Garwood, Biometrika 1936;28:437-442.
func PoissonExact(k int, c Confidence) (Interval, error) {
	switch {
	case k < 0 || k > MaxCount:
		return Interval{}, fmt.Errorf("a count of %d: want 0 to %d: %w", k, MaxCount, ErrArgument)
	case !c.Known():
		return Interval{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	tail := c.tail()
	if k == 0 { // e^−μ = tail
		return Interval{Lo: 0, Hi: -math.Log(tail)}, nil
	}
	x := float64(k)
	const top = 4 * MaxCount // above any limit of any count
	lo := solve(mathext.GammaIncRegInv(x, tail), top, func(mean float64) (excess, slope float64) {
		if mean > x {
			return 1, 0 // P(X ≥ k) is above ½ there and the tail below it
		}
		return poissonAtLeast(x, mean) - tail, math.Exp(logPoisson(x-1, mean))
	})
	hi := solve(mathext.GammaIncRegCompInv(x+1, tail), top, func(mean float64) (excess, slope float64) {
		if mean < x {
			return -1, 0 // likewise
		}
		return tail - poissonAtMost(x, mean), math.Exp(logPoisson(x, mean))
	})
	return Interval{Lo: lo, Hi: hi}, nil
}
