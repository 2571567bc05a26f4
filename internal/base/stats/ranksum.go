package stats

import (
	"fmt"
	"math"
	"slices"
)

// maxExactPairs is the largest nx·ny for which the null distribution of U is counted out.
const maxExactPairs = 2500

// RankSum is the comparison of two samples by the Wilcoxon–Mann–Whitney test.
type RankSum struct {
	// U counts the pairs with x > y, ties as one half. U/(nx·ny) estimates P(X > Y) + ½P(X = Y).
	U float64
	// Upper is P(U' ≥ U) if both samples are from one distribution: small if x tends to be larger.
	Upper float64
	// Lower is P(U' ≤ U): small if x tends to be smaller.
	Lower float64
	// P is two-sided, twice the smaller of Upper and Lower and at most 1.
	P float64
	// Exact says whether the probabilities were counted out, ties included, or come from the normal
	// approximation with tie and continuity correction.
	Exact bool
}

// MannWhitney tests whether x and y are from one distribution. Up to nx·ny = 2500 all divisions of
// the pooled values into two samples are counted, each with equal probability and with the ties as
// they are; beyond that the normal approximation is used. From three values on in the smaller sample of
// m its error is then at most about 0.04/m, and 0.007/m where the probability is 0.025.
//
// Conditions: at least one finite value in each, else a [TooFewError] or [ErrArgument]. If all values
// are equal every probability is 1.
//
// Source: H. B. Mann & D. R. Whitney, Ann Math Stat 1947;18:50-60; with ties, E. L. Lehmann,
// Nonparametrics, 1975, section 1.4.
func MannWhitney(x, y []float64) (RankSum, error) {
	for _, sample := range [][]float64{x, y} {
		if err := checkSample(sample, 1); err != nil {
			return RankSum{}, err
		}
	}
	twice, ties := doubledU(x, y)
	r := RankSum{U: float64(twice) / 2}
	if r.Exact = len(x) <= maxExactPairs/len(y); r.Exact {
		r.Lower, r.Upper = exactTails(len(x), len(y), ties, int(twice))
	} else {
		r.Lower, r.Upper = normalTails(float64(len(x)), float64(len(y)), ties, r.U)
	}
	r.P = min(1, 2*min(r.Lower, r.Upper))
	return r, nil
}

// doubledU returns 2U and how many pooled values there are of each distinct value, in order.
func doubledU(x, y []float64) (twice int64, ties []int) {
	a, b := slices.Sorted(slices.Values(x)), slices.Sorted(slices.Values(y))
	below := 0 // of b
	for i, j := 0, 0; i < len(a) || j < len(b); {
		v := math.Inf(1)
		if i < len(a) {
			v = a[i]
		}
		if j < len(b) {
			v = min(v, b[j])
		}
		fromA, fromB := 0, 0
		for ; i < len(a) && a[i] == v; i++ {
			fromA++
		}
		for ; j < len(b) && b[j] == v; j++ {
			fromB++
		}
		twice += int64(fromA) * int64(2*below+fromB)
		below += fromB
		ties = append(ties, fromA+fromB)
	}
	return twice, ties
}

// exactTails returns P(U ≤ u) and P(U ≥ u) for twice = 2u over all choices of nx of the pooled values.
func exactTails(nx, ny int, ties []int, twice int) (lower, upper float64) {
	law := rankLaw(nx, ny, ties)
	total := 0.0
	for u, ways := range law {
		total += ways
		if u <= twice {
			lower += ways
		}
		if u >= twice {
			upper += ways
		}
	}
	return lower / total, upper / total
}

// rankLaw returns in how many ways 2U can have each value from 0 to 2·nx·ny. It goes through the
// distinct pooled values from below; taking k of t equal ones for x, with s of the values below
// them taken for y, adds k·(2s + t−k) to 2U.
func rankLaw(nx, ny int, ties []int) []float64 {
	if nx > ny { // cheaper the other way round: U and nx·ny − U change places
		law := rankLaw(ny, nx, ties)
		slices.Reverse(law)
		return law
	}
	size := 2*nx*ny + 1
	ways, sum := make([][]float64, nx+1), make([]float64, size) // by the number taken for x so far
	for i := range ways {
		ways[i] = make([]float64, size)
	}
	ways[0][0] = 1
	seen := 0
	for _, t := range ties {
		left := nx + ny - seen - t
		for taken := min(nx, seen+t); taken >= max(0, nx-left); taken-- { // downwards: the lower ones are still of before
			clear(sum)
			for k := max(0, taken-seen); k <= min(t, taken); k++ {
				belowY := seen - (taken - k)
				if belowY+t-k > ny {
					continue // more for y than there are
				}
				// 2U of before is at most 2·(taken−k)·belowY.
				to := sum[k*(2*belowY+t-k):]
				times := binomialCoefficient(t, k)
				for u, w := range ways[taken-k][:2*(taken-k)*belowY+1] {
					to[u] += times * w
				}
			}
			copy(ways[taken], sum)
		}
		seen += t
	}
	return ways[nx]
}

// binomialCoefficient returns n over k, exactly up to 2⁵³.
func binomialCoefficient(n, k int) float64 {
	c := 1.0
	for i := 1; i <= k; i++ {
		c = c * float64(n-k+i) / float64(i)
	}
	return c
}

// normalTails returns P(U ≤ u) and P(U ≥ u) by the normal approximation.
func normalTails(nx, ny float64, ties []int, u float64) (lower, upper float64) {
	n := nx + ny
	excess := 0.0
	for _, t := range ties {
		excess += float64(t) * (float64(t)*float64(t) - 1)
	}
	sd := math.Sqrt(nx * ny / 12 * (n + 1 - excess/(n*(n-1))))
	if !(sd > 0) {
		return 1, 1
	}
	off := u - nx*ny/2
	return NormalCDF((off + 0.5) / sd), NormalSurvival((off - 0.5) / sd)
}

// Shift is how much larger one sample is than another.
type Shift struct {
	Estimate
	// Achieved is the confidence that the interval has if both distributions have one shape. It is at
	// least what was asked for, because the limits are differences between two values.
	Achieved float64
	// Exact says whether Achieved was counted out or comes from the normal approximation.
	Exact bool
}

// HodgesLehmann returns the median of all differences x − y and the interval between the differences
// of ranks k and nx·ny+1−k, k being the largest for which the Mann–Whitney test at 1−c would not
// reject a shift between them. With ties the interval is conservative.
//
// No difference is stored: each rank is found by halving, in time (nx+ny)·64. Conditions: at least
// one finite value in each, a given confidence, else a [TooFewError] or [ErrArgument]. If not even
// the extreme differences reach c, the [TooFewError] says how many values in each of two equal
// samples would.
//
// Source: J. L. Hodges & E. L. Lehmann, Ann Math Stat 1963;34:598-611; M. Hollander & D. A. Wolfe,
// Nonparametric Statistical Methods, 2nd ed. 1999, section 4.3.
func HodgesLehmann(x, y []float64, c Confidence) (Shift, error) {
	for _, sample := range [][]float64{x, y} {
		if err := checkSample(sample, 1); err != nil {
			return Shift{}, err
		}
	}
	if !c.Known() {
		return Shift{}, fmt.Errorf("no confidence given: %w", ErrArgument)
	}
	k, achieved, exact := shiftRank(len(x), len(y), c.tail())
	if k == 0 {
		return Shift{}, fmt.Errorf("shift with confidence %s: %w", c,
			&TooFewError{Have: min(len(x), len(y)), Need: smallestPair(c.tail())})
	}
	d := differences{x: slices.Sorted(slices.Values(x)), y: slices.Sorted(slices.Values(y))}
	pairs := int64(len(x)) * int64(len(y))
	middle, next := d.ranked((pairs+1)/2), d.ranked(pairs/2+1)
	return Shift{
		Estimate: Estimate{
			Value:    middle + (next-middle)/2,
			Interval: Interval{Lo: d.ranked(k), Hi: d.ranked(pairs + 1 - k)},
		},
		Achieved: achieved,
		Exact:    exact,
	}, nil
}

// shiftRank returns the largest k with P(U ≤ k−1) ≤ tail without ties, and 1 − 2·P(U ≤ k−1); 0 if
// there is none.
func shiftRank(nx, ny int, tail float64) (k int64, achieved float64, exact bool) {
	if nx > maxExactPairs/ny {
		m, n := float64(nx), float64(ny)
		sd := math.Sqrt(m * n * (m + n + 1) / 12)
		// P(U ≤ k−1) is about Φ((k − ½ − mn/2)/sd).
		k = int64(math.Floor(m*n/2 + 0.5 + sd*NormalQuantile(tail)))
		if k < 1 {
			return 0, 0, false
		}
		return k, 1 - 2*NormalCDF((float64(k)-0.5-m*n/2)/sd), false
	}
	law := rankLaw(nx, ny, slices.Repeat([]int{1}, nx+ny))
	total, sum := 0.0, 0.0
	for _, ways := range law {
		total += ways
	}
	// Without ties 2U is even.
	for k = 0; sum+law[2*k] <= tail*total; k++ {
		sum += law[2*k]
	}
	return k, 1 - 2*sum/total, true
}

// smallestPair returns the least n for which the largest of two samples of n has probability at most
// tail: 1/C(2n, n) ≤ tail.
func smallestPair(tail float64) int {
	n, p := 1, 0.5
	for p > tail {
		n++
		p *= float64(n) / float64(2*(2*n-1))
	}
	return n
}

// differences are all x − y of two ascending samples.
type differences struct {
	x, y []float64
}

// ranked returns the difference of that rank, from 1.
func (d differences) ranked(rank int64) float64 {
	lo, hi := orderedBits(d.x[0]-d.y[len(d.y)-1]), orderedBits(d.x[len(d.x)-1]-d.y[0])
	for lo < hi {
		middle := lo + (hi-lo)/2
		if d.atMost(valueOf(middle)) >= rank {
			hi = middle
		} else {
			lo = middle + 1
		}
	}
	return valueOf(lo)
}

// atMost counts the differences that are at most v.
func (d differences) atMost(v float64) int64 {
	count, j := int64(0), 0 // from y[j] on the difference is small enough
	for _, x := range d.x {
		for j < len(d.y) && x-d.y[j] > v {
			j++
		}
		count += int64(len(d.y) - j)
	}
	return count
}
