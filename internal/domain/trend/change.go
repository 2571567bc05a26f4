package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"
)

// Change is one change of the mean in a whole series.
type Change struct {
	// Index is the number of values before the change, Lo to Hi its interval with confidence
	// [SinceConfidence], as in [ChangeSince].
	Index, Lo, Hi int
	// Before and After are the means.
	Before, After float64
	// SSE0 is the sum of squares about one mean, SSE1 that about the two, and SupF the greatest
	// (SSE0−SSE1)/(SSE1/(n−2)) over all places of the change.
	SSE0, SSE1, SupF float64
}

// FindChange places one change of the mean in a series by least squares, with both means and the
// common sigma unknown. It always finds one; SupF says how much there is to it. Fewer than
// 4 values give a stats.TooFewError, values that are not finite or all equal [ErrReadings].
//
// Source: D. V. Hinkley, Biometrika 1970;57:1-17; the F statistics of D. W. K. Andrews,
// Econometrica 1993;61:821-856.
func FindChange(y []float64) (Change, error) {
	if err := checkSeries(y, 4); err != nil {
		return Change{}, err
	}
	mean, sigma := stat.MeanStdDev(y, nil)
	p := profile{}
	for _, v := range y {
		p.add(v - mean)
	}
	n := float64(len(y))
	best, lo, hi := p.search(1, 0)
	before, after := p.means(best)
	c := Change{
		Index: best, Lo: lo, Hi: hi, Before: mean + before, After: mean + after,
		SSE0: sigma * sigma * (n - 1), SSE1: max(0, p.residual(best)),
	}
	c.SupF = (c.SSE0 - c.SSE1) / (c.SSE1 / (n - 2))
	return c, nil
}

// Partition cuts a series into stretches of constant mean: the changes that minimise the squares
// about the means, in units of sigma², plus penalty for each change. It returns the number of
// values before each change, in order. A penalty of 2·ln n is usual (Y.-C. Yao, Stat Probab Lett
// 1988;6:181-189 proves it consistent for normal values); sigma is the standard deviation of the
// values within a stretch as far as it is known, else of the whole series, which errs on the side
// of few changes. Conditions: sigma and penalty over 0, at least one value, else stats.ErrArgument
// or a stats.TooFewError.
//
// Source: R. Killick, P. Fearnhead & I. A. Eckley, J Am Stat Assoc 2012;107:1590-1598 (PELT, which
// finds the exact optimum of B. Jackson et al., IEEE Signal Process Lett 2005;12:105-108).
func Partition(y []float64, sigma, penalty float64) ([]int, error) {
	if !(sigma > 0) || !(penalty > 0) {
		return nil, argument("a partition with sigma %v and penalty %v: want more than 0 of both", sigma, penalty)
	}
	if len(y) == 0 {
		return nil, tooFew(0, 1)
	}
	if err := checkFinite(y); err != nil {
		return nil, err
	}
	// Sums of the values less their mean lose fewer digits.
	mean := stat.Mean(y, nil)
	sums, squares := make([]float64, len(y)+1), make([]float64, len(y)+1)
	for i, v := range y {
		z := (v - mean) / sigma
		sums[i+1], squares[i+1] = sums[i]+z, squares[i]+z*z
	}
	cost := func(from, to int) float64 {
		s := sums[to] - sums[from]
		return squares[to] - squares[from] - s*s/float64(to-from)
	}
	least := make([]float64, len(y)+1) // the least cost of the first i values
	last := make([]int, len(y)+1)      // where its last stretch begins
	least[0] = -penalty
	candidates := []int{0}
	for to := 1; to <= len(y); to++ {
		least[to] = math.Inf(1)
		for _, from := range candidates {
			if c := least[from] + cost(from, to) + penalty; c < least[to] {
				least[to], last[to] = c, from
			}
		}
		candidates = slices.DeleteFunc(candidates, func(from int) bool { return least[from]+cost(from, to) > least[to] })
		candidates = append(candidates, to)
	}
	var changes []int
	for at := last[len(y)]; at > 0; at = last[at] {
		changes = append(changes, at)
	}
	slices.Reverse(changes)
	return changes, nil
}

// checkSeries says what is wrong with a series that should have so many values and some spread.
func checkSeries(y []float64, need int) error {
	if len(y) < need {
		return tooFew(len(y), need)
	}
	if err := checkFinite(y); err != nil {
		return err
	}
	if floats.Max(y)-floats.Min(y) <= 0 {
		return unreadable("all values are %v", y[0])
	}
	return nil
}

func checkFinite(y []float64) error {
	for i, v := range y {
		if !finite(v) {
			return unreadable("value %d is %v", i, v)
		}
	}
	return nil
}
