package stats

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// nearNormal says where the t distribution is taken from [hillZ] instead of the incomplete beta
// function: from a thousand degrees of freedom on, the expansion holds 13 digits as far out as
// t² = df/10 and needs no iteration.
func nearNormal(t, df float64) bool { return df >= 1000 && t*t <= df/10 }

// NormalCDF returns P(Z ≤ z) of the standard normal distribution, with full relative precision in
// the lower tail. NaN for NaN.
func NormalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// NormalSurvival returns P(Z > z) of the standard normal distribution, with full relative
// precision in the upper tail, where 1 − [NormalCDF] has no digit left. NaN for NaN.
func NormalSurvival(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }

// NormalQuantile returns z with P(Z ≤ z) = p: −∞ for p = 0, +∞ for p = 1, NaN for NaN and for p
// outside 0 to 1.
//
// Source: M. J. Wichura, Algorithm AS 241, Appl Stat 1988;37:477-484.
func NormalQuantile(p float64) float64 {
	switch {
	case !(0 <= p && p <= 1):
		return math.NaN()
	case p == 0:
		return math.Inf(-1)
	case p == 1:
		return math.Inf(1)
	}
	return distuv.UnitNormal.Quantile(p)
}

// TSurvival returns P(T > t) of Student's t distribution with df degrees of freedom, with full
// relative precision in the upper tail. Conditions: df > 0, not necessarily whole; df = +∞ is the
// standard normal distribution. NaN for NaN and for df ≤ 0.
//
// Source: P(T > t) = ½·I(df/2, ½) at df/(df+t²) for t ≥ 0, M. Abramowitz & I. A. Stegun, Handbook
// of Mathematical Functions, 1964, 26.7.1; with many degrees of freedom, short of the far
// tail, the expansion of G. W. Hill, Algorithm 395, Commun ACM 1970;13:617-619.
func TSurvival(t, df float64) float64 {
	switch {
	case math.IsNaN(t) || !(df > 0):
		return math.NaN()
	case math.IsInf(df, 1):
		return NormalSurvival(t)
	case t < 0:
		return 1 - TSurvival(-t, df)
	case nearNormal(t, df):
		return NormalSurvival(hillZ(t, df))
	}
	x, y := tFractions(t, df)
	return betaAtMostOf(df/2, 0.5, x, y) / 2
}

// TCDF returns P(T ≤ t) of Student's t distribution with df degrees of freedom, with full relative
// precision in the lower tail. Conditions and source as for [TSurvival].
func TCDF(t, df float64) float64 { return TSurvival(-t, df) }

// TQuantile returns t with P(T ≤ t) = p, Student's t distribution with df degrees of freedom: −∞
// for p = 0, +∞ for p = 1. NaN for NaN, for p outside 0 to 1 and for df ≤ 0. df = +∞ is the
// standard normal distribution. For a small upper tail pass the tail and change the sign, because
// a p next to 1 has already lost the digits of 1−p.
func TQuantile(p, df float64) float64 {
	switch {
	case math.IsNaN(p) || p < 0 || p > 1 || !(df > 0):
		return math.NaN()
	case p == 0.5:
		return 0
	case p > 0.5:
		return -tLowerQuantile(1-p, p-0.5, df)
	}
	return tLowerQuantile(p, 0.5-p, df)
}

// tLowerQuantile returns the t ≤ 0 with P(T ≤ t) = tail, given centre = ½ − tail.
func tLowerQuantile(tail, centre, df float64) float64 {
	switch {
	case tail == 0:
		return math.Inf(-1)
	case math.IsInf(df, 1):
		return NormalQuantile(tail)
	case tail > 0.25:
		return -tCentreQuantile(centre, df)
	}
	// ln P(T > e^u) is a concave falling function of u, so Newton's method, once to the right of
	// the solution, falls towards it and never leaves.
	t := -NormalQuantile(tail)
	for range 100 {
		s := TSurvival(t, df)
		step := math.Log(s/tail) * s / (t * tDensity(t, df))
		next := t * math.Exp(step)
		if math.IsNaN(next) || math.Abs(next-t) <= 4e-16*t {
			break
		}
		t = next
	}
	return -t
}

// tCentreQuantile returns the t ≥ 0 with P(0 < T ≤ t) = centre, for centre < ¼. That probability
// is a concave rising function of t, so Newton's method rises towards the solution from 0.
func tCentreQuantile(centre, df float64) float64 {
	t := centre / tDensity(0, df)
	for range 100 {
		next := t + (centre-tCentre(t, df))/tDensity(t, df)
		if math.Abs(next-t) <= 4e-16*t {
			break
		}
		t = next
	}
	return t
}

// tCentre returns P(0 < T ≤ t) for t ≥ 0, with full relative precision near 0.
func tCentre(t, df float64) float64 {
	if nearNormal(t, df) {
		return 0.5 * math.Erf(hillZ(t, df)/math.Sqrt2)
	}
	x, y := tFractions(t, df)
	return betaAtMostOf(0.5, df/2, y, x) / 2
}

// tFractions returns df/(df+t²) and t²/(df+t²), each without cancellation or overflow.
func tFractions(t, df float64) (x, y float64) {
	ratio := t / math.Sqrt(df)
	if math.Abs(ratio) > 1 {
		inverse := 1 / ratio
		return inverse * inverse / (1 + inverse*inverse), 1 / (1 + inverse*inverse)
	}
	return 1 / (1 + ratio*ratio), ratio * ratio / (1 + ratio*ratio)
}

// tDensity returns the density of Student's t distribution.
func tDensity(t, df float64) float64 {
	// Γ(h+½)/Γ(h)·1/√h by Stirling's formula, in which the large terms cancel.
	h := df / 2
	logPeak := stirlingError(h+0.5) - stirlingError(h) + h*math.Log1p(0.5/h) - 0.5 - 0.5*math.Log(2*math.Pi)
	ratio := t / math.Sqrt(df)
	return math.Exp(logPeak - (h+0.5)*math.Log1p(ratio*ratio))
}

// hillZ returns the z ≥ 0 for which P(Z > z) = P(T > t), for t ≥ 0 and many degrees of freedom.
func hillZ(t, df float64) float64 {
	a := df - 0.5
	b := 48 * a * a
	ratio := t / math.Sqrt(df)
	y := a * math.Log1p(ratio*ratio)
	return (((((-0.4*y-3.3)*y-24)*y-85.5)/(0.8*y*y+100+b)+y+3)/b + 1) * math.Sqrt(y)
}
