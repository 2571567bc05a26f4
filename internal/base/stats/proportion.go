package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// In this file k is the number of units with the property, n the number of units looked at, and p
// the unknown proportion. Conditions for all functions: 0 ≤ k ≤ n ≤ MaxCount and a given
// confidence, else [ErrArgument]. Trials are taken as independent with the same p. With n = 0
// nothing is known and every two-sided interval is 0 to 1. All limits are fractions, not percent.
// NaN cannot occur: counts are whole, and no confidence can be made from NaN.

// Wilson returns the score interval: all p with |k/n − p| ≤ z·√(p(1−p)/n), z being the normal
// quantile of 1−(1−c)/2. Coverage is close to c on average but not guaranteed for each p. The
// lower limit is exactly 0 at k = 0 and the upper exactly 1 at k = n, where floating point would
// leave a residue.
//
// Source: E. B. Wilson, J Am Stat Assoc 1927;22:209-212; recommended for small n by Brown, Cai &
// DasGupta, Stat Sci 2001;16:101-133.
func Wilson(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	if n == 0 {
		return Interval{Lo: 0, Hi: 1}, nil
	}
	x, m, z := float64(k), float64(n), normalZ(c)
	root := z * math.Sqrt(x*(m-x)/m+z*z/4)
	// The lower limit comes from the product of the two roots, k²/(n(n+z²)), because the
	// difference of centre and half width loses digits where k is small.
	i := Interval{
		Lo: x * x / (m * (x + z*z/2 + root)),
		Hi: (x + z*z/2 + root) / (m + z*z),
	}
	return atEnds(i.clamped(), k, n), nil
}

// ClopperPearson returns the exact interval: the lower limit solves P(X ≥ k | p) = (1−c)/2, the
// upper P(X ≤ k | p) = (1−c)/2, X binomial. Coverage is at least c for every p, at the price of
// width. The lower limit is 0 at k = 0, the upper 1 at k = n.
//
// Source: C. J. Clopper & E. S. Pearson, Biometrika 1934;26:404-413; in terms of beta quantiles,
// Brown, Cai & DasGupta 2001, section 4.2.1.
func ClopperPearson(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	tail := c.tail()
	return Interval{Lo: exactLower(k, n, tail), Hi: exactUpper(k, n, tail)}, nil
}

// ClopperPearsonUpper returns the exact one-sided upper limit: the p with P(X ≤ k | p) = 1−c, and
// 1 at k = n. With k = 0 it is 1−(1−c)^(1/n), the exact form of the rule of three.
//
// Source: as [ClopperPearson]; J. A. Hanley & A. Lippman-Hand, JAMA 1983;249:1743-1745 for k = 0.
func ClopperPearsonUpper(k, n int, c Confidence) (float64, error) {
	if err := checkCount(k, n, c); err != nil {
		return 0, err
	}
	return exactUpper(k, n, toFloat(c.risk())), nil
}

// exactLower solves P(X ≥ k | p) = tail, X ~ Binomial(n, p).
func exactLower(k, n int, tail float64) float64 {
	switch k {
	case 0:
		return 0
	case n: // pⁿ = tail
		return math.Exp(math.Log(tail) / float64(n))
	}
	return betaQuantile(float64(k), float64(n-k)+1, tail)
}

// exactUpper solves P(X ≤ k | p) = tail, X ~ Binomial(n, p).
func exactUpper(k, n int, tail float64) float64 {
	switch k {
	case n:
		return 1
	case 0: // (1−p)ⁿ = tail
		return -math.Expm1(math.Log(tail) / float64(n))
	}
	return betaUpperQuantile(float64(k)+1, float64(n-k), tail)
}

// normalZ returns the standard normal quantile of 1−(1−c)/2, from the lower tail, where the
// quantile function keeps its digits.
func normalZ(c Confidence) float64 { return -distuv.UnitNormal.Quantile(c.tail()) }

// atEnds sets the limits that hold by definition at k = 0 and k = n.
func atEnds(i Interval, k, n int) Interval {
	if k == 0 {
		i.Lo = 0
	}
	if k == n {
		i.Hi = 1
	}
	return i
}
