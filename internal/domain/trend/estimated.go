package trend

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"rinsate/internal/base/stats"
)

// estimated is a quadrature over the errors of a baseline of n readings.
//
// With a ~ N(0, 1) the error of the mean in units of sigma/√n and b² ~ χ²_df/df the square of
// (estimated sigma/sigma), independent of each other, values standardised by the estimates are (X −
// a/√n)/b with X ~ N(0, 1): a chart with limits L meets the process N(−a/√n, 1) with limits b·L.
//
// A clean baseline loses its most extreme reading to the screening of [NewBaseline] with
// probability [OutlierAlpha], and then its sigma comes out a fifth too small: rare, but enough to
// raise the false signals by a tenth. How many standard deviations R the most extreme reading lies
// from the mean is independent of mean and standard deviation (D. Basu, Sankhyā 1955;15:377-380),
// and without it the mean moves by R·s/(n−1) and s shrinks to s·√((n−1−R²n/(n−1))/(n−2)). Both
// cases are averaged, unless sigma is pooled over series, where one of them does little. About one
// clean baseline in 1,400 loses two or three readings; that is left out, and costs some 3 % of the
// promise (simulated, n = 30).
//
// All charts here are symmetric, so that signs do not matter.
//
// Source for averaging over the estimates: W. A. Jensen, L. A. Jones-Farmer, C. W. Champ & W. H.
// Woodall, J Qual Technol 2006;38:349-364.
type estimated [][]baselineError

// baselineError is one case: the process has its mean at ±shift and the limits are multiplied by
// scale. The cases of a column are in order of rising scale.
type baselineError struct{ shift, scale, weight float64 }

// nodes says how many points the quadratures over a ≥ 0, b and R have. A design rests on usual, which
// is accurate to 1e-3 from 30 readings on and to 5e-3 with 20, and begins its search with rough.
type nodes struct{ mean, sigma, extreme int }

var (
	usual = nodes{mean: 8, sigma: 11, extreme: 2}
	rough = nodes{mean: 4, sigma: 5}
)

// newEstimated makes the quadrature by Gauss's rules for the normal weight (Hermite) and for the
// gamma weight of b² (generalised Laguerre).
func newEstimated(n, df int, k nodes) estimated {
	var e estimated
	count := float64(n)
	full := 1.0
	extremes := screenedExtremes(n, df, k.extreme)
	if len(extremes) > 0 {
		full -= OutlierAlpha
	}
	// a ≥ 0 stands for both signs.
	a, wa := hermite(2*k.mean - 1)
	b, wb := chi(df, k.sigma)
	for i := k.mean - 1; i < len(a); i++ {
		weight := 2 * wa[i] * full
		if i == k.mean-1 {
			weight, a[i] = weight/2, 0
		}
		var column []baselineError
		for j := range b {
			column = append(column, baselineError{shift: a[i] / math.Sqrt(count), scale: b[j], weight: weight * wb[j]})
		}
		e = append(e, column)
	}
	// The screened reading lay above; below would be the mirror image.
	a, wa = hermite(5)
	b, wb = chi(df, 5)
	for _, r := range extremes {
		for i := range a {
			var column []baselineError
			for j := range b {
				column = append(column, baselineError{
					shift: math.Abs(a[i]/math.Sqrt(count) + r.moves*b[j]), scale: r.shrinks * b[j], weight: r.weight * wa[i] * wb[j],
				})
			}
			e = append(e, column)
		}
	}
	return e
}

// extreme is a screened reading: what losing it does to the mean, in s, and to s.
type extreme struct{ moves, shrinks, weight float64 }

// screenedExtremes returns k cases of a screened reading of a clean baseline, of total weight
// [OutlierAlpha]; none where sigma is pooled. P(R > r) = 2n·P(t_n−2 > t), r = (n−1)t/√(n(n−2+t²)):
// exact for r so large that no two readings reach it, and nearly so where the test works.
func screenedExtremes(n, df, k int) []extreme {
	if df > n-1 || k == 0 {
		return nil
	}
	count := float64(n)
	// P(R > r) given that R is beyond the critical value is uniform; its cube root v, of density
	// 3v², puts the nodes where the rate changes most (Jacobi).
	v, w := jacobi(k)
	out := make([]extreme, k)
	for i := range out {
		t := stats.TQuantile(OutlierAlpha*v[i]*v[i]*v[i]/(2*count), count-2)
		square := (count - 1) * (count - 1) * t * t / (count * (count - 2 + t*t))
		out[i] = extreme{
			moves:   math.Sqrt(square) / (count - 1),
			shrinks: math.Sqrt((count - 1 - square*count/(count-1)) / (count - 2)),
			weight:  OutlierAlpha * w[i],
		}
	}
	return out
}

// hermite returns n nodes and weights for a standard normal variable.
func hermite(n int) (x, w []float64) {
	return gauss(n, func(int) float64 { return 0 }, func(i int) float64 { return math.Sqrt(float64(i)) })
}

// jacobi returns n nodes and weights for a variable of density 3v² on 0 to 1.
func jacobi(n int) (x, w []float64) {
	const b = 2 // the weight (1−y)^0·(1+y)^b on −1 to 1
	return gauss(n,
		func(i int) float64 {
			m := float64(2*i + b)
			if i == 0 {
				return 0.5 + 0.5*b/(b+2)
			}
			return 0.5 + 0.5*b*b/(m*(m+2))
		},
		func(i int) float64 {
			k, m := float64(i), float64(2*i+b)
			return 0.5 * math.Sqrt(4*k*k*(k+b)*(k+b)/(m*m*(m+1)*(m-1)))
		})
}

// chi returns n nodes and weights for √(χ²_df/df).
func chi(df, n int) (x, w []float64) {
	shape := float64(df) / 2
	x, w = gauss(n,
		func(i int) float64 { return float64(2*i) + shape },
		func(i int) float64 { return math.Sqrt(float64(i) * (float64(i) + shape - 1)) })
	for i := range x {
		x[i] = math.Sqrt(x[i] / shape)
	}
	return x, w
}

// gauss returns the nodes in rising order and the weights, of sum 1, of the Gauss rule whose
// orthonormal polynomials have the recurrence coefficients diagonal(i), i ≥ 0, and beside(i),
// i ≥ 1.
//
// Source: G. H. Golub & J. H. Welsch, Math Comput 1969;23:221-230.
func gauss(n int, diagonal, beside func(int) float64) (x, w []float64) {
	j := mat.NewSymDense(n, nil)
	for i := range n {
		j.SetSym(i, i, diagonal(i))
		if i > 0 {
			j.SetSym(i-1, i, beside(i))
		}
	}
	var eigen mat.EigenSym
	eigen.Factorize(j, true)
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	x, w = eigen.Values(nil), make([]float64, n)
	for i := range n {
		w[i] = vectors.At(0, i) * vectors.At(0, i)
	}
	return x, w
}

// mean averages a rate of signals over the cases. The rate must be at most 1 and fall as the scale
// grows, so that a column can be left where its rest adds less than least.
func (e estimated) mean(least float64, rate func(shift, scale float64) float64) float64 {
	sum := 0.0
	for _, column := range e {
		bound, rest := 1.0, 0.0
		for _, c := range column {
			rest += c.weight
		}
		for _, c := range column {
			if bound*rest < least {
				break
			}
			bound = rate(c.shift, c.scale)
			sum += c.weight * bound
			rest -= c.weight
		}
	}
	return sum
}
