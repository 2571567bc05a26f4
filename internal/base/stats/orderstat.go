package stats

import (
	"fmt"
	"math"
	"math/big"
	"sort"
	"strings"
)

// RankBound is an order statistic that bounds a quantile whatever the distribution: the Rank-th
// smallest of n values, with the confidence that it does bound it. Achieved is exact for a
// continuous distribution and a lower limit for one with ties.
type RankBound struct {
	Rank     int
	Achieved float64
}

// UpperQuantileRank returns the smallest rank r for which P(x₍ᵣ₎ ≥ the p quantile) ≥ c in samples of
// n: P(B < r) ≥ c with B binomial, n trials of probability p. Equally, (−∞, x₍ᵣ₎] is an upper
// tolerance limit that holds at least p of the population with confidence c.
//
// Ties count as reached and are decided exactly. Conditions: 1 ≤ n ≤ [MaxCount], 0 < p < 1, a given
// confidence, else [ErrArgument]; a [TooFewError] with the n needed if not even the largest value
// reaches c.
//
// Source: W. Q. Meeker, G. J. Hahn & L. A. Escobar, Statistical Intervals, 2nd ed. 2017, section 5.2.
func UpperQuantileRank(n int, p Probability, c Confidence) (RankBound, error) {
	if err := checkRank(n, p, c); err != nil {
		return RankBound{}, err
	}
	// x₍ᵣ₎ fails to bound the quantile if at most n−r values lie above it.
	spare, ok := mostSpared(n, p, c.risk())
	if !ok {
		return RankBound{}, tooFewFor(n, p, 0, c)
	}
	q := toFloat(p.complement())
	return RankBound{Rank: n - spare, Achieved: betaAtMostOf(float64(spare+1), float64(n-spare), q, p.Float())}, nil
}

// LowerQuantileRank returns the largest rank r for which P(x₍ᵣ₎ ≤ the p quantile) ≥ c in samples of
// n: P(B ≥ r) ≥ c with B binomial, n trials of probability p. Conditions, errors and source as for
// [UpperQuantileRank], of which it is the mirror image.
func LowerQuantileRank(n int, p Probability, c Confidence) (RankBound, error) {
	if !p.Known() {
		return RankBound{}, fmt.Errorf("no probability given for the quantile: %w", ErrArgument)
	}
	b, err := UpperQuantileRank(n, p.Complement(), c)
	if err != nil {
		return RankBound{}, err
	}
	return RankBound{Rank: n + 1 - b.Rank, Achieved: b.Achieved}, nil
}

// RankInterval is a pair of order statistics, Lo-th and Hi-th smallest, with the confidence that
// belongs to them.
type RankInterval struct {
	Lo       int
	Hi       int
	Achieved float64
}

// QuantileRanks returns the order statistics between which the p quantile lies with confidence at
// least c, each end missing it with probability at most (1−c)/2. Conditions, errors and source as
// for [UpperQuantileRank].
func QuantileRanks(n int, p Probability, c Confidence) (RankInterval, error) {
	if err := checkRank(n, p, c); err != nil {
		return RankInterval{}, err
	}
	each := c.eachEnd()
	lo, errLo := LowerQuantileRank(n, p, each)
	hi, err := UpperQuantileRank(n, p, each)
	if p.Float() < 0.5 { // the end beyond the fewer values needs more of them than the other
		err = errLo
	}
	if err != nil {
		return RankInterval{}, err
	}
	return RankInterval{Lo: lo.Rank, Hi: hi.Rank, Achieved: lo.Achieved + hi.Achieved - 1}, nil
}

func checkRank(n int, p Probability, c Confidence) error {
	switch {
	case !p.Known() || p.text == "0" || p.text == "1":
		return fmt.Errorf("probability %q: want more than 0 and less than 1: %w", p, ErrArgument)
	case !c.Known():
		return fmt.Errorf("no confidence given: %w", ErrArgument)
	case n < 0 || n > MaxCount:
		return fmt.Errorf("%d observations: want at most %d: %w", n, MaxCount, ErrArgument)
	}
	return nil
}

// mostSpared returns the largest f < n for which P(X ≤ f) ≤ risk, X binomial with n trials of
// probability 1−p; false if there is none.
func mostSpared(n int, p Probability, risk *big.Rat) (int, bool) {
	f := sort.Search(n, func(f int) bool { return !atMostWithin(n, f, p, risk) })
	return f - 1, f > 0
}

// atMostWithin says exactly whether P(X ≤ f) ≤ risk. Floating point, good to about twelve digits,
// decides unless the two lie within 1e-9 of each other, relatively; then exact arithmetic does.
func atMostWithin(n, f int, p Probability, risk *big.Rat) bool {
	q := p.complement()
	limit := toFloat(risk)
	if at := betaAtMostOf(float64(n-f), float64(f+1), p.Float(), toFloat(q)); math.Abs(at-limit) > 1e-9*limit {
		return at < limit
	}
	return binomialAtMost(n, f, p.Rat(), q, risk)
}

// tooFewFor returns the error that says how many observations allow the failures.
func tooFewFor(n int, good Probability, failures int, c Confidence) error {
	need, err := AssuranceSize(good, failures, c)
	if err != nil {
		return err
	}
	return fmt.Errorf("for %s with confidence %s: %w", good, c, &TooFewError{Have: n, Need: need})
}

// eachEnd returns 1 − (1−c)/2, the confidence of each end of a two-sided interval.
func (c Confidence) eachEnd() Confidence {
	half := new(big.Rat).Quo(c.risk(), big.NewRat(2, 1))
	_, places, _ := strings.Cut(c.String(), ".")
	text := half.Sub(big.NewRat(1, 1), half).FloatString(len(places) + 1)
	return Confidence{p: Probability{text: strings.TrimRight(text, "0")}}
}
