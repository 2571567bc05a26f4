package quality

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"rinsate/internal/base/stats"
)

// term is a mean square times a coefficient ≥ 0.
type term struct {
	c   float64
	row AnovaRow
}

func (t term) value() float64 { return t.c * t.row.MS }

// upperG is 1 − 1/F with F the upper tail quantile of F(df, ∞), lowerH is 1/F − 1 with F its lower
// tail quantile; F(df, ∞) is χ²(df)/df.
func upperG(tail, df float64) float64 { return 1 - df/chiUpper(tail, df) }

func lowerH(tail, df float64) float64 { return df/distuv.ChiSquared{K: df}.Quantile(tail) - 1 }

// chiUpper returns the upper tail quantile of χ².
func chiUpper(tail, df float64) float64 { return distuv.ChiSquared{K: df}.Quantile(1 - tail) }

// sumInterval returns the interval of a sum of expected mean squares with coefficients ≥ 0, each
// side with the given tail. For one term it is the exact χ² interval.
//
// Source: Graybill & Wang 1980.
func sumInterval(tail float64, terms ...term) stats.Interval {
	var sum, below, above float64
	for _, t := range terms {
		sum += t.value()
		below += square(upperG(tail, t.row.DF) * t.value())
		above += square(lowerH(tail, t.row.DF) * t.value())
	}
	return stats.Interval{Lo: max(0, sum-math.Sqrt(below)), Hi: sum + math.Sqrt(above)}
}

// differenceInterval returns the interval of the difference a − b of expected mean squares with
// equal coefficients, each side with the given tail, cut at zero. The lower limit is zero before it
// is cut exactly when the F test of a against b stands at the tail.
//
// Source: Ting et al. 1990.
func differenceInterval(tail float64, a, b term) stats.Interval {
	x, y, n, m := a.value(), b.value(), a.row.DF, b.row.DF
	// The quantiles of F(n, m): the upper one as the inverse of a lower one.
	upper, lower := 1/distuv.F{D1: m, D2: n}.Quantile(tail), distuv.F{D1: n, D2: m}.Quantile(tail)

	g1, h2 := upperG(tail, n), lowerH(tail, m)
	g12 := (square(upper-1) - square(g1*upper) - square(h2)) / upper
	below := square(g1*x) + square(h2*y) + g12*x*y

	h1, g2 := lowerH(tail, n), upperG(tail, m)
	h12 := (square(1-lower) - square(h1*lower) - square(g2)) / lower
	above := square(h1*x) + square(g2*y) + h12*x*y

	d := x - y
	return stats.Interval{Lo: max(0, d-math.Sqrt(max(0, below))), Hi: max(0, d+math.Sqrt(max(0, above)))}
}
