// Package trend answers whether a series of readings is still what it was and, if not, since when.
//
// A series is what one scope gave at one sampling point on one meter system with one kit ([Key]).
// Its readings are analysed as y = log10(RLU+1) ([LogRLU]). The first 20 and more readings of a
// stable period become its [Baseline], which is frozen; after a repair and after a change of
// meter system, kit or protocol a new one is collected. [NewDesign] turns “one false signal a month
// over my fleet” into the limits of the charts, with the uncertainty of the baseline
// counted in. A [Monitor], made of the two, runs the charts over the readings that follow, one at
// a time ([Monitor.Step]), as a whole ([Monitor.Run]) or for many series at once ([Scan]), groups
// their signals into signals and estimates since when ([ChangeSince]).
//
// Beside that: [Screening] ranks many series under false discovery control; [FindChange]
// and [Partition] look at a whole series without a baseline; [NewGChart] and [NewTChart] are for
// rare failures, [LaneyPChart] for shares of failures, and [NewFunnel] compares people, sites or
// lots.
//
// The package reads no clock, draws no random number and never changes an argument. A signal is a
// reason to look, not a verdict on a scope: it says that the readings changed, not why, and a
// change downward may be a failing meter or a weak kit rather than a cleaner scope.
package trend

import (
	"errors"
	"fmt"
	"math"

	"rinsate/internal/base/stats"
)

// ErrReadings marks readings that cannot be analysed: out of order, twice, without an instant,
// negative, not a number or all alike. Too few of them give a stats.TooFewError, other arguments
// outside the stated conditions stats.ErrArgument.
var ErrReadings = errors.New("readings cannot be analysed")

// argument returns an error that wraps stats.ErrArgument.
func argument(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, stats.ErrArgument)...)
}

// finite says whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// tooFew returns a stats.TooFewError, which says how many are missing.
func tooFew(have, need int) error { return &stats.TooFewError{Have: have, Need: need} }

// unreadable returns an error that wraps ErrReadings.
func unreadable(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, ErrReadings)...)
}
