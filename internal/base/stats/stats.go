// Package stats answers how much numbers are worth: intervals for proportions, rates, means and
// quantiles, tolerance limits, how many samples an assurance needs, fits to values that are known only
// to lie below a limit, outliers, comparisons, how well a reading tells two classes apart, and how many
// of many findings are false.
//
// It holds what the numerical library beneath it lacks, and knows nothing of endoscopes, readings or
// levels. It reads no clock, draws random numbers only from a source that it is given, and never
// changes an argument. Every exported function states its definition, unit, conditions and source.
// Probabilities that decide something (a confidence, a prevalence, a sensitivity) are exact decimals,
// so that a tie is decided by rational arithmetic and not by the rounding of 1−0.9. Results are float64,
// accurate to about 12 significant digits unless said otherwise.
//
// To know first: [Confidence] and [Probability] for what goes in, [Interval] for what comes out, and
// the errors [ErrArgument], [TooFewError] and [ErrNotEstimable]. Then, by question: [Wilson] for a share,
// [AssuranceSize] and [DetectionSize] for a number of samples, [Quantile] and [UpperQuantileRank] for a
// percentile, [ToleranceFactor], [FitCensored], [GeneralizedESD], [PairedEquivalence],
// [NewROC] and [BenjaminiHochberg].
package stats

import (
	"errors"
	"fmt"
)

// MaxCount is the largest count, trial number or sample size that this package accepts.
const MaxCount = 1_000_000_000

var (
	// ErrArgument marks an argument outside the conditions that the function states.
	ErrArgument = errors.New("outside the stated conditions")

	// ErrUnreachable marks a sample size that does not exist: not even the largest sample gives
	// the assurance asked for.
	ErrUnreachable = errors.New("no sample size reaches the confidence")
)

// Interval is a closed interval estimate, in the unit of the quantity it estimates: a fraction
// between 0 and 1 for a proportion, a number of events for a Poisson mean.
type Interval struct {
	Lo, Hi float64
}

// Contains says whether x lies within the interval, ends included. NaN lies in no interval.
func (i Interval) Contains(x float64) bool { return i.Lo <= x && x <= i.Hi }

// Width returns Hi − Lo.
func (i Interval) Width() float64 { return i.Hi - i.Lo }

// clamped returns the part of the interval that can be a proportion.
func (i Interval) clamped() Interval {
	return Interval{Lo: min(max(i.Lo, 0), 1), Hi: min(max(i.Hi, 0), 1)}
}

// checkCount says what is wrong with k successes in n trials at confidence c.
func checkCount(k, n int, c Confidence) error {
	switch {
	case n < 0 || n > MaxCount:
		return fmt.Errorf("%d trials: want 0 to %d: %w", n, MaxCount, ErrArgument)
	case k < 0 || k > n:
		return fmt.Errorf("%d of %d is not a proportion: %w", k, n, ErrArgument)
	case !c.Known():
		return fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	return nil
}
