package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The tail probabilities of this file keep their digits for large counts, where an evaluation
// through three logarithms of gamma functions loses one digit for each power of ten: at ten
// thousand trials the library's incomplete beta function holds 11 digits, at ten million 4. They
// rest on the saddle-point expansion of C. Loader, Fast and accurate computation of binomial
// probabilities, 2000.

// logBinomial returns the logarithm of Γ(m+1)/(Γ(x+1)Γ(m−x+1))·p^x·q^(m−x), the binomial
// probability for real 0 ≤ x ≤ m, with q = 1−p and 0 < p < 1.
func logBinomial(x, m, p, q float64) float64 {
	switch {
	case m == 0:
		return 0
	case x == 0:
		return m * logOf(q, p)
	case x == m:
		return m * logOf(p, q)
	}
	return stirlingError(m) - stirlingError(x) - stirlingError(m-x) -
		deviance(x, m*p) - deviance(m-x, m*q) +
		0.5*(math.Log(m/x)-math.Log(2*math.Pi)-math.Log(m-x))
}

// logPoisson returns the logarithm of e^−μ·μ^k/k! for real k ≥ 0 and μ > 0.
func logPoisson(k, mean float64) float64 {
	if k == 0 {
		return -mean
	}
	return -stirlingError(k) - deviance(k, mean) - 0.5*math.Log(2*math.Pi*k)
}

// logOf returns ln a, given b = 1−a, from whichever of the two is farther from rounding.
func logOf(a, b float64) float64 {
	if b < 0.5 {
		return math.Log1p(-b)
	}
	return math.Log(a)
}

// stirlingError returns ln Γ(x+1) − ln(√(2πx)·(x/e)^x) for x > 0.
func stirlingError(x float64) float64 {
	if x <= 15 {
		lg, _ := math.Lgamma(x + 1)
		return lg - (x+0.5)*math.Log(x) + x - 0.5*math.Log(2*math.Pi)
	}
	// Stirling's series; the first term left out is below 1e-15 for x > 15.
	r := 1 / (x * x)
	return (1.0/12 - r*(1.0/360-r*(1.0/1260-r*(1.0/1680-r/1188)))) / x
}

// deviance returns x·ln(x/m) + m − x for x > 0 and m > 0, without cancellation where x is near m.
func deviance(x, m float64) float64 {
	if math.Abs(x-m) >= 0.1*(x+m) {
		return x*math.Log(x/m) + m - x
	}
	// With v = (x−m)/(x+m), ln(x/m) = 2(v + v³/3 + v⁵/5 + …).
	v := (x - m) / (x + m)
	sum := (x - m) * v
	power := 2 * x * v
	for j := 3.0; ; j += 2 {
		power *= v * v
		next := sum + power/j
		if next == sum || math.IsNaN(next) {
			return next
		}
		sum = next
	}
}

// betaAtMost returns P(Beta(a, b) ≤ x), the regularised incomplete beta function, for a > 0 and
// b > 0. Source of the continued fraction: NIST Digital Library of Mathematical Functions, 8.17.22.
func betaAtMost(a, b, x float64) float64 { return betaAtMostOf(a, b, x, 1-x) }

// betaAtMostOf is [betaAtMost] for a caller who knows y = 1−x without cancellation.
func betaAtMostOf(a, b, x, y float64) float64 {
	switch {
	case x <= 0:
		return 0
	case y <= 0:
		return 1
	case x > (a+1)/(a+b+2):
		return 1 - betaFraction(b, a, y, x)
	}
	return betaFraction(a, b, x, y)
}

// betaFraction evaluates the continued fraction of the incomplete beta function by Lentz's method,
// with y = 1−x. It converges in about √max(a, b) steps for x below (a+1)/(a+b+2).
func betaFraction(a, b, x, y float64) float64 {
	// x^a·y^b/(a·B(a, b)), written as a binomial probability.
	factor := math.Exp(logBinomial(a, a+b, x, y)) * b / (a + b)
	if factor == 0 {
		return 0
	}
	const tiny = 1e-300
	away := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c, d := 1.0, 1/away(1-(a+b)*x/(a+1))
	f := d
	for j := 1.0; j < 1e6; j++ {
		even := j * (b - j) * x / ((a + 2*j - 1) * (a + 2*j))
		d, c = 1/away(1+even*d), away(1+even/c)
		f *= c * d
		odd := -(a + j) * (a + b + j) * x / ((a + 2*j) * (a + 2*j + 1))
		d, c = 1/away(1+odd*d), away(1+odd/c)
		step := c * d
		f *= step
		if math.Abs(step-1) < 1e-16 {
			break
		}
	}
	return min(1, factor*f)
}

// betaQuantile returns x with P(Beta(a, b) ≤ x) = tail.
func betaQuantile(a, b, tail float64) float64 {
	return solve(mathext.InvRegIncBeta(a, b, tail), 1, func(x float64) (excess, slope float64) {
		return betaAtMost(a, b, x) - tail, betaDensity(a, b, x)
	})
}

// betaUpperQuantile returns x with P(Beta(a, b) ≥ x) = tail.
func betaUpperQuantile(a, b, tail float64) float64 {
	return solve(1-mathext.InvRegIncBeta(b, a, tail), 1, func(x float64) (excess, slope float64) {
		return tail - betaAtMost(b, a, 1-x), betaDensity(a, b, x)
	})
}

// betaDensity returns the density of Beta(a, b) for 0 < x < 1.
func betaDensity(a, b, x float64) float64 {
	return math.Exp(logBinomial(a, a+b, x, 1-x)) * a * b / ((a + b) * x * (1 - x))
}

// poissonAtMost returns P(X ≤ k) for mean ≥ k, adding falling terms.
func poissonAtMost(k, mean float64) float64 {
	term := math.Exp(logPoisson(k, mean))
	sum := term
	for j := k; j > 0; j-- {
		term *= j / mean
		if sum+term == sum {
			break
		}
		sum += term
	}
	return sum
}

// poissonAtLeast returns P(X ≥ k) for mean ≤ k, adding falling terms.
func poissonAtLeast(k, mean float64) float64 {
	term := math.Exp(logPoisson(k, mean))
	sum := term
	for j := k + 1; ; j++ {
		term *= mean / j
		if sum+term == sum {
			return sum
		}
		sum += term
	}
}

// solve finds the zero of a rising function between 0 and top, by Newton steps from start that
// fall back to halving the bracket.
func solve(start, top float64, f func(x float64) (excess, slope float64)) float64 {
	lo, hi := 0.0, top
	x := start
	if !(lo < x && x < hi) {
		x = hi / 2
	}
	for range 200 {
		excess, slope := f(x)
		if excess > 0 {
			hi = x
		} else {
			lo = x
		}
		next := x - excess/slope
		if !(lo <= next && next <= hi) {
			next = lo + (hi-lo)/2
		}
		if math.Abs(next-x) <= 4e-16*x {
			return next
		}
		x = next
	}
	return x
}
