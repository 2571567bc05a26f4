package trend

import "math"

// Constants are what turns the range or the standard deviation of n independent normal values into
// an estimate of sigma and into limits. With W the range of n standard normal values and S their
// standard deviation (divisor n−1): D2 = E W, D3 = √Var W, C4 = E S, A2 = 3/(D2·√n), LowerD3 =
// max(0, 1−3·D3/D2), D4 = 1+3·D3/D2, E2 = 3/D2. In tables D3 and LowerD3 are called d3 and D3.
//
// Source: the definitions of D. C. Montgomery, Introduction to Statistical Quality Control,
// appendix VI; ISO 7870-2.
type Constants struct {
	D2, D3, C4, A2, LowerD3, D4, E2 float64
}

// ChartConstants computes the constants for n = 2 to 25 values, accurate to 1e-12; other n give
// stats.ErrArgument.
func ChartConstants(n int) (Constants, error) {
	if n < 2 || n > 25 {
		return Constants{}, argument("chart constants for %d values: want 2 to 25", n)
	}
	d2, square := rangeMoments(n)
	d3 := math.Sqrt(square - d2*d2)
	a, _ := math.Lgamma(float64(n) / 2)
	b, _ := math.Lgamma(float64(n-1) / 2)
	return Constants{
		D2: d2, D3: d3, C4: math.Sqrt(2/float64(n-1)) * math.Exp(a-b),
		A2: 3 / (d2 * math.Sqrt(float64(n))), LowerD3: max(0, 1-3*d3/d2), D4: 1 + 3*d3/d2, E2: 3 / d2,
	}, nil
}

// rangeD2 is d2 of two values, 2/√π: the mean moving range of adjacent values in units of sigma.
const rangeD2 = 2 / 1.7724538509055160273 // √π

// rangeMoments returns E W and E W² of the range W of n standard normal values, as the integrals
// of P(W > w) and of 2w·P(W > w) over w.
func rangeMoments(n int) (mean, square float64) {
	// P(W > 18) is below 1e-35 for n ≤ 25.
	w, weight := legendre(96, 0, 18)
	for i := range w {
		p := 1 - rangeAtMost(n, w[i])
		mean += weight[i] * p
		square += 2 * weight[i] * w[i] * p
	}
	return mean, square
}

// rangeAtMost returns P(W ≤ w) = n·∫φ(x)·(Φ(x+w)−Φ(x))^(n−1) dx by the trapezoidal rule, which for
// such an integrand converges faster than any power of the step.
func rangeAtMost(n int, w float64) float64 {
	const step, reach = 0.05, 9.0
	sum := 0.0
	for x := -reach - w; x <= reach; x += step {
		between := 0.5 * (math.Erf((x+w)/math.Sqrt2) - math.Erf(x/math.Sqrt2))
		sum += math.Exp(-x*x/2) * math.Pow(between, float64(n-1))
	}
	return min(1, float64(n)*sum*step/math.Sqrt(2*math.Pi))
}
