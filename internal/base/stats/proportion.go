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

// WilsonCorrected returns the score interval with continuity correction: all p with
// |k/n − p| − 1/(2n) ≤ z·√(p(1−p)/n). It is wider than [Wilson] and close to [ClopperPearson].
// The lower limit is 0 at k = 0 and the upper 1 at k = n, by definition.
//
// Source: R. G. Newcombe, Stat Med 1998;17:857-872, method 4.
func WilsonCorrected(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	if n == 0 {
		return Interval{Lo: 0, Hi: 1}, nil
	}
	x, m, z := float64(k), float64(n), normalZ(c)
	// Under the roots, 4p(nq ± 1) with p = x/m; both are positive wherever the limit is used.
	rootLo := z * math.Sqrt(max(0, z*z-2-1/m+4*x*(m-x+1)/m))
	rootHi := z * math.Sqrt(max(0, z*z+2-1/m+4*x*(m-x-1)/m))
	i := Interval{
		Lo: (2*x + z*z - 1 - rootLo) / (2 * (m + z*z)),
		Hi: (2*x + z*z + 1 + rootHi) / (2 * (m + z*z)),
	}
	return atEnds(i.clamped(), k, n), nil
}

// AgrestiCoull returns the interval p̃ ± z·√(p̃(1−p̃)/ñ) with ñ = n+z² and p̃ = (k+z²/2)/ñ, cut off
// at 0 and 1, which the formula itself oversteps for k near 0 or n. It always contains [Wilson].
//
// Source: A. Agresti & B. A. Coull, Am Stat 1998;52:119-126; Brown, Cai & DasGupta 2001, eq. 5.
func AgrestiCoull(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	if n == 0 {
		return Interval{Lo: 0, Hi: 1}, nil
	}
	z := normalZ(c)
	trials := float64(n) + z*z
	p := (float64(k) + z*z/2) / trials
	q := (float64(n-k) + z*z/2) / trials
	half := z * math.Sqrt(p*q/trials)
	return Interval{Lo: p - half, Hi: p + half}.clamped(), nil
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

// ClopperPearsonLower returns the exact one-sided lower limit: the p with P(X ≥ k | p) = 1−c, and
// 0 at k = 0.
//
// Source: as [ClopperPearson].
func ClopperPearsonLower(k, n int, c Confidence) (float64, error) {
	if err := checkCount(k, n, c); err != nil {
		return 0, err
	}
	return exactLower(k, n, toFloat(c.risk())), nil
}

// Jeffreys returns the equal-tailed posterior interval under the Beta(½, ½) prior: the quantiles
// (1−c)/2 and 1−(1−c)/2 of Beta(k+½, n−k+½), except that the lower limit is 0 at k = 0 and the
// upper 1 at k = n.
//
// Source: Brown, Cai & DasGupta 2001, section 4.3, eq. 8 and the boundary rule below it.
func Jeffreys(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	a, b, tail := float64(k)+0.5, float64(n-k)+0.5, c.tail()
	i := Interval{Lo: betaQuantile(a, b, tail), Hi: betaUpperQuantile(a, b, tail)}
	return atEnds(i, k, n), nil
}

// MidP returns the interval that counts half the probability of the observed k: the lower limit
// solves P(X > k) + ½P(X = k) = (1−c)/2, the upper P(X < k) + ½P(X = k) = (1−c)/2, X binomial. It
// lies within [ClopperPearson]; coverage is close to c but not guaranteed. The lower limit is 0 at
// k = 0, the upper 1 at k = n.
//
// Source: H. O. Lancaster, J Am Stat Assoc 1961;56:223-234; G. Berry & P. Armitage, Statistician
// 1995;44:417-423.
func MidP(k, n int, c Confidence) (Interval, error) {
	if err := checkCount(k, n, c); err != nil {
		return Interval{}, err
	}
	tail := c.tail()
	return Interval{Lo: midPLower(k, n, tail), Hi: midPUpper(k, n, tail)}, nil
}

// midPLower solves ½(P(X ≥ k) + P(X > k)) = tail for p, from the exact limit.
func midPLower(k, n int, tail float64) float64 {
	switch k {
	case 0:
		return 0
	case n: // ½pⁿ = tail
		return math.Exp(math.Log(2*tail) / float64(n))
	}
	x, m := float64(k), float64(n)
	return solve(exactLower(k, n, tail), 1, func(p float64) (excess, slope float64) {
		return (betaAtMost(x, m-x+1, p)+betaAtMost(x+1, m-x, p))/2 - tail,
			(betaDensity(x, m-x+1, p) + betaDensity(x+1, m-x, p)) / 2
	})
}

// midPUpper solves ½(P(X ≤ k) + P(X < k)) = tail for p, from the exact limit.
func midPUpper(k, n int, tail float64) float64 {
	switch k {
	case n:
		return 1
	case 0: // ½(1−p)ⁿ = tail
		return -math.Expm1(math.Log(2*tail) / float64(n))
	}
	x, m := float64(k), float64(n)
	return solve(exactUpper(k, n, tail), 1, func(p float64) (excess, slope float64) {
		return tail - (betaAtMost(m-x, x+1, 1-p)+betaAtMost(m-x+1, x, 1-p))/2,
			(betaDensity(x+1, m-x, p) + betaDensity(x, m-x+1, p)) / 2
	})
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
