// Package mixed fits mixed models: what the values depend on (fixed effects) and how much of their
// scatter comes from each group they belong to (random intercepts), such as the scope, the person
// and the lot, together with an estimate for every single group.
//
// Put the rows into a [Design]: the response, the fixed [Factor] and [Covariate] terms and the
// random [Factor] terms, which may be crossed or, named for their outer level too, nested. [FitLinear] answers for
// a response that scatters normally (a logarithm of a reading), by restricted or by full maximum
// likelihood; [FitLogistic] for yes or no. Both give a [Term] for each random factor, with an
// [Effect] for each of its levels, and a [Coefficient] for each fixed column. [Linear.Profile] gives
// an interval for a standard deviation. [Design.Drop] answers what would change if one level were
// left out.
//
// The model is that of D. Bates, M. Mächler, B. Bolker & S. Walker, J Stat Softw 2015;67(1), with
// random intercepts only: η = Xβ + Σ Z_f b_f, b_f ~ N(0, σ_f² I), all independent. The intercept is
// always part of X. One pass over the rows makes their sums of products; the likelihood is then
// evaluated from those, so that its cost does not depend on the number of rows.
//
// A variance can be exactly zero, which means that the data show no more scatter between the levels
// than the scatter within them explains; it does not prove that there is none.
//
// The package reads no clock, draws no random number and never changes an argument.
package mixed

import (
	"errors"
	"fmt"
	"math"

	"rinsate/internal/base/stats"
)

var (
	// ErrData marks rows that no mixed model can be fitted to: a response that does not vary, a
	// factor with one level, two factors that mean the same. The text says what to change. Too few
	// rows give a stats.TooFewError, malformed arguments stats.ErrArgument.
	ErrData = errors.New("the rows cannot be analysed by this model")

	// ErrSeparation marks yes-or-no rows of which a fixed term predicts some without error, so that
	// its coefficient has no finite estimate.
	ErrSeparation = errors.New("a fixed term separates yes from no")

	// ErrConvergence marks a likelihood whose maximum was not found. It is not expected; rows with
	// values of very different size are the likeliest reason.
	ErrConvergence = errors.New("the maximum of the likelihood was not found")
)

// MaxDense bounds the number of levels of all random factors other than the largest, plus fixed
// columns. Time grows with its cube and memory with its square; the largest factor may have as many
// levels as there are rows.
const MaxDense = 2000

// argument returns an error that wraps stats.ErrArgument.
func argument(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, stats.ErrArgument)...)
}

// unfit returns an error that wraps ErrData.
func unfit(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, ErrData)...)
}

// tooFew returns a stats.TooFewError, which says how many are missing.
func tooFew(have, need int) error { return &stats.TooFewError{Have: have, Need: need} }

// finite says whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// separation returns an error that wraps ErrSeparation.
func separation(format string, args ...any) error {
	return fmt.Errorf(format+": %w", append(args, ErrSeparation)...)
}
