package trend

import "gonum.org/v1/gonum/integrate/quad"

// legendre returns the nodes and weights of the Gauss–Legendre rule with at least n nodes on lo to
// hi. The number is rounded up to a multiple of four, because the library's table for exactly 26
// nodes is wrong (its weights sum to 1.979 on an interval of length 2).
func legendre(n int, lo, hi float64) (x, w []float64) {
	n = (n + 3) / 4 * 4
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, lo, hi)
	return x, w
}
