package stats

import (
	"fmt"
	"math"
	"math/big"
	"slices"
)

// QuantileType is one of the nine definitions of a sample quantile, numbered as by Hyndman & Fan.
// All of them are (1−γ)·x₍ⱼ₎ + γ·x₍ⱼ₊₁₎ with j = ⌊n·p+m⌋, x₍₀₎ = x₍₁₎ and x₍ₙ₊₁₎ = x₍ₙ₎; they differ in m
// and, in the first three, in that γ jumps. With g = n·p+m−j, γ = g for the types 4 to 9.
//
// Source: R. J. Hyndman & Y. Fan, Am Stat 1996;50:361-365.
type QuantileType uint8

// The nine definitions. [Weibull] is the usual one in reference intervals and in the NIST
// handbook (7.2.6.2), [Gumbel] the default of most spreadsheets and of R, [MedianUnbiased] the one
// that Hyndman & Fan recommend.
const (
	InverseCDF         QuantileType = iota + 1 // m = 0; γ is 0 if g = 0, else 1
	AveragedInverseCDF                         // m = 0; γ is ½ if g = 0, else 1
	NearestEven                                // m = −½; γ is 0 if g = 0 and j is even, else 1
	LinearCDF                                  // m = 0
	Hazen                                      // m = ½
	Weibull                                    // m = p
	Gumbel                                     // m = 1−p
	MedianUnbiased                             // m = (p+1)/3
	NormalUnbiased                             // m = p/4+3/8
)

// Quantile returns the p quantile of the sample by definition t; x is in any order and is left
// alone. p is an exact decimal, so that n·p is a whole number exactly when it should be. p = 0 gives
// the smallest and p = 1 the largest value. Infinite values are allowed, such as −∞ for "below the
// limit"; a quantile between −∞ and +∞ is NaN. It returns a [TooFewError] for an empty sample and
// [ErrArgument] for NaN in it, for p not given and for an unknown type.
func Quantile(x []float64, p Probability, t QuantileType) (float64, error) {
	sorted := slices.Clone(x)
	slices.Sort(sorted)
	return QuantileSorted(sorted, p, t)
}

// QuantileSorted is [Quantile] for a sample that is in ascending order already. It returns
// [ErrArgument] for one that is not.
func QuantileSorted(sorted []float64, p Probability, t QuantileType) (float64, error) {
	n := len(sorted)
	switch {
	case !p.Known():
		return 0, fmt.Errorf("no probability given for the quantile: %w", ErrArgument)
	case n == 0:
		return 0, &TooFewError{Have: 0, Need: 1}
	case math.IsNaN(sorted[0]):
		return 0, fmt.Errorf("quantile of a sample with NaN: %w", ErrArgument)
	}
	for i := 1; i < n; i++ {
		if !(sorted[i-1] <= sorted[i]) {
			return 0, fmt.Errorf("value %d, %v, is below the one before it, %v: sort the sample first: %w",
				i+1, sorted[i], sorted[i-1], ErrArgument)
		}
	}
	j, gamma, err := t.position(n, p)
	if err != nil {
		return 0, err
	}
	below, above := sorted[min(max(j, 1), n)-1], sorted[min(max(j+1, 1), n)-1]
	switch {
	case gamma == 0 || below == above:
		return below, nil
	case gamma == 1:
		return above, nil
	}
	return (1-gamma)*below + gamma*above, nil
}

// position returns the rank j and the weight γ of the order statistic after it.
func (t QuantileType) position(n int, p Probability) (j int, gamma float64, err error) {
	r := p.Rat()
	m := new(big.Rat)
	switch t {
	case InverseCDF, AveragedInverseCDF, LinearCDF:
	case NearestEven:
		m.SetFrac64(-1, 2)
	case Hazen:
		m.SetFrac64(1, 2)
	case Weibull:
		m.Set(r)
	case Gumbel:
		m.Sub(big.NewRat(1, 1), r)
	case MedianUnbiased:
		m.Quo(m.Add(r, big.NewRat(1, 1)), big.NewRat(3, 1))
	case NormalUnbiased:
		m.Add(m.Quo(r, big.NewRat(4, 1)), big.NewRat(3, 8))
	default:
		return 0, 0, fmt.Errorf("quantile type %d: want 1 to 9: %w", t, ErrArgument)
	}
	at := m.Add(m, r.Mul(r, big.NewRat(int64(n), 1)))
	// Euclidean division is the floor, because a denominator is positive.
	floor := new(big.Int).Div(at.Num(), at.Denom())
	j = int(floor.Int64())
	g := at.Sub(at, new(big.Rat).SetInt(floor))
	jump := func(atWhole float64) float64 {
		if g.Sign() == 0 {
			return atWhole
		}
		return 1
	}
	switch {
	case t == InverseCDF, t == NearestEven && j%2 == 0:
		return j, jump(0), nil
	case t == AveragedInverseCDF:
		return j, jump(0.5), nil
	case t == NearestEven:
		return j, 1, nil
	}
	return j, toFloat(g), nil
}
