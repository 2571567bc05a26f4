package mixed

import (
	"math"
	"slices"
	"testing"
)

// polynomial returns a problem in γ = sinh²φ from a value and its derivatives.
func polynomial(terms int, value func(ratio, slope []float64) float64) variances {
	ratios := func(x []float64) []float64 {
		ratio := make([]float64, terms)
		for f := range ratio {
			ratio[f], _ = ratioOf(x[f], 1)
		}
		return ratio
	}
	return variances{
		terms: terms, noise: 1e-12,
		objective: func(x, gradient []float64) float64 {
			v := value(ratios(x), gradient)
			for f := range gradient {
				_, slope := ratioOf(x[f], 1)
				gradient[f] *= slope
			}
			return v
		},
		slope: func(x []float64, f int) float64 {
			slope := make([]float64, terms)
			value(ratios(x), slope)
			return slope[f]
		},
	}
}

func TestSettle(t *testing.T) {
	t.Parallel()
	parabola := func(at float64) variances {
		return polynomial(1, func(r, slope []float64) float64 {
			slope[0] = 2 * (r[0] - at)
			return (r[0] - at) * (r[0] - at)
		})
	}
	tests := []struct {
		reason string
		v      variances
		start  []float64
		want   []float64
	}{
		{"inside", parabola(2), []float64{1}, []float64{2}},
		{"inside, from zero, where the deviance is level", parabola(2), []float64{0}, []float64{2}},
		{"just inside", parabola(1e-6), []float64{1}, []float64{1e-6}},
		{"just outside", parabola(-1e-6), []float64{1}, []float64{0}},
		{"outside", parabola(-2), []float64{1}, []float64{0}},
		{
			// Derivative (γ−1)(γ−4): least at 0 and, lower, at 4.
			"lower away from a minimum at zero",
			polynomial(1, func(r, slope []float64) float64 {
				g := r[0]
				slope[0] = (g - 1) * (g - 4)
				return g*g*g/3 - 2.5*g*g + 4*g
			}),
			[]float64{.3},
			[]float64{4},
		},
		{
			// Derivative (γ−1)(γ−2): least at 0 and, higher, at 2.
			"higher away from a minimum at zero",
			polynomial(1, func(r, slope []float64) float64 {
				g := r[0]
				slope[0] = (g - 1) * (g - 2)
				return g*g*g/3 - 1.5*g*g + 2*g
			}),
			[]float64{.3},
			[]float64{0},
		},
		{
			"zero only as long as the other is",
			polynomial(2, func(r, slope []float64) float64 {
				a, b := r[1]-1, r[0]-r[1]+.5
				slope[0], slope[1] = 2*b, 2*a-2*b
				return a*a + b*b
			}),
			[]float64{0, 0},
			[]float64{.5, 1},
		},
	}
	for _, test := range tests {
		t.Run(test.reason, func(t *testing.T) {
			t.Parallel()
			got, zero := test.v.settle(test.start)
			for f, want := range test.want {
				ratio, _ := ratioOf(got.x[f], 1)
				if math.Abs(ratio-want) > 1e-8 || zero[f] != (want == 0) || got.x[f] < 0 {
					t.Errorf("term %d: γ %g, zero %v; want %g", f, ratio, zero[f], want)
				}
			}
		})
	}
}

// A search must not change its start, and says that it failed where there is no value.
func TestMinimise(t *testing.T) {
	t.Parallel()
	// Rosenbrock's valley: least at 1, 1.
	valley := func(x, g []float64) float64 {
		a, b := 1-x[0], x[1]-x[0]*x[0]
		g[0], g[1] = -2*a-400*x[0]*b, 200*b
		return a*a + 100*b*b
	}
	start := []float64{-1.2, 1}
	m := minimise(valley, start, 1e-13)
	if math.Abs(m.x[0]-1) > 1e-8 || math.Abs(m.x[1]-1) > 1e-8 || m.decrement > arrived {
		t.Errorf("ended at %v after %d steps, decrement %g", m.x, m.iterations, m.decrement)
	}
	if !slices.Equal(start, []float64{-1.2, 1}) {
		t.Errorf("the start was changed to %v", start)
	}
	nowhere := minimise(func(_, _ []float64) float64 { return math.Inf(1) }, start, 1e-13)
	if nowhere.decrement < settled {
		t.Errorf("found %v where there is nothing", nowhere)
	}
}
